"""Filters made of another: its smooth and its sharp part, and itself on cells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import CubicSpline

from frontglass.accuracy import ACCURACY
from frontglass.convolution.blocks import available_cores
from frontglass.convolution.cells import CellAxis
from frontglass.convolution.cosines import cut
from frontglass.convolution.filters import Filter, Planes
from frontglass.optics.hankel import density_from_transform

Float64 = NDArray[np.float64]

FARTHEST_PX = 65536.0
NODES_PER_CELL = 8


@dataclass(frozen=True)
class SmoothPart(Filter):
    """Deviated light of a round filter without its detail below a few pixels.

    Notes
    -----
    The window ``1 - (1 - exp(-x))**3`` with ``x = 2 (pi sigma f)**2`` is flat to sixth order at the
    origin, so a power-law tail stays wholly in the smooth part.
    """

    whole: Filter

    @property
    def direct(self) -> float:
        """See `Filter`."""
        return self.whole.direct

    @property
    def veil(self) -> float:
        """See `Filter`."""
        return self.whole.veil

    @property
    def is_round(self) -> bool:
        """See `Filter`."""
        return True

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        window = self._window(np.hypot(fy_per_px[:, np.newaxis], fx_per_px))
        return self.whole.on_grid(fx_per_px, fy_per_px) * window

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`."""
        return self.whole.along_radius(f_per_px) * self._window(f_per_px)

    def _window(self, f_per_px: Float64) -> Float64:
        fallen = np.expm1(-2 * (np.pi * ACCURACY.smoothing_px * f_per_px) ** 2)
        return np.asarray(1 + fallen**3)


@dataclass(frozen=True)
class SharpPart(SmoothPart):
    """What a `SmoothPart` leaves: detail that ends near the lamp, or at an edge of the halo."""

    @cached_property
    def reach_px(self) -> float:
        """See `Filter`."""
        r = np.geomspace(ACCURACY.smoothing_px, FARTHEST_PX, 4000)
        light = density_from_transform(self.along_radius, r, scale_rad=ACCURACY.smoothing_px)
        lit = np.flatnonzero(np.abs(light) > ACCURACY.sharp_light_per_px2)
        return float(r[lit[-1]]) if lit.size else ACCURACY.smoothing_px

    def _window(self, f_per_px: Float64) -> Float64:
        return 1 - super()._window(f_per_px)


@dataclass(frozen=True)
class FilterOnCells(Filter):
    """A smooth filter as cells see it, with what gathering and spreading back do divided out.

    Lengths and frequencies on its grid are in cells.
    """

    whole: Filter
    rows: CellAxis
    columns: CellAxis
    as_points: bool = False
    """..."""
