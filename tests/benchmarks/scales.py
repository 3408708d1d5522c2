"""How far a preview is the still: scenes rendered at four scales and averaged to the coarsest.

Pixels of the coarsest scene are split, so that all four are pictures of the same light. Printed is
the largest difference from the finest, in units of 0.1 % of the local value plus 0.01 % of white,
as a picture of 240, 480 and 960 pixels' width differs from one of 1920. Of nets, rays nearer to one
another than a pixel are averaged in another way than wider ones: their distance stands beside.
"""

from __future__ import annotations

import math
import sys

import numpy as np
from numpy.typing import NDArray

import frontglass as fg

WIDTH, HEIGHT = 72, 48
OF_240 = WIDTH / 240
CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=36 * OF_240)
SCALES = (1, 2, 4, 8)
STRENGTHS = (0.125, 0.25, 0.5, 1.0, 2.0)
GREEN_M = 540e-9


def scene() -> NDArray[np.float64]:
    """A dim room with two lamps, a bright wall and a dark corner, shape (HEIGHT, WIDTH, 3)."""
    light = np.random.default_rng(3).uniform(0, 0.2, (HEIGHT, WIDTH, 3))
    light[12:16, 20:23] = (600, 500, 300)
    light[30, 54] = 300
    light[18:30, 36] = 3
    light[36:, :30] = 0.005
    light[4:20, 48:66] = 0.9
    return light


def averaged(light: NDArray[np.float64], by: int) -> NDArray[np.float64]:
    """Means over squares of `by` pixels."""
    rows, columns, _ = light.shape
    return np.asarray(light.reshape(rows // by, by, columns // by, by, 3).mean(axis=(1, 3)))


def seen(look: fg.Look, strength: float, by: int) -> NDArray[np.float64]:
    """Scene rendered with each pixel split into `by` times `by`, and averaged again."""
    split = np.repeat(np.repeat(scene(), by, axis=0), by, axis=1)
    return averaged(fg.render(split, look.at(strength), camera=CAMERA), by)


def units(got: NDArray[np.float64], expected: NDArray[np.float64]) -> float:
    """Largest difference in units of 0.1 % of the local value plus 0.01 % of white."""
    return float((np.abs(got - expected) / (1e-3 * np.abs(expected) + 1e-4)).max())


def ray_distance_px(look: fg.Look, by: int) -> float:
    """Between first orders of the finest net or lines of a look [px]; inf without one."""
    pitches = [e.pitch_mm for e in look.elements if isinstance(e, fg.Net | fg.Lines)]
    if not pitches:
        return math.inf
    return GREEN_M / (max(pitches) * 1e-3) * CAMERA.px_per_rad(WIDTH * by)


def main(names: list[str]) -> None:
    """Print a line for each look: strength by strength, the three coarser scales."""
    for name in names or fg.look_names():
        look = fg.read_look(name)
        if any(element.kind == "haze" for element in look.elements):
            continue
        print(f"{name}, rays {ray_distance_px(look, 1):.2f} px apart at 240")
        for strength in STRENGTHS:
            *coarse, finest = (seen(look, strength, by) for by in SCALES)
            found = "  ".join(f"{units(one, finest):8.3f}" for one in coarse)
            print(f"  strength {strength:5.3f}: {found}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
