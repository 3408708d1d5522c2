"""A plate at 24 MP, in times of a copy of the picture: CPU time and peak memory.

Must hold: 3 copies in focus, 10 out of focus. The copy is timed in the same run; telling which
ghosts are seen is part of it.
"""

from __future__ import annotations

import statistics
import time
import tracemalloc
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

import frontglass as fg
from frontglass.elements import Passage, Plate

HEIGHT_PX, WIDTH_PX = 4000, 6000
TIMES = 3
CAMERA = fg.Camera(
    focal_length_mm=50, f_number=1.4, sensor_width_mm=36, filter_distance_mm=40, focus_m=1e9
)
FOCUSES_M = (1e9, 60.0, 3.0)


def night(lamps: int, side: int) -> NDArray[np.float32]:
    """Lamps of 600 on a dim ground."""
    light = np.full((HEIGHT_PX, WIDTH_PX, 3), 0.02, np.float32)
    for y, x in np.random.default_rng(2).random((lamps, 2)):
        row, column = int(y * (HEIGHT_PX - side)), int(x * (WIDTH_PX - side))
        light[row : row + side, column : column + side] = 600.0
    return light


def taken(light: NDArray[np.float32], focus_m: float) -> tuple[float, float, float]:
    """CPU time over that of a copy, by the medians and by the least, and peak over the picture."""
    plate, camera = Plate(tilt_deg=(1.0, 0.0)), replace(CAMERA, focus_m=focus_m)
    passage = Passage(camera=camera, surround=fg.Surround.LAMPLESS)
    copies, plates = [], []
    for _ in range(TIMES):
        start = time.process_time()
        mine = light.copy()
        copied = time.process_time()
        plate.through_over(mine, passage)  # as a light path has it
        copies.append(copied - start)
        plates.append(time.process_time() - copied)
    mine = light.copy()
    tracemalloc.start()
    plate.through_over(mine, passage)
    peak = tracemalloc.get_traced_memory()[1] / light.nbytes
    tracemalloc.stop()
    median = statistics.median(plates) / statistics.median(copies)
    return median, min(plates) / min(copies), peak


def main() -> None:
    """Print what a plate takes for few and many lamps, in and out of focus."""
    for lamps, side in ((0, 1), (24, 30), (600, 6), (24, 100), (24, 300), (20_000, 2)):
        light = night(lamps, side)
        for focus_m in FOCUSES_M:
            median, least, peak = taken(light, focus_m)
            where = "in focus" if focus_m == FOCUSES_M[0] else f"focus {focus_m:g} m"
            print(
                f"{lamps:5d} lamps of {side:3d} px, {where:12s}"
                f" {median:6.1f} copies of time (least {least:.1f}), {peak:5.2f} of memory",
                flush=True,
            )


if __name__ == "__main__":
    main()
