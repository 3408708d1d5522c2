"""Filters made of another: its smooth and its sharp part, itself on cells, itself in the dark."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.cells import CellAxis, spline_response
from frontglass.convolution.cosines import cut
from frontglass.convolution.filters import COLUMNS_AT_ONCE, Filter, Planes, frequencies
from frontglass.optics.even_spline import EvenSpline
from frontglass.threads import available_cores, in_pieces

FARTHEST_PX = 65536.0
FRAMES_AWAY = 4


@dataclass(frozen=True)
class DerivedFilter(Filter):
    """A filter made of another, of which it has the direct light and the veil."""

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
    def is_even(self) -> bool:
        """See `Filter`."""
        return self.whole.is_even

    @property
    def is_round(self) -> bool:
        """See `Filter`."""
        return self.whole.is_round


class SmoothPart(DerivedFilter):
    """Deviated light of a round filter without its detail below a few pixels.

    Notes
    -----
    The window ``1 - (1 - exp(-x))**3`` with ``x = 2 (pi sigma f)**2`` is flat to sixth order at the
    origin, so a power-law tail stays wholly in the smooth part.
    """

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        is_kept = len(fx_per_px) * len(fy_per_px) <= ACCURACY.kept_frequencies
        window_on = _window_on if is_kept else _window_on.__wrapped__
        window = window_on(self.window, fx_per_px.tobytes(), fy_per_px.tobytes())
        return np.asarray(self.whole.on_grid(fx_per_px, fy_per_px) * window)

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`."""
        return self.whole.along_radius(f_per_px) * self.window(_gaussian(f_per_px) - 1)

    @staticmethod
    def window(fallen: Float64) -> Float64:
        """Return the window where ``exp(-x)`` has fallen so far from 1."""
        return np.asarray(1 + fallen * fallen * fallen)


class SharpPart(SmoothPart):
    """What a `SmoothPart` leaves: detail that ends near the lamp, or at an edge of the halo."""

    @property
    def reach_px(self) -> float:
        """See `Filter`."""
        r = np.geomspace(ACCURACY.smoothing_px, FARTHEST_PX, 4000)
        light = np.abs(self.whole.density(r) - SmoothPart(self.whole).density(r))
        lit = np.flatnonzero(light > ACCURACY.sharp_light_per_px2)
        return float(r[lit[-1]]) if lit.size else ACCURACY.smoothing_px

    @staticmethod
    def window(fallen: Float64) -> Float64:
        """See `SmoothPart`."""
        return np.asarray(fallen * fallen * -fallen)


