"""Light gathered into cells wider than a pixel, and spread back over pixels.

A halo that is smooth over many pixels need not be computed pixel by pixel. `CellAxis.gather` weighs
the pixels of one axis into `count` equal cells with B-splines of degree four, `CellAxis.add` is its
transpose, and `CellAxis.response` is what each does to a spatial frequency, so that whoever works
on the cells can divide it out again.

Two properties are exact, whatever the (fractional) cell width: a flat field stays flat, and no
light is lost. Both follow from integrating the spline over each pixel instead of sampling it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.convolution.blocks import ALONE_IN_BLAS
from frontglass.convolution.filters import Filter
from frontglass.lit_pixels import LitPixels
from frontglass.threads import in_pieces

Places = NDArray[np.intp]
Work = Callable[[slice], None]
"""What is done to some pixels along an axis."""

SPLINE_DEGREE = 4
REACH = SPLINE_DEGREE // 2 + 1
"""Cells on either side of a pixel's own that its light reaches (a pixel may straddle a border)."""
AT_ONCE = 1 << 20
"""Samples that are seen to at once."""


def nothing(pixels: slice) -> None:
    """Do nothing to some pixels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CellAxis:
    """Cells along one axis of a picture.

    Parameters
    ----------
    length_px : int
        Pixels along the axis, >= 1.
    count : int
        Cells that cover them exactly, >= 1; the width need not be a whole number of pixels.
    margin : int
        Cells beyond either end. 0 folds what would fall there back in, which is what a mirror at
        the frame's edge does to light; `REACH` or more keeps it.
    """

    length_px: int
    count: int
    margin: int

    @property
    def width_px(self) -> float:
        """Width of a cell [px]."""
        return self.length_px / self.count

    @property
    def total(self) -> int:
        """Cells including the margins."""
        return self.count + 2 * self.margin

    def gather(self, light: Float32, at: Places | None = None) -> Float32:
        """Mean light of the cells of `light`, shape (length_px, K) -> (total, K).

        With N places along the axis it is that of them alone, (N, K), and the rest is dark.
        """
        starts, weights = _weights(self.length_px, self.count)
        if at is not None:
            starts, weights = np.searchsorted(at, starts), weights[at]
        table = np.ascontiguousarray(weights.T / self.width_px, dtype=np.float32)
        spilled = np.zeros((self.count + 2 * REACH, light.shape[1]), dtype=np.float32)
        wide = self._whole_px if at is None else 0

        def some(columns: slice) -> None:
            if wide:
                _gather_evenly(spilled[:, columns], table, light[:, columns], wide)
                return
            for cell in range(self.count):
                rows = slice(starts[cell], starts[cell + 1])
                spilled[cell : cell + 2 * REACH + 1, columns] += (
                    table[:, rows] @ light[rows, columns]
                )

        in_pieces(some, light.shape[1], self._columns_at_once)
        return self._with_spilled(spilled)

    def gather_some(self, at: Places, across: Places, light: Float32, width: int) -> Float32:
        """Return the same of N pixels and else darkness, light of shape (N, C) -> (total, C width).

        They are `at` places along this axis, and `across` the other one.
        """
        starts, weights = _weights(self.length_px, self.count)
        channels = light.shape[1]
        spilled = np.zeros((self.count + 2 * REACH, channels * width), dtype=np.float32)
        own = np.searchsorted(starts, at, side="right") - 1
        place = ((own * width + across) * channels)[:, np.newaxis] + np.arange(channels)
        light = light / np.float32(self.width_px)
        for cell, weight in enumerate(weights[at].T.astype(np.float32)):
            lit = (place + cell * channels * width).ravel()
            np.add.at(spilled.reshape(-1), lit, (weight[:, np.newaxis] * light).ravel())
        return self._with_spilled(spilled)

    def _with_spilled(self, spilled: Float32) -> Float32:
        """Cells, and what lies beyond either end where it belongs."""
        beyond = self.margin - REACH
        if self.margin:
            return spilled if not beyond else np.pad(spilled, ((beyond, beyond), (0, 0)))
        cells, targets = spilled[REACH:-REACH], self._targets()
        for spill in (*range(REACH), *range(REACH + self.count, len(targets))):
            cells[targets[spill]] += spilled[spill]
        return cells

    def add(self, cells: Float32, out: Float32, begin: Work = nothing) -> None:
        """Add the light of `cells`, shape (total, K), to the pixels, shape (length_px, K).

        What must be done to them before may be done while a cache has some of them.
        """
        starts, weights = _weights(self.length_px, self.count)
        table = weights.astype(np.float32)
        # With margins they lie one after the other as they are; light folded in takes a copy.
        beyond = self.margin - REACH
        near = cells[beyond : self.total - beyond] if self.margin else cells[self._targets()]

        wide = self._whole_px

        def some(own: slice) -> None:
            pixels = slice(starts[own.start], starts[own.stop])
            begin(pixels)
            for start in range(0, out.shape[1], self._columns_at_once):
                columns = slice(start, start + self._columns_at_once)
                if wide:
                    around = near[own.start : own.stop + 2 * REACH, columns]
                    _add_evenly(out[pixels, columns], table[pixels], around, wide)
                    continue
                for cell in range(own.start, own.stop):
                    rows = slice(starts[cell], starts[cell + 1])
                    around = near[cell : cell + 2 * REACH + 1, columns]
                    out[rows, columns] += table[rows] @ around

        in_pieces(some, self.count, max(1, AT_ONCE * self.count // out.size))

    @property
    def _whole_px(self) -> int:
        """Width of a cell in pixels if that is a whole number, else 0."""
        return 0 if self.length_px % self.count else self.length_px // self.count

    @property
    def _columns_at_once(self) -> int:
        return ALONE_IN_BLAS // ((2 * REACH + 1) * math.ceil(self.width_px))

    def response(self, f_per_px: Float64) -> Float64:
        """Transfer function of gathering (and of spreading back) at a frequency [cycles/px]."""
        spline = np.sinc(f_per_px * self.width_px) ** (SPLINE_DEGREE + 1)
        return np.asarray(np.sinc(f_per_px) * spline)

    def _targets(self) -> NDArray[np.intp]:
        """Where among all cells -REACH .. count + REACH - 1 are."""
        cell = np.arange(-REACH, self.count + REACH)
        if self.margin:
            return cell + self.margin
        folded = np.mod(cell, 2 * self.count)
        return np.where(folded >= self.count, 2 * self.count - 1 - folded, folded)


def _gather_evenly(spilled: Float32, table: Float32, light: Float32, wide: int) -> None:
    """Add light to cells so many whole pixels wide: many at a time, as one product of them all."""
    count = len(light) // wide
    tables = table.reshape(-1, count, wide).swapaxes(0, 1)
    pixels = light.reshape(count, wide, -1)
    step = max(1, AT_ONCE // pixels[0].size)
    for first in range(0, count, step):
        own = slice(first, min(first + step, count))
        found = np.matmul(tables[own], pixels[own])
        for cell in range(2 * REACH + 1):
            spilled[own.start + cell : own.stop + cell] += found[:, cell]


def _add_evenly(out: Float32, table: Float32, around: Float32, wide: int) -> None:
    """Add to pixels the light of cells so many whole pixels wide, as one product of them all."""
    count = len(out) // wide
    shape = count, 2 * REACH + 1, around.shape[1]
    cells = as_strided(around, shape, (around.strides[0], *around.strides), writeable=False)
    pixels = out.reshape(count, wide, -1)
    pixels += np.matmul(table.reshape(count, wide, -1), cells)


def axes_of(height: int, width: int, cell_px: float, margin: int) -> tuple[CellAxis, CellAxis]:
    """Rows and columns of cells about so many pixels wide."""
    rows, columns = (
        CellAxis(length_px=length, count=max(1, round(length / cell_px)), margin=margin)
        for length in (height, width)
    )
    return rows, columns


def gathered(light: Float32 | LitPixels, axes: tuple[CellAxis, CellAxis]) -> Float32:
    """Cells of light, shape (columns, rows, channels)."""
    rows, columns = axes
    _, width, channels = light.shape
    at = None
    if isinstance(light, LitPixels):
        down, across = light.at
        is_lit = np.zeros(width, bool)
        is_lit[across] = is_lit[0] = True  # most columns are dark, but one there must be
        at, number = np.flatnonzero(is_lit), np.cumsum(is_lit) - 1
        tall = rows.gather_some(down, number[across], light.light, len(at))
    else:
        tall = rows.gather(light.reshape(len(light), -1))
    wide = _turned(tall.reshape(rows.total, -1, channels))
    cells = columns.gather(wide.reshape(len(wide), rows.total * channels), at)
    return cells.reshape(columns.total, rows.total, channels)


def add_cells(
    out: Float32, cells: Float32, axes: tuple[CellAxis, CellAxis], begin: Work = nothing
) -> None:
    """Spread the light of cells over pixels, rows of which are begun in some way."""
    rows, columns = axes
    height, width, channels = out.shape
    wide = np.zeros((width, rows.total * channels), dtype=np.float32)
    columns.add(cells.reshape(columns.total, -1), wide)
    tall = _turned(wide.reshape(width, rows.total, channels))
    del wide
    rows.add(tall.reshape(rows.total, -1), out.reshape(height, -1), begin)


def _turned(light: Float32) -> Float32:
    """Rows as columns, shape (N, M, channels) to (M, N, channels)."""
    turned = np.empty((light.shape[1], light.shape[0], light.shape[2]), np.float32)

    def some(own: slice) -> None:
        # OpenCV turns pixels over in half of numpy's time.
        cv2.transpose(light[own], turned[:, own])

    in_pieces(some, len(light), max(1, AT_ONCE * len(light) // light.size))
    return turned


def folded_back(cells: Float32) -> Float32:
    """Cells with a margin along the first axis, and what lies there folded back as by a mirror."""
    inner = cells[REACH:-REACH].copy()
    inner[:REACH] += cells[REACH - 1 :: -1]
    inner[-REACH:] += cells[: -REACH - 1 : -1]
    return inner


@lru_cache(maxsize=8)
def _weights(length_px: int, count: int) -> tuple[NDArray[np.intp], Float64]:
    """First pixel of each of some cells, and weights [pixel, cell - own cell + REACH].

    Whoever asks must leave them as they are.
    """
    width_px = length_px / count
    y = np.arange(length_px)
    own = np.minimum(((y + 0.5) / width_px).astype(np.intp), count - 1)
    cells = own[:, np.newaxis] + np.arange(-REACH, REACH + 1)
    low = y[:, np.newaxis] / width_px - (cells + 0.5)
    weights = (_integral_up_to(low + 1 / width_px) - _integral_up_to(low)) * width_px
    return np.searchsorted(own, np.arange(count + 1)), weights


def spline_response(f_per_cell: Float64) -> Float64:
    """Response of cells along an axis to points instead of pixels."""
    return np.asarray(np.sinc(f_per_cell) ** (SPLINE_DEGREE + 1))


def _integral_up_to(x_cells: Float64) -> Float64:
    """Integral of the spline from its left end, by truncated powers.

    ``sum_k (-1)**k C(5, k) max(x + 5/2 - k, 0)**5 / 5!``, which is ten times faster here than
    evaluating the spline from its knots, and errs by 1e-14.
    """
    order = SPLINE_DEGREE + 1
    x = np.clip(x_cells, -order / 2, order / 2) + order / 2
    total = np.zeros_like(x)
    for k in range(order + 1):
        total += (-1) ** k * math.comb(order, k) * np.maximum(x - k, 0) ** order
    return total / math.factorial(order)


def cell_width_px(filter_: Filter, shortest_side_px: int) -> float:
    """Widest cells on which a filter is computed within the engine's accuracy [px]; 1 for none.

    Notes
    -----
    Light gathered into cells of width h carries, at a frequency g = f h in cycles per cell, an
    alias of relative size ``(g / (1 - g))**(degree + 1)``. The leak is the filter's alias flux,
    plus what it holds beyond the cells' own limit, over its whole; it bounds the error at the peak.
    """
    f = np.geomspace(1e-7, np.sqrt(0.5), 2000)
    weight = np.abs(filter_.along_radius(f)) * f**2  # f df on a logarithmic axis
    for cell_px in ACCURACY.cell_widths_px:
        if shortest_side_px < ACCURACY.fewest_cells * cell_px:
            continue
        g = np.minimum(f * cell_px, 0.5)
        alias = (g / (1 - g)) ** (SPLINE_DEGREE + 1)
        if float((weight * alias).sum()) <= ACCURACY.largest_leak * float(weight.sum()):
            return cell_px
    return 1.0
