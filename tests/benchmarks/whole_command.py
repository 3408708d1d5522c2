"""What a whole command costs on a JPEG of 24 megapixels, against decoding and encoding it.

Run ``python tests/benchmarks/whole_command.py [MEGAPIXELS] [WORD]``: commands with WORD in their
names. Times are CPU seconds of a process of its own, all threads and the start of Python together;
only their ratios mean anything. Peaks are in float pictures (three channels of float32).
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

import frontglass as fg
from frontglass.shipped import shipped_folder

QUALITY = 92
LOOK = "harbour-night:1/2"
CAMERA = ("--lens", "36.9", "--stop", "2.8", "--sensor", "36x24")
COPIES = 20
RUNS = 2
TIMES = 4


def write_still(path: Path, megapixels: float) -> int:
    """Write the café, enlarged and noisy, as a camera writes it; return its pixels."""
    cafe = fg.read_picture(shipped_folder("examples") / "cafe_1280.exr", exposure_stops=2.5)
    height = round((megapixels * 1e6 * 2 / 3) ** 0.5)
    width = height * 3 // 2
    light = cv2.resize(cafe.radiance, (width, height), interpolation=cv2.INTER_CUBIC)
    rng = np.random.default_rng(1)
    noise = rng.standard_normal(light.shape, np.float32)
    light += noise * np.sqrt(np.maximum(light, 0) * 2e-4 + 1e-6)
    codes = np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    Image.fromarray(codes).save(path, quality=QUALITY)
    return width * height


def cpu_s(work: Callable[[], object]) -> float:
    """CPU seconds of this process for some work."""
    before = time.process_time()
    work()
    return time.process_time() - before


def codec(path: Path) -> Callable[[], None]:
    """Return what Pillow alone does: decode the file, and encode it again."""

    def run() -> None:
        with Image.open(path) as still:
            still.load()
            still.save(io.BytesIO(), "JPEG", quality=QUALITY)

    return run


def of_command(words: list[str]) -> dict[str, float]:
    """CPU seconds and peak memory [byte] of a command in a process of its own."""
    code = (
        "import json, resource, sys\n"
        "from frontglass.cli.app import app\n"
        "try: app(sys.argv[1:])\n"
        "except SystemExit as end: assert not end.code, end.code\n"
        "used = resource.getrusage(resource.RUSAGE_SELF)\n"
        # What getrusage tells of memory holds the peak of the process that started it.
        "held = open('/proc/self/status').read().split('VmHWM:')[1].split()[0]\n"
        "print(json.dumps([used.ru_utime + used.ru_stime, int(held) * 1024]))\n"
    )
    # An installed package has its bytecode, which some shells forbid to write into a working tree.
    env = {**os.environ, "PYTHONPYCACHEPREFIX": f"{tempfile.gettempdir()}/frontglass-bytecode"}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    ended = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True, env=env
    )
    cpu, peak = json.loads(ended.stdout.splitlines()[-1])
    return {"cpu_s": cpu, "peak": peak}


def commands(still: Path, folder: Path) -> dict[str, list[str]]:
    """Each command by its name."""
    apply = ["apply", str(still), *CAMERA, "--overwrite", "-o", str(folder / "out.jpg")]
    ladder = ["ladder", str(still), *CAMERA, "--overwrite", "-o", str(folder / "ladder.png")]
    several = ("--look", LOOK, "--look", "late-tram:1/2", "--look", "harbour-night:1")
    compare = ["compare", str(still), *CAMERA, "--overwrite", "-o", str(folder / "compare.png")]
    measured = ("--lens", "50", "--stop", "2.8", "--sensor", "super35")
    match = ("match", LOOK, "--with", "late-tram")
    return {
        "start": ["looks"],
        "apply": [*apply, "--look", LOOK],
        "apply, no lamps": [*apply, "--look", LOOK, "--clipped", "off"],
        "ladder of five": [*ladder, "--look", "harbour-night"],
        "compare of three": [*compare, *several],
        "measure": ["measure", LOOK, *measured],
        "match": [*match, *measured],
        "match on a still": [*match, "--on", str(still), *CAMERA],
    }


def main() -> None:
    """Print what each command costs."""
    megapixels, word = float((sys.argv[1:] or ["24"])[0]), "".join(sys.argv[2:3])
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        still = folder / "still.jpg"
        pixels = write_still(still, megapixels)
        picture = np.ones((pixels, 3), np.float32)
        copy = min(cpu_s(picture.copy) for _ in range(3))
        codec_s = min(cpu_s(codec(still)) for _ in range(2))
        bound = TIMES * codec_s + COPIES * copy
        print(f"{pixels / 1e6:.0f} MP; decode and encode {codec_s:.2f} s CPU; a copy {copy:.3f} s")
        print(f"bound for apply: {TIMES} codecs and {COPIES} copies, {bound:.2f} s")
        print(f"{'command':18s} CPU s   codecs  of the bound  peak, float pictures")
        chosen = {what: words for what, words in commands(still, folder).items() if word in what}
        for what, words in chosen.items():
            # The first run also makes bytecode.
            took = min((of_command(words) for _ in range(RUNS)), key=lambda own: own["cpu_s"])
            print(
                f"{what:18s} {took['cpu_s']:5.2f}  {took['cpu_s'] / codec_s:7.1f}  "
                f"{took['cpu_s'] / bound:12.2f}  {took['peak'] / picture.nbytes:.1f}"
            )


if __name__ == "__main__":
    main()
