"""A batch: 20 stills of 12 MP on the machine's cores, against one after the other.

"One after the other" is the same batch with one process, which may use every core for
whatever it can do in parallel within a still.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

import frontglass as fg

STILLS = 20
WIDTH_PX, HEIGHT_PX = 4000, 3000


def scout_still(seed: int) -> np.ndarray:
    """Codes of a dark frame with lamps and some grain."""
    rng = np.random.default_rng(seed)
    codes = rng.integers(8, 40, (HEIGHT_PX, WIDTH_PX, 3), np.uint8)
    for y, x in rng.integers(0, HEIGHT_PX, (12, 2)):
        codes[y : y + 20, x : x + 20] = 255
    return codes


def main() -> None:
    """Print both times and their ratio."""
    recipe = fg.Recipe(looks=(fg.read_look("harbour-night"),))
    with tempfile.TemporaryDirectory() as scratch:
        stills = Path(scratch, "stills")
        stills.mkdir()
        for number in range(STILLS):
            Image.fromarray(scout_still(number)).save(stills / f"{number:02}.jpg", quality=92)
        taken = {}
        for processes in (1, None):
            out = Path(scratch, "out")
            start = time.perf_counter()
            fg.render_batch([stills], out, recipe, processes=processes)
            taken[processes] = time.perf_counter() - start
            shutil.rmtree(out)
    alone, together = taken[1], taken[None]
    print(f"one after the other  {alone:6.1f} s")
    print(f"side by side         {together:6.1f} s  {alone / together:5.2f} times faster")


if __name__ == "__main__":
    main()
