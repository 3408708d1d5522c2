"""Laying two stills of one view over each other: shift, turn and scale."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32, Mask

NARROWEST_PX = 60
"""The search begins with stills shrunk to this."""
STEPS = 12
LAST_STEP_PX = 0.003
HIGH_PASS_PX = 4.0
STILL_PX = 0.01
"""Stills that lie so close over each other are left as they are."""
LEAST_USED = 0.1
ROBUST = 2.0
"""Differences beyond so many typical ones count less: glow, and what moved."""


@dataclass(frozen=True, kw_only=True)
class Similarity:
    """Where a point of one still is in another: ``z -> ratio z + shift`` about the middle [px].

    Points are complex, x + iy.
    """

    ratio: complex = 1.0
    shift: complex = 0.0

    @property
    def turn_deg(self) -> float:
        """How far it turns."""
        return math.degrees(cmath.phase(self.ratio))

    @property
    def scale(self) -> float:
        """How much it enlarges."""
        return abs(self.ratio)

    def half(self) -> Similarity:
        """Return what does it when done twice."""
        root = cmath.sqrt(self.ratio)
        return Similarity(ratio=root, shift=self.shift / (1 + root))

    def inverse(self) -> Similarity:
        """Return what undoes it."""
        return Similarity(ratio=1 / self.ratio, shift=-self.shift / self.ratio)

    def then(self, other: Similarity) -> Similarity:
        """Return this, and then the other."""
        return Similarity(
            ratio=other.ratio * self.ratio, shift=other.ratio * self.shift + other.shift
        )

    def enlarged(self, times: float) -> Similarity:
        """Return the same between stills that are `times` as wide."""
        return Similarity(ratio=self.ratio, shift=self.shift * times)

    def farthest_px(self, width: int, height: int) -> float:
        """How far it moves a corner."""
        across, down = width / 2, height / 2
        corners = [complex(x, y) for x in (-across, across) for y in (-down, down)]
        return max(abs(self.ratio * z + self.shift - z) for z in corners)


def seen_from(light: Float32, where: Similarity) -> Float32:
    """Return a still whose every point is that of `light` at `where`, by cubic splines."""
    from scipy import ndimage

    height, width = light.shape[:2]
    if where.farthest_px(width, height) < STILL_PX:
        return light
    # Rows come first: (y, x).
    turn = np.array([[where.ratio.real, where.ratio.imag], [-where.ratio.imag, where.ratio.real]])
    middle = np.array([(height - 1) / 2, (width - 1) / 2])
    offset = middle + np.array([where.shift.imag, where.shift.real]) - turn @ middle
    planes = [
        ndimage.affine_transform(plane, turn, offset, order=3, mode="mirror", output=np.float32)
        for plane in np.moveaxis(np.atleast_3d(light), 2, 0)
    ]
    return np.asarray(np.stack(planes, axis=2).reshape(light.shape), dtype=np.float32)


def registered(
    bare: Float32, other: Float32, *, coarse: bool = True, without: Mask | None = None
) -> Similarity:
    """Where points of `bare` are in `other`, linear light both.

    What is `without` is not compared: the outlines of clipped lamps grow with their halos. `coarse`
    compares much smaller stills first.

    Notes
    -----
    Least squares on what is left of the logarithm of light without its slow changes, which are the
    glow's, from coarse to fine [LucasKanade1981]; what differs most counts least. A common factor
    on the contrast is solved for, since glass takes some.
    """
    one, two = (np.maximum(light, 0).mean(axis=2) for light in (bare, other))
    floor = 0.05 * float(np.median(one)) + 1e-4 * float(one.max()) + 1e-9
    gain = max(float(one.mean()), 1e-12) / max(float(two.mean()), 1e-12)
    one, two = np.log(one + floor), np.log(two * gain + floor)
    found = Similarity()
    level = max(0, int(math.log2(min(one.shape) / NARROWEST_PX))) if coarse else 0
    while level >= 0:
        size = (one.shape[1] >> level, one.shape[0] >> level)
        small = [
            _without_slow(cv2.resize(x, size, interpolation=cv2.INTER_AREA)) for x in (one, two)
        ]
        times = one.shape[1] / size[0]
        use = _used(without, size)
        found = _stepped(small[0], small[1], use, found.enlarged(1 / times)).enlarged(times)
        level -= 1
    return found


def _without_slow(log_light: NDArray[np.float32]) -> Float32:
    fine = cv2.GaussianBlur(log_light, (0, 0), 0.7)
    return np.asarray(fine - cv2.GaussianBlur(log_light, (0, 0), HIGH_PASS_PX), dtype=np.float32)


def _used(without: Mask | None, size: tuple[int, int]) -> Float32:
    """Weight of each pixel of stills of some size: nothing where slow changes hold what is not."""
    every = np.ones(size[::-1], np.float32)
    if without is None or not without.any():
        return every
    away = cv2.resize(without.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0
    side = 2 * round(HIGH_PASS_PX) + 1
    wide = cv2.dilate(away.astype(np.uint8), np.ones((side, side), np.uint8))
    use = 1 - wide.astype(np.float32)
    # Of a coarse still next to nothing may be left; any start will do for it.
    return use if use.mean() > LEAST_USED else every


def _stepped(one: Float32, two: Float32, use: Float32, found: Similarity) -> Similarity:
    height, width = one.shape
    y, x = np.mgrid[:height, :width].astype(np.float32)
    x -= (width - 1) / 2
    y -= (height - 1) / 2
    far = max(width, height) / 2
    for _ in range(STEPS):
        moved = seen_from(two, found)
        edge = min(int(found.farthest_px(width, height)) + 3, min(one.shape) // 4)
        inner = (slice(edge, -edge), slice(edge, -edge))
        down, right = (np.asarray(one_way) for one_way in np.gradient(moved))
        rates = np.stack(
            [
                right[inner].ravel(),
                down[inner].ravel(),
                ((x * down - y * right) / far)[inner].ravel(),
                ((x * right + y * down) / far)[inner].ravel(),
                -one[inner].ravel(),
            ]
        ).astype(np.float64)
        contrast = float(np.vdot(one[inner], moved[inner]))
        contrast /= float(np.vdot(one[inner], one[inner])) + 1e-20
        off = (contrast * one - moved)[inner].ravel().astype(np.float64)
        typical = 1.4826 * float(np.median(np.abs(off))) + 1e-9
        weight = use[inner].ravel() / (1 + (off / (ROBUST * typical)) ** 2)
        weighed = rates * weight
        system = weighed @ rates.T
        # What is black all over moves nowhere.
        step = np.linalg.lstsq(system, weighed @ off, rcond=1e-12)[0]
        ratio = (1 + step[3] / far) * cmath.exp(1j * step[2] / far)
        change = Similarity(ratio=ratio, shift=complex(step[0], step[1]))
        # The step is taken in the still that was moved already.
        found = change.then(found)
        if np.abs(step[:4]).max() < LAST_STEP_PX:
            break
    return found
