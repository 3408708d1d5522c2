"""Light gathered into cells wider than a pixel, and spread back over pixels.

A halo that is smooth over many pixels need not be computed pixel by pixel. `CellAxis.gather` weighs
the pixels of one axis into `count` equal cells with B-splines of degree four, `CellAxis.scatter`
is its transpose, and `CellAxis.response` is what the pair does to a spatial frequency, so that
whoever works on the cells can divide it out again.

Two properties are exact, whatever the (fractional) cell width: a flat field stays flat, and no
light is lost. Both follow from integrating the spline over each pixel instead of sampling it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

SPLINE_DEGREE = 4
REACH = SPLINE_DEGREE // 2 + 1
"""Cells on either side of a pixel's own that its light reaches (a pixel may straddle a border)."""

COLUMNS_AT_ONCE = 2048


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


def _runs_of_columns(count: int) -> Iterator[slice]:
    """Columns a run at a time, so that a product of weights stays on one core and in its cache.

    OpenBLAS splits products of more than 2**18 multiplications among threads that wait for each
    other in a loop: on a machine with other work that cost ten times what it saved.
    """
    return (slice(at, at + COLUMNS_AT_ONCE) for at in range(0, count, COLUMNS_AT_ONCE))


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
        Cells kept beyond either end. 0 folds what would fall there back in, which is what a mirror
        at the frame's edge does to light; `REACH` or more keeps it.
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

    def _weights(self) -> tuple[NDArray[np.intp], Float64]:
        """First pixel of each cell, and weights [pixel, cell - own cell + REACH]."""
        y = np.arange(self.length_px)
        own = np.minimum(((y + 0.5) / self.width_px).astype(np.intp), self.count - 1)
        cells = own[:, np.newaxis] + np.arange(-REACH, REACH + 1)
        low = y[:, np.newaxis] / self.width_px - (cells + 0.5)
        weights = (_integral_up_to(low + 1 / self.width_px) - _integral_up_to(low)) * self.width_px
        return np.searchsorted(own, np.arange(self.count + 1)), weights

    def _targets(self) -> NDArray[np.intp]:
        """Where each of the cells -REACH .. count + REACH - 1 is kept."""
        cell = np.arange(-REACH, self.count + REACH)
        if self.margin:
            return cell + self.margin
        folded = np.mod(cell, 2 * self.count)
        return np.where(folded >= self.count, 2 * self.count - 1 - folded, folded)

    def gather(self, light: Float32) -> Float32:
        """Mean light of the cells of `light`, shape (length_px, K) -> (total, K)."""
        starts, weights = self._weights()
        table = np.ascontiguousarray(weights.T / self.width_px, dtype=np.float32)
        spilled = np.zeros((self.count + 2 * REACH, light.shape[1]), dtype=np.float32)
        for cell in range(self.count):
            rows = slice(starts[cell], starts[cell + 1])
            near = spilled[cell : cell + 2 * REACH + 1]
            for columns in _runs_of_columns(light.shape[1]):
                near[:, columns] += table[:, rows] @ light[rows, columns]
        if self.margin:
            kept = np.zeros((self.total, light.shape[1]), dtype=np.float32)
            kept[self.margin - REACH : self.total - self.margin + REACH] = spilled
            return kept
        kept = spilled[REACH : REACH + self.count]
        targets = self._targets()
        for spill in (*range(REACH), *range(REACH + self.count, len(targets))):
            kept[targets[spill]] += spilled[spill]
        return kept

    def scatter(self, cells: Float32) -> CellSpreader:
        """Prepare to read `cells`, shape (total, K), back at the pixels."""
        starts, weights = self._weights()
        return CellSpreader(
            starts=starts,
            table=weights.astype(np.float32),
            cells=np.ascontiguousarray(cells[self._targets()]),
        )

    def response(self, f_per_px: Float64) -> Float64:
        """Transfer function of gathering (and of scattering) at a frequency [cycles/px]."""
        spline = np.sinc(f_per_px * self.width_px) ** (SPLINE_DEGREE + 1)
        return np.asarray(np.sinc(f_per_px) * spline, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CellSpreader:
    """Cells about to become pixels, a few rows at a time."""

    starts: NDArray[np.intp]
    table: Float32
    cells: Float32

    @property
    def count(self) -> int:
        """Cells that have pixels."""
        return len(self.starts) - 1

    def rows_of(self, cell: int) -> slice:
        """Pixels whose centre lies in `cell`."""
        return slice(int(self.starts[cell]), int(self.starts[cell + 1]))

    def light_of(self, cell: int) -> Float32:
        """Light of those pixels, shape (rows, K)."""
        near = self.cells[cell : cell + 2 * REACH + 1]
        weights = self.table[self.rows_of(cell)]
        light = np.empty((weights.shape[0], near.shape[1]), dtype=np.float32)
        for columns in _runs_of_columns(near.shape[1]):
            np.matmul(weights, near[:, columns], out=light[:, columns])
        return light

    def all_rows(self) -> Float32:
        """Light of all pixels, shape (length_px, K)."""
        return np.concatenate([self.light_of(cell) for cell in range(self.count)])
