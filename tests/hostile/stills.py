"""A folder of small stills, what a run makes of them, and whether nothing is missing."""

from __future__ import annotations

import hashlib
import json
import os
import sys
from pathlib import Path

import numpy as np
from PIL import Image

LOOKS = ("slate-roof:1/4", "harbour-night:1/4", "tallow:1/2")
CAMERA = ("--lens", "35mm", "--sensor", "super35", "--stop", "2.8")


def shot(folder: Path, count: int, *, width: int = 160, height: int = 100) -> Path:
    """Write so many dim rooms with a lamp."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        rng = np.random.default_rng(number)
        codes = rng.integers(20, 60, (height, width, 3), np.uint8)
        codes[height // 2 : height // 2 + 4, width // 3 : width // 3 + 4] = 255
        Image.fromarray(codes).save(folder / f"still{number:04}.jpg", quality=92)
    return folder


def words(*said: object) -> list[str]:
    """Return the command line of frontglass in a process of its own."""
    return [sys.executable, "-m", "frontglass", *map(str, said)]


def batch_words(stills: Path, out: Path, *more: object) -> list[str]:
    """Return the command line of a batch."""
    looks = [word for look in LOOKS for word in ("--look", look)]
    return words("batch", stills, *looks, "-o", out, *CAMERA, *more)


def environment() -> dict[str, str]:
    """Return the environment that processes need to find this program."""
    return {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}


def digests(folder: Path) -> dict[str, str]:
    """Return the fingerprint of each picture below a folder."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("[!.]*.jpg"))
    }


def states(out: Path) -> dict[str, str]:
    """Return what a batch's record says of each picture."""
    path = out / "frontglass-batch.json"
    if not path.exists():
        return {}
    pictures = json.loads(path.read_text(encoding="utf-8"))["pictures"]
    return {name: str(entry["state"]) for name, entry in pictures.items()}


def hidden(out: Path) -> list[Path]:
    """Return temporary files that a run has left."""
    return sorted(path for path in out.rglob(".*") if path.is_file())
