"""No look turns finite light into light that is not: at any size, strength and brightness.

python -m tests.hostile.light [COUNT] [SEED]
"""

from __future__ import annotations

import sys
import time
import warnings
from dataclasses import replace

import numpy as np

import frontglass as fg

SIDES = (1, 2, 3, 5, 8, 17, 64, 101)
LONG = ((1, 4000), (4000, 1), (2, 3001), (3001, 2))
STRENGTHS = (1e-3, 0.125, 1.0, 4.0, 64.0)
SENSORS_MM = (6.4, 24.9, 36.0)


def scene_of(rng: np.random.Generator, sides: tuple[int, ...]) -> fg.Picture:
    """Return a picture of some size, dark or bright, even or with lamps, with its distances."""
    height, width = (int(rng.choice(sides)) for _ in range(2))
    if sides == SIDES and rng.random() < 0.2:
        height, width = LONG[int(rng.integers(4))]
    light = rng.random((height, width, 3), np.float32) * np.float32(10.0 ** rng.uniform(-6, 3))
    if rng.random() < 0.3:
        light[:] = 0
    for _ in range(int(rng.integers(4))):
        y, x = int(rng.integers(height)), int(rng.integers(width))
        light[y, x] = 10.0 ** rng.uniform(0, 7) * rng.random(3)
    metres = np.full((height, width), 10.0 ** rng.uniform(-1, 3), np.float32)
    if rng.random() < 0.3:
        metres[: height // 2] = np.inf
    return replace(fg.Picture.from_array(light), distance_m=metres)


def trial(rng: np.random.Generator, names: tuple[str, ...], sides: tuple[int, ...] = SIDES) -> str:
    """Return what was wrong with the light that one look made of one picture; "" if nothing."""
    picture = scene_of(rng, sides)
    name, strength = str(rng.choice(names)), float(rng.choice(STRENGTHS))
    camera = fg.Camera(
        focal_length_mm=float(rng.choice((14, 35, 200))),
        sensor_width_mm=float(rng.choice(SENSORS_MM)),
        f_number=float(rng.choice((1.4, 5.6))),
    )
    surround = str(rng.choice(["lampless", "mirror", "dark"]))
    said = f"{name}:{strength:g} on {picture.width_px} x {picture.height_px}, {surround}, {camera}"
    try:
        look = fg.read_look(name).at(strength)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", fg.AccuracyWarning)
            seen = fg.render(picture, (look,), camera=camera, surround=surround).radiance
    except fg.FrontglassError as error:
        return "" if "\n" not in str(error) else f"{said}: {error}"
    except Exception as error:
        return f"{said}: {type(error).__name__}: {error}"
    if not np.isfinite(seen).all():
        return f"{said}: not finite"
    return f"{said}: {seen.min()} below 0" if seen.min() < 0 else ""


def main(count: int, seed: int) -> int:
    """Try so many, and print what was wrong; 1 if anything was."""
    rng, wrong, names = np.random.default_rng(seed), 0, tuple(fg.look_names())
    for number in range(count):
        began = time.process_time()
        found = trial(rng, names)
        if found:
            wrong += 1
            print(f"{number}: {found} ({time.process_time() - began:.1f} s)", flush=True)
    print(f"{count} tried with seed {seed}, wrong {wrong}")
    return 1 if wrong else 0


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    raise SystemExit(main(*(numbers + [2000, 18][len(numbers) :])))
