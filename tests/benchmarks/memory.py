"""Peaks of memory in float pictures: three channels of float32, 12 bytes a pixel.

Run ``python tests/benchmarks/memory.py [MEGAPIXELS ...] [--look WORD]``, by default 24 and 50: for
every shipped look ``apply`` on a noisy JPEG of the café, whose lamps clip, then ``batch`` with one
and two jobs, and of three stills one after the other, and ``apply`` on a TIFF of 16 bits. A peak is
what all processes of a command hold at a time without what they share, read twenty times a second,
and holds some 0.2 GB of libraries. One that comes to hold 5 GB is ended there.
"""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

import frontglass as fg

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.whole_command import CAMERA, write_still
from tests.hostile.kills import children_of

BYTES_PER_PIXEL = 12
MOST_BYTES = 5e9
PAUSE_S = 0.05
HAZY = {"grain-loft", "wharf-morning"}


def held_bytes(process: int) -> float:
    """Memory that is a process' own, and its part of what it shares [byte]."""
    with contextlib.suppress(OSError):
        text = Path(f"/proc/{process}/smaps_rollup").read_text()
        match = re.search(r"^Pss:\s+(\d+) kB", text, re.MULTILINE)
        return 1024.0 * int(match[1]) if match else 0.0
    return 0.0


def peak_bytes(words: list[str]) -> tuple[float, str]:
    """Peak of a command [byte], and how it ended if not well."""
    command = [sys.executable, "-m", "frontglass", *words]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    process = subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True, env=env
    )
    peak = 0.0
    while process.poll() is None:
        held = [held_bytes(one) for one in (process.pid, *children_of(process.pid))]
        peak = max(peak, sum(held))
        if max(held) > MOST_BYTES:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            return peak, "ended at 5 GB"
        time.sleep(PAUSE_S)
    said = process.communicate()[1].decode().splitlines()
    return peak, "" if process.returncode == 0 else (said or ["failed"])[-1]


def as_tiff(still: Path) -> Path:
    """Write a still's codes as a TIFF of 16 bits."""
    codes = np.asarray(Image.open(still)).astype(np.uint16) * 257
    tifffile.imwrite(still.with_suffix(".tif"), codes, photometric="rgb")
    return still.with_suffix(".tif")


def table(megapixels: float, word: str) -> None:
    """Print the peaks of stills of one size."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        still = folder / "still.jpg"
        pixels = write_still(still, megapixels)
        print(f"{pixels / 1e6:.0f} MP: peaks in float pictures of {pixels * 12e-9:.2f} GB")

        def row(what: str, *words: object) -> None:
            peak, wrong = peak_bytes([str(word) for word in (*words, *CAMERA)])
            pictures = peak / (BYTES_PER_PIXEL * pixels)
            print(f"  {what:34s} {pictures:5.1f}  {peak / 1e9:5.2f} GB  {wrong}", flush=True)

        for look in fg.look_names():
            if word in look:
                out = folder / "out.jpg"
                far = ("--distance", "100,100,4") if look in HAZY else ()
                row(look, "apply", still, "--look", look, "-o", out, "--overwrite", *far)
        if word:
            return
        # What nets make of a frame is kept from the second still on.
        batches = [("harbour-night", jobs, jobs) for jobs in (1, 2)]
        batches += [(look, 1, 3) for look in ("harbour-night", "wide-net", "old-matinee")]
        for look, jobs, count in batches:
            stills, out = (folder / f"{way}-{look}-{count}" for way in ("in", "out"))
            stills.mkdir()
            for number in range(count):
                os.link(still, stills / f"{number}.jpg")
            options = ("--look", f"{look}:1/2", "--jobs", jobs, "-o", out, "--no-contact")
            row(f"batch --jobs {jobs}, {count} of {look}", "batch", stills, *options)
        tiff = as_tiff(still)
        for clipped in ("off", "auto"):
            options = ("--look", "harbour-night:1/2", "--clipped", clipped, "--overwrite")
            row(f"TIFF, --clipped {clipped}", "apply", tiff, *options, "-o", folder / "out.tif")


if __name__ == "__main__":
    given = sys.argv[1:]
    word = given[given.index("--look") + 1] if "--look" in given else ""
    sizes = [float(one) for one in given if re.fullmatch(r"[0-9.]+", one)]
    for size in sizes or (24.0, 50.0):
        table(size, word)
