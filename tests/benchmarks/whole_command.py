"""What a whole command costs on a JPEG of 24 megapixels, against decoding and encoding it.

Run ``python tests/benchmarks/whole_command.py [MEGAPIXELS] [WORD]``: commands with WORD in their
names. Times are those of a process of its own, with the start of Python: CPU seconds of all threads
together, and seconds by the clock, each beside a bound of its own kind; only ratios mean anything.
What decodes and encodes is a process of its own too, but for its start: memory that it has had
before would spare it a quarter. Peaks are in float pictures (three channels of float32).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
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
RUNS = 4
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


FLOORS = f"""
import io, json, sys, time
import numpy as np
from PIL import Image

def took(work, times):
    least = [9e9, 9e9]
    for _ in range(times):
        cpu, clock = time.process_time(), time.perf_counter()
        work()
        own = time.process_time() - cpu, time.perf_counter() - clock
        least = [min(pair) for pair in zip(least, own)]
    return least

def codec():
    with Image.open(sys.argv[1]) as still:
        still.load()
        still.save(io.BytesIO(), "JPEG", quality={QUALITY})

coded = took(codec, 2)
copied = took(np.ones((int(sys.argv[2]), 3), np.float32).copy, 3)
print(json.dumps([coded, copied]))
"""
"""What Pillow takes to decode a file and encode it again, and a copy of its light. [CPU s, s]"""


def floors(still: Path, pixels: int) -> tuple[list[float], list[float]]:
    """CPU seconds and seconds by the clock of decoding and encoding, and of a copy."""
    words = [sys.executable, "-c", FLOORS, str(still), str(pixels)]
    coded, copied = json.loads(subprocess.run(words, capture_output=True, check=True).stdout)
    return coded, copied


def of_command(words: list[str]) -> dict[str, float]:
    """CPU seconds, seconds and peak memory [byte] of a command in a process of its own."""
    code = (
        "import json, resource, sys\n"
        "from frontglass.cli import main\n"
        "try: main()\n"
        "except SystemExit as end: assert not end.code, end.code\n"
        "used = resource.getrusage(resource.RUSAGE_SELF)\n"
        # What getrusage tells of memory holds the peak of the process that started it.
        "held = open('/proc/self/status').read().split('VmHWM:')[1].split()[0]\n"
        "print(json.dumps([used.ru_utime + used.ru_stime, int(held) * 1024]))\n"
    )
    # An installed package has its bytecode, which some shells forbid to write into a working tree.
    env = {**os.environ, "PYTHONPYCACHEPREFIX": f"{tempfile.gettempdir()}/frontglass-bytecode"}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    before = time.perf_counter()
    ended = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True, env=env
    )
    clock_s = time.perf_counter() - before
    cpu, peak = json.loads(ended.stdout.splitlines()[-1])
    return {"cpu_s": cpu, "clock_s": clock_s, "peak": peak}


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
        codec, copy = floors(still, pixels)
        cpu, clock = (TIMES * one + COPIES * other for one, other in zip(codec, copy, strict=True))
        print(
            f"{pixels / 1e6:.0f} MP; decode and encode {codec[0]:.2f} s CPU and {codec[1]:.2f} s "
            f"by the clock; a copy {copy[0]:.3f} and {copy[1]:.3f} s"
        )
        print(f"bound for apply: {TIMES} codecs and {COPIES} copies, {cpu:.2f} s and {clock:.2f} s")
        print(f"{'command':18s} CPU s  of the bound      s  of the bound  peak, float pictures")
        chosen = {what: words for what, words in commands(still, folder).items() if word in what}
        for what, words in chosen.items():
            # The first run also makes bytecode.
            runs = [of_command(words) for _ in range(RUNS)]
            took = {name: min(run[name] for run in runs) for name in runs[0]}
            print(
                f"{what:18s} {took['cpu_s']:5.2f}  {took['cpu_s'] / cpu:12.2f}  "
                f"{took['clock_s']:5.2f}  {took['clock_s'] / clock:12.2f}  "
                f"{took['peak'] / (pixels * 12):.1f}"
            )


if __name__ == "__main__":
    main()
