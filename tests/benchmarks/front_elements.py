"""Nets, grease and a lamp beside the lens at 24 MP, in times of harbour-night in the same run.

Looks take turns with harbour-night, so that a busy machine hits both; each ratio is the median of
a few such pairs. What a net makes of a lamp is kept for the next still: the first one's time stands
beside it.
"""

from __future__ import annotations

import statistics
import time

import numpy as np

import frontglass as fg
from frontglass.optics.camera import Camera
from frontglass.picture.encoding import Encoding

CAMERA = Camera(focal_length_mm=50.0, sensor_width_mm=36.0)
HEIGHT_PX, WIDTH_PX = 4000, 6000
PAIRS = 7
BOUNDS = {
    "fine-net": ("<= 3", "<= 2"),
    "wide-net": ("<= 3", "<= 2"),
    "old-matinee": ("<= 3", "<= 2"),
    "keyhole": ("<= 4", "<= 3"),
    "tallow": ("", ""),
    "torch-wash": ("", ""),
}


def lamps_at_night() -> fg.Picture:
    """Lamps of 600 on a dim ground."""
    light = np.full((HEIGHT_PX, WIDTH_PX, 3), 0.02, dtype=np.float32)
    for y, x in np.random.default_rng(2).random((24, 2)):
        row, column = int(y * (HEIGHT_PX - 9)), int(x * (WIDTH_PX - 9))
        light[row : row + 9, column : column + 9] = 600.0
    return fg.Picture(radiance=light, encoding=Encoding.linear())


def seconds(still: fg.Picture, look: fg.Look) -> float:
    """Wall time of a look [s]."""
    start = time.perf_counter()
    fg.render(still, [look], camera=CAMERA)
    return time.perf_counter() - start


def main() -> None:
    """Print a ratio for each look, beside what must hold and what is aimed at."""
    still = lamps_at_night()
    harbour = fg.read_look("harbour-night")
    seconds(still, harbour)
    for name, (must, aim) in BOUNDS.items():
        look = fg.read_look(name)
        first = seconds(still, look)
        pairs = [(seconds(still, look), seconds(still, harbour)) for _ in range(PAIRS)]
        ratio = statistics.median(taken / plain for taken, plain in pairs)
        taken = statistics.median(taken for taken, _ in pairs)
        bounds = f"   must {must:<6} aim {aim}" if must else ""
        print(
            f"24 MP {name:12} {taken:6.2f} s {ratio:6.2f} x harbour-night{bounds}"
            f"   first still {first:5.2f} s",
            flush=True,
        )


if __name__ == "__main__":
    main()
