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
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.convolution.blocks import ALONE_IN_BLAS
from frontglass.convolution.filters import Filter
from frontglass.threads import in_pieces

Places = NDArray[np.intp]

SPLINE_DEGREE = 4
REACH = SPLINE_DEGREE // 2 + 1
"""Cells on either side of a pixel's own that its light reaches (a pixel may straddle a border)."""
PIECES = 16


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
        starts, weights = self._weights()
        if at is not None:
            starts, weights = np.searchsorted(at, starts), weights[at]
        table = np.ascontiguousarray(weights.T / self.width_px, dtype=np.float32)
        spilled = np.zeros((self.count + 2 * REACH, light.shape[1]), dtype=np.float32)

        def some(columns: slice) -> None:
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
        starts, weights = self._weights()
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

    def add(self, cells: Float32, out: Float32) -> None:
        """Add the light of `cells`, shape (total, K), to the pixels, shape (length_px, K)."""
        starts, weights = self._weights()
        table = weights.astype(np.float32)
        # With margins they lie one after the other as they are; light folded in takes a copy.
        beyond = self.margin - REACH
        near = cells[beyond : self.total - beyond] if self.margin else cells[self._targets()]

        def some(own: slice) -> None:
            for cell in range(own.start, own.stop):
                rows = slice(starts[cell], starts[cell + 1])
                for start in range(0, out.shape[1], self._columns_at_once):
                    columns = slice(start, start + self._columns_at_once)
                    around = near[cell : cell + 2 * REACH + 1, columns]
                    out[rows, columns] += table[rows] @ around

        in_pieces(some, self.count, -(-self.count // PIECES))

    @property
    def _columns_at_once(self) -> int:
        return ALONE_IN_BLAS // ((2 * REACH + 1) * math.ceil(self.width_px))

    def response(self, f_per_px: Float64) -> Float64:
        """Transfer function of gathering (and of spreading back) at a frequency [cycles/px]."""
        spline = np.sinc(f_per_px * self.width_px) ** (SPLINE_DEGREE + 1)
        return np.asarray(np.sinc(f_per_px) * spline)

    def _weights(self) -> tuple[NDArray[np.intp], Float64]:
        """First pixel of each cell, and weights [pixel, cell - own cell + REACH]."""
        y = np.arange(self.length_px)
        own = np.minimum(((y + 0.5) / self.width_px).astype(np.intp), self.count - 1)
        cells = own[:, np.newaxis] + np.arange(-REACH, REACH + 1)
        low = y[:, np.newaxis] / self.width_px - (cells + 0.5)
        weights = (_integral_up_to(low + 1 / self.width_px) - _integral_up_to(low)) * self.width_px
        return np.searchsorted(own, np.arange(self.count + 1)), weights

    def _targets(self) -> NDArray[np.intp]:
        """Where among all cells -REACH .. count + REACH - 1 are."""
        cell = np.arange(-REACH, self.count + REACH)
        if self.margin:
            return cell + self.margin
        folded = np.mod(cell, 2 * self.count)
        return np.where(folded >= self.count, 2 * self.count - 1 - folded, folded)


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
