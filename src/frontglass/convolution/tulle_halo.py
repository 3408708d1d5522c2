"""Halo of tulle's threads as points: where it is far narrower than pixels, and beyond the frame.

Its transfer function would have to be summed over as many aliases as pixels are wider than it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import scipy

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.splat import Points
from frontglass.optics.bands import Band
from frontglass.optics.tulle import HexagonalNet

_NORMALS = np.radians([0.0, 60.0, 120.0])
_NARROWEST_PX, _GRADED_PX, _NEAR_PX = 2.0**-14, 3.0, 16.0
_FINE_PX, _STEP_PX, _FAR_STEP_PX = 1 / 8, 0.5, 4.0
"""Steps near the lamp, where they grow with the distance at first, along the frame, and beyond."""
_GRADED_STEPS = 256
_ARMS_NARROWEST_PX, _ARMS_STEPS = 2.0**-10, 96
_ARMS_FINE_PX, _ARMS_FAR_STEPS = 512.0, 440
"""Of arms beyond the frame, fewer across them, and far out."""
_MOST_ALIASES = 24
_GOLDEN = (1 + math.sqrt(5)) / 2
_NODES = 1 << 16
_DARKEST = 3e-10
"""Share of the halo below which a point is left out."""


def is_narrow_halo(mask: HexagonalNet, band: Band, px_per_rad: float) -> bool:
    """Whether there are so many pieces' lengths to a pixel that aliases would be without end."""
    return mask.thread_length_m / band.centre_m / px_per_rad > _MOST_ALIASES


def halo_points(
    mask: HexagonalNet, band: Band, px_per_rad: float, longest_px: int
) -> Iterator[Points]:
    """Halo as points to one side of the lamp, with half of the light.

    Parameters
    ----------
    mask, band, px_per_rad
        As `TulleFilter` has them.
    longest_px : int
        Longest side of the frame, within which points lie closer.

    Notes
    -----
    At x and y cycles per metre across and along a piece of thread its light is ``w L sinc(w x)**2
    sinc(L y)**2`` less what jitter leaves in the orders, ``exp(-(2 pi jitter)**2 (x**2 + y**2))``
    times that: two products, which are summed over cells in closed form, wavelength by wavelength.
    """
    near = _graded(_NARROWEST_PX, _GRADED_STEPS)
    far = _along(_NEAR_PX, longest_px)
    coarse = np.geomspace(_NEAR_PX, far[-1], 100)
    return _points(
        _Cells(mask, band, px_per_rad), [(near, near), (far, near), (near, far), (coarse, coarse)]
    )


def arms_beyond(
    mask: HexagonalNet, band: Band, px_per_rad: float, shape: tuple[int, int]
) -> Iterator[Points]:
    """Points of the halo's arms that a lamp in a corner sends beyond the opposite sides.

    What is far from all arms is left: so few points stand for so much that is even that, taken off
    light, they would be dark specks.
    """
    near = _graded(_ARMS_NARROWEST_PX, _ARMS_STEPS)
    far = _along(max(_NEAR_PX, min(shape)), max(shape))
    fine = far < _ARMS_FINE_PX
    far = np.r_[far[fine], np.geomspace(_ARMS_FINE_PX, far[-1], _ARMS_FAR_STEPS)]
    for x, y, shares in _points(_Cells(mask, band, px_per_rad), [(far, near), (near, far)]):
        out = (np.abs(x) >= shape[1]) | (np.abs(y) >= shape[0])
        yield Points(x[out], y[out], shares[out])


def _graded(narrowest: float, steps: int) -> Float64:
    """Edges near the lamp."""
    even = np.arange(_GRADED_PX + _FINE_PX, _NEAR_PX + _FINE_PX / 2, _FINE_PX)
    return np.concatenate([[0.0], np.geomspace(narrowest, _GRADED_PX, steps), even])


def _along(start: float, longest_px: int) -> Float64:
    """Edges from some distance on, along the frame and far beyond."""
    frame = max(2.0 * longest_px, 2 * _NEAR_PX)
    reach = max(float(ACCURACY.streak_reach_px), 2 * frame)
    far = np.arange(frame, reach + _FAR_STEP_PX, _FAR_STEP_PX)
    return np.concatenate([np.arange(start, frame, _STEP_PX), far])


def _points(cells: _Cells, parts: list[tuple[Float64, Float64]]) -> Iterator[Points]:
    reach = np.array([0.0, max(float(along[-1]) for _, along in parts)])
    found = 4 * float(cells.light(reach, reach)[0, 0])
    for across, along in parts:
        share = cells.light(across, along)
        x, y = _places(across, along), _places(along, across).T
        own_share = share / (found * len(_NORMALS))
        lit = own_share > _DARKEST
        for a in _NORMALS:
            c, s = math.cos(a), math.sin(a)
            for own in (y[lit], -y[lit]):
                turned = cells.mask.turned(c * x[lit] - s * own, s * x[lit] + c * own)
                yield Points(*turned, own_share[lit])


def _places(edges: Float64, others: Float64) -> Float64:
    """Places in cells between edges, shape (cells, other cells): in wide ones here and there.

    In their middles light far out would be a comb, which mirrors lay over itself.
    """
    part = (0.5 + _GOLDEN * np.arange(others.size - 1)) % 1.0
    wide = np.diff(edges)[:, np.newaxis]
    return np.asarray(edges[:-1, np.newaxis] + wide * np.where(wide < _STEP_PX, 0.5, part))


class _Cells:
    """Light of a quadrant of one set of pieces, by cells."""

    def __init__(self, mask: HexagonalNet, band: Band, px_per_rad: float) -> None:
        self.mask = mask
        wavelengths, self._weights = band.wavelengths(band.sigma_m / ACCURACY.halo_wavelengths)
        self._per_px = 1 / (wavelengths * px_per_rad)
        self._sides = tuple(
            _Side(length, mask.jitter_m) for length in (mask.width_m, mask.thread_length_m)
        )

    def light(self, across: Float64, along: Float64) -> Float64:
        """Light between edges both ways [px], shape (cells across, cells along)."""
        (still, moved), (still_along, moved_along) = (
            tuple(np.diff(part, axis=1) for part in side.within(np.outer(self._per_px, edges)))
            for side, edges in zip(self._sides, (across, along), strict=True)
        )
        weights = np.c_[self._weights]
        light = (weights * still).T @ still_along - (weights * moved).T @ moved_along
        return np.asarray(np.maximum(light, 0))


class _Side:
    """Light of a piece of thread along one of its sides."""

    def __init__(self, length_m: float, jitter_m: float) -> None:
        self._length_m = length_m
        # Beyond this jitter leaves nothing.
        end = 6 / (2 * math.pi * jitter_m)
        start = 1 / (16 * length_m)
        self._nodes = start * np.sinh(np.linspace(0, math.asinh(end / start), _NODES))
        density = length_m * np.sinc(length_m * self._nodes) ** 2
        density *= np.exp(-((2 * np.pi * jitter_m * self._nodes) ** 2))
        steps = np.diff(self._nodes) * (density[1:] + density[:-1]) / 2
        self._moved = np.r_[0.0, np.cumsum(steps)]

    def within(self, per_m: Float64) -> tuple[Float64, Float64]:
        """Light up to so many cycles per metre: of a piece at rest, and what jitter leaves."""
        t = np.pi * self._length_m * per_m
        tail = np.divide(np.sin(t) ** 2, t, out=np.zeros_like(t), where=t > 0)
        still = (scipy.special.sici(2 * t)[0] - tail) / np.pi
        return still, np.interp(per_m, self._nodes, self._moved)
