"""Meshes drawn at random over all that nets and lines may be, against their transfer functions.

Run ``python tests/benchmarks/nets_sweep.py [COUNT] [SEED]``. Pitches of 0.2 to 3 mm, threads up to
0.4 of them, every weave, one to four families of lines, opaque or as grooves of 30 to 180 degrees,
level and turned, through lenses of 24, 50 and 200 mm at 1920 pixels on Super 35, beside a lamp 600
times as bright as white. The reference takes half a minute for some. Printed is the largest
difference on a frame of 44 pixels, where all that leaves it comes back from its mirror images, in
units of the bound (0.1 % of a pixel's light and 0.01 % of white) and in 8-bit codes.
"""

from __future__ import annotations

import math
import sys
import time
from pathlib import Path

import numpy as np

if __package__ is None or not __package__:
    sys.path.insert(0, str(Path(__file__).parents[2]))
from frontglass.elements import Lines, Net
from frontglass.errors import FrontglassError
from tests.reference import mask_reference as reference
from tests.reference.front_optics import camera, seen

# Arms that are nearly level fade slowly: 48, which do for the tests, are 30 times the bound off.
reference.STRIP_ALIASES = 400
# Thick threads and grooves: 48 are up to twice the bound off.
reference.ALIASES = 150
WAVELENGTHS = {24: 512, 50: 512, 200: 2048}
"""By lens: far aliases turn fast with the wavelength, and half as many are twice the bound off."""
SHAPE, LAMP = (32, 44), 600.0
LENSES_MM = (24, 50, 200)
PX_PER_MM = 1920 / 24.9
KINDS = ("woven", "knitted", "tulle", "lines", "grooves")


def drawn(rng: np.random.Generator) -> Net | Lines:
    """Return a mesh; half of the nets are even."""
    kind = KINDS[rng.integers(len(KINDS))]
    pitch = round(math.exp(rng.uniform(math.log(0.2), math.log(3))), 3)
    thread = round(pitch * math.exp(rng.uniform(math.log(0.03), math.log(0.4))), 4)
    angle = round(rng.uniform(0, 90), 1)
    uneven = float(rng.choice([0.0, 0.0, 0.02, 0.05]))
    families, phase = int(rng.integers(1, 5)), float(round(rng.uniform(30, 180)))
    if kind in {"lines", "grooves"}:
        deep = {"groove_phase_deg": phase} if kind == "grooves" else {}
        return Lines(pitch_mm=pitch, line_mm=thread, families=families, angle_deg=angle, **deep)
    return Net(pitch_mm=pitch, thread_mm=thread, weave=kind, angle_deg=angle, unevenness=uneven)


def codes(light: np.ndarray) -> np.ndarray:
    """8-bit codes of the sRGB curve, not rounded."""
    linear = np.clip(light, 0, 1)
    return 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def main(count: int, seed: int) -> None:
    """Print a line for each mesh, and how many are within the bound."""
    rng = np.random.default_rng(seed)
    light = rng.uniform(0, 0.2, (*SHAPE, 3)).astype(np.float32)
    light[14, 20], light[7, 33:35] = LAMP, LAMP / 3
    found: list[tuple[float, float]] = []
    while len(found) < count:
        try:
            mesh = drawn(rng)
        except FrontglassError:  # Threads that would lie over one another.
            continue
        lens, channel = int(rng.choice(LENSES_MM)), int(rng.integers(3))
        scale = lens * PX_PER_MM
        before = time.process_time()
        got = seen(light, mesh, camera=camera(SHAPE[1], scale))[..., channel]
        took = time.process_time() - before
        how = {"least_weight": 1e-5, "wavelengths": WAVELENGTHS[lens]}
        if getattr(mesh, "weave", None) == "tulle":
            how = {"least_weight": 1e-3, "wavelengths": 1024}
        want = reference.mask_reference(
            light[..., channel].astype(float), mesh, channel, scale, **how
        )
        bound = float((np.abs(got - want) / (1e-3 * want + 1e-4)).max())
        seen_codes = float(np.abs(codes(got) - codes(want)).max())
        found.append((bound, seen_codes))
        print(f"{bound:6.2f} of the bound, {seen_codes:5.2f} codes, {took:4.1f} CPU s")
        print(f"    {mesh} channel {channel}, {scale:.0f} px/rad", flush=True)
    bounds, seen_all = np.array(found).T
    print(f"{count} meshes, seed {seed}: {np.mean(bounds <= 1):.0%} within the bound, median")
    print(f"{np.median(bounds):.2f}, most {bounds.max():.1f}; {np.mean(seen_all < 0.5):.0%} under")
    print(f"half a code, most {seen_all.max():.2f}")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(given[0] if given else 40, given[1] if len(given) > 1 else 11)
