"""Haze at 24 MP with four lamps and one beam, against `harbour-night` on the same still.

Taken in turns, so that a busy machine hits both; the least of several runs of each is compared.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

import frontglass as fg
from frontglass.elements import Beam, Haze
from frontglass.picture.encoding import Encoding

RUNS = 9
WIDTH_PX, HEIGHT_PX = 6000, 4000
LAMPS = ((900, 1000), (2600, 700), (4500, 1200), (5300, 2200))
BEAM = Beam(
    right_m=-2.0, up_m=1.5, forward_m=5.0, aim_right_m=1.0, aim_up_m=-1.0, aim_forward_m=6.0,
    cone_deg=5.0, edge_deg=2.0, level=5.0,
)  # fmt: skip


def scout() -> fg.Picture:
    """Dark frame with four lamps, a floor and a figure near the lens."""
    light = np.random.default_rng(0).uniform(0, 0.1, (HEIGHT_PX, WIDTH_PX, 3)).astype(np.float32)
    rows = np.linspace(3, 9, HEIGHT_PX, dtype=np.float32)[:, np.newaxis]
    distance = np.repeat(rows, WIDTH_PX, axis=1)
    distance[1500:, 2500:3500] = 2.0
    for x, y in LAMPS:
        light[y - 15 : y + 15, x - 15 : x + 15] = (200, 120, 50)
    return fg.Picture(radiance=light, distance_m=distance, encoding=Encoding.linear())


def main() -> None:
    """Print both times in copies of the still, and their ratio."""
    still, camera = scout(), fg.Camera.from_field(40.0)
    haze = Haze(extinction_per_m=0.02, asymmetry=0.8, beams=(BEAM,))
    work: dict[str, Callable[[], object]] = {
        "copy": still.radiance.copy,
        "harbour-night": lambda: fg.render(still, [fg.read_look("harbour-night")], camera=camera),
        "haze": lambda: fg.render(still, haze, camera=camera),
    }
    taken: dict[str, list[float]] = {name: [] for name in work}
    for _ in range(RUNS):
        for name, call in work.items():
            start = time.perf_counter()
            call()
            taken[name].append(time.perf_counter() - start)
    least = {name: min(times) for name, times in taken.items()}
    for name, seconds in least.items():
        print(f"{name:14} {1000 * seconds:7.0f} ms  {seconds / least['copy']:6.1f} copies")
    print(f"haze over harbour-night {least['haze'] / least['harbour-night']:.2f} (must: 3)")


if __name__ == "__main__":
    main()