@dataclass(frozen=True)
class FilterOnCells(DerivedFilter):
    """A smooth filter as cells see it, with what gathering and spreading back do divided out.

    Lengths and frequencies on its grid are in cells.
    """

    rows: CellAxis
    columns: CellAxis

    @property
    def reach_px(self) -> float:
        """See `Filter`; in cells."""
        return self.whole.reach_px / min(self.rows.width_px, self.columns.width_px)

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`; frequencies in cycles per cell."""
        fx, fy = fx_per_px / self.columns.width_px, fy_per_px / self.rows.width_px
        plane = self.whole.on_grid(fx, fy)
        return divided_twice(plane, self.rows.response(fy), self.columns.response(fx))


def divided_twice(plane: Float64, along_y: Float64, along_x: Float64) -> Float64:
    """Return a plane divided by the square of an outer product, in place."""
    plane *= (along_y**-2.0)[:, np.newaxis]
    plane *= along_x**-2.0
    return plane


class WithoutPoints(FilterOnCells):
    """What is left of a round filter on cells without its density at their middles.

    That is how pixels blur it: it goes no farther than light that is not in the density's tail.
    """

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`; frequencies in cycles per cell."""
        fx, fy = fx_per_px / self.columns.width_px, fy_per_px / self.rows.width_px
        # What the pixels leave of a point's transfer is what cells at points would have seen.
        left = self.whole.aliases_on_grid(fx, fy)
        return divided_twice(left, self.rows.response(fy), self.columns.response(fx))


@lru_cache(maxsize=8)
def _window_on(window: Callable[[Float64], Float64], fx_per_px: bytes, fy_per_px: bytes) -> Float64:
    """Window on a grid. Not to be changed."""
    # A Gaussian of the radius is one of y times one of x: nothing is raised on the grid.
    along_y, along_x = (_gaussian(np.frombuffer(f)) for f in (fy_per_px, fx_per_px))
    return window(np.outer(along_y, along_x) - 1)


def _gaussian(f_per_px: Float64) -> Float64:
    return np.asarray(np.exp(-2 * (np.pi * ACCURACY.smoothing_px * f_per_px) ** 2))


def planes_in_the_dark(filter_: Filter, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
    """Planes of a filter for a frame of `shape` padded so widely that it meets no mirror image."""
    if math.isfinite(filter_.reach_px):
        reach = math.ceil(filter_.reach_px)
        return filter_.cosine_planes(padded(shape, (reach, reach)), dtype)
    if isinstance(filter_, FilterOnCells) and filter_.is_round:
        return _round_planes(filter_, shape)
    # What goes three frames away is folded back too; of a small frame that is not far.
    least = ACCURACY.least_reach_px
    wide = padded(shape, (max(shape[0], least), max(shape[1], least)))
    planes = filter_.without_mirrors().cosine_planes(wide, dtype)
    cut(planes, shape)
    return planes


def padded(shape: tuple[int, int], reach: tuple[int, int]) -> tuple[int, int]:
    """Shape of a frame with so many rows and columns more, and a few for quick transforms."""
    rows, columns = (
        scipy.fft.next_fast_len(side + far, real=True)
        for side, far in zip(shape, reach, strict=True)
    )
    return rows, columns


def _round_planes(filter_: FilterOnCells, shape: tuple[int, int]) -> Planes:
    """Planes of a round filter whose tail, which mirrors would fold back, ends beyond the frame.

    Its density is laid on the cells of the frame and a few more.
    """
    rows, columns = filter_.rows.width_px, filter_.columns.width_px
    reach = (shape[0] + ACCURACY.fading_cells, shape[1] + ACCURACY.fading_cells)
    wide = padded(shape, reach)
    y, x = np.arange(reach[0]) * rows, np.arange(reach[1]) * columns
    end = np.hypot(y[-1], x[-1]) + max(rows, columns)
    r = np.linspace(0, end, math.ceil(end * ACCURACY.nodes_per_cell / min(rows, columns)) + 1)
    density = EvenSpline(0, end, filter_.whole.density(r) * rows * columns)
    points = np.zeros((wide[0] + 1, wide[1] + 1))
    points[: reach[0], : reach[1]] = density(np.hypot(y[:, np.newaxis], x))
    points[: reach[0], : reach[1]] *= _fading(reach[0])[:, np.newaxis]
    points[: reach[0], : reach[1]] *= _fading(reach[1])
    # Beyond the reach all columns are dark.
    lit, how = points[:, : reach[1]], {"type": 1, "overwrite_x": True, "workers": available_cores()}
    lit[:] = scipy.fft.dct(lit, axis=0, **how)
    points = scipy.fft.dct(points, axis=1, **how)
    divided_twice(points, *(spline_response(np.arange(side + 1) / (2 * side)) for side in wide))
    rest = WithoutPoints(filter_.whole, filter_.rows, filter_.columns)

    def add(columns: slice) -> None:
        fy, fx = frequencies(wide, columns)
        points[:, columns] += rest.on_grid(fx, fy)

    in_pieces(add, wide[1] + 1, COLUMNS_AT_ONCE)
    return Planes(points, None)


def planes_of_images(filter_: Filter, shape: tuple[int, int]) -> Float64:
    """Lowest frequencies of what mirrors send in of a round filter's light from frames away.

    It hardly changes from pixel to pixel, so it holds no others, and a few nodes tell it.
    """
    nodes = min(ACCURACY.nodes_of_images, *shape)
    frames = np.arange(-FRAMES_AWAY, FRAMES_AWAY + 1)
    y, x = (np.add.outer(2 * side * frames, np.linspace(0, side, nodes + 1)) for side in shape)
    near, far = math.log(min(shape) / 2), math.log(3 * FRAMES_AWAY * math.hypot(*shape))
    density = EvenSpline(near, far, filter_.density(np.exp(np.linspace(near, far, 512))))
    light = np.zeros((nodes + 1, nodes + 1))
    for i, j in itertools.product(range(len(frames)), repeat=2):
        if frames[i] or frames[j]:
            light += density(np.log(np.hypot(y[i][:, np.newaxis], x[j])))
    cell = shape[0] * shape[1] / nodes**2
    return np.asarray(scipy.fft.dctn(light * cell, type=1)[: nodes // 2, : nodes // 2])


def _fading(reach: int) -> Float64:
    t = np.clip((np.arange(reach) - reach) / ACCURACY.fading_cells + 1, 0, 1)
    return 1 - t**3 * (10 - 15 * t + 6 * t**2)
