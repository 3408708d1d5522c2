"""Dots of a lamp laid on pixels, for a frame whose mirror images repeat for ever."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.optics.masks import Dots

Float64 = NDArray[np.float64]

NEAR_PX = 1024
DOTS_AT_ONCE = 2_000_000
WIDEST_BELOW_PX = 256
LARGEST_DENSE_PX = 4_000_000
"""On frames up to this, thousands of points far away fold onto one pixel, and are summed."""
ODD_LIGHT = 1e-9
"""Patterns less askew to the frame than this are even."""
ON_AXIS_PX = 1e-3


class Corners(NamedTuple):
    """Light on pixels: rows and columns of them, the lamp at (0, 0), and shares."""

    rows: NDArray[np.int32]
    columns: NDArray[np.int32]
    light: Float64

    @staticmethod
    def joined(parts: list[Corners]) -> Corners:
        """All the light of several."""
        return Corners(*(np.concatenate(column) for column in zip(*parts, strict=True)))

    def at(self, chosen: Any) -> Corners:
        """Return some of it."""
        return Corners(self.rows[chosen], self.columns[chosen], self.light[chosen])


def corners_of_dots(dots: Dots) -> Corners:
    """Half of the dots, one of each pair of opposites, divided among the four pixels round them.

    That is what averaging over the sending and the receiving pixel makes of a point. What lies at
    the lamp itself counts half.

    Parameters
    ----------
    dots : Dots
        In pixels; with every dot its opposite.
    """
    x, y, light = _one_of_each_pair(dots)
    left, top = np.floor(x), np.floor(y)
    right_share, low_share = x - left, y - top
    column, row = left.astype(np.int32), top.astype(np.int32)
    low = light * low_share
    high = light - low
    high_right, low_right = high * right_share, low * right_share
    return Corners(
        np.concatenate([row, row, row + 1, row + 1]),
        np.concatenate([column, column + 1, column, column + 1]),
        np.concatenate([high - high_right, high_right, low - low_right, low_right]),
    )


def _one_of_each_pair(dots: Dots) -> Dots:
    x, y, shares = dots
    middle = (x == 0) & (y == 0)
    chosen = (y > 0) | ((y == 0) & (x > 0)) | middle
    return Dots(x[chosen], y[chosen], np.where(middle, shares / 2, shares)[chosen])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MirrorKernel:
    """A pattern of dots on pixels, for a frame of some shape among its mirror images.

    Parameters
    ----------
    near : ndarray, shape (N + 1, 2 N + 1)
        Light in rows 0 ... N below the lamp, summed in double precision: thousands of dots
        may fall on one pixel. What lies above is the same, turned by half a turn.
    far : Corners
        All other light, rows folded into 0 ... H, columns into 0 ... 2 W - 1, sorted by row.
    starts : ndarray, shape (H + 2,)
        Where in `far` each row begins.
    rows : int
        From this row on there is no light in `near` or `far`.
    below : ndarray, shape (H - N, M)
        Of an even pattern whose light from row N + 1 on stays near the lamp's column: that light,
        columns 0 ... M - 1 and what lies opposite taken together. Otherwise M is 0.
    is_even : bool
        Whether it looks the same in a mirror.
    total : float
        All its light.
    """

    near: Float64
    far: Corners
    starts: NDArray[np.intp]
    rows: int
    below: Float64
    is_even: bool
    total: float

    @classmethod
    def of(cls, dots: Dots, shape: tuple[int, int]) -> MirrorKernel:
        """Kernel of dots, in pixels, for a frame of `shape`."""
        height, width = shape
        near_px = min(NEAR_PX, height - 1, width - 1)
        near = np.zeros((near_px + 1, 2 * near_px + 1))
        parts = []
        for start in range(0, max(len(dots.shares), 1), DOTS_AT_ONCE):
            some = Dots(*(column[start : start + DOTS_AT_ONCE] for column in dots))
            corners = corners_of_dots(some)
            inside = (corners.rows <= near_px) & (np.abs(corners.columns) <= near_px)
            rows, columns, light = corners.at(inside)
            near += _summed(Corners(rows, columns + near_px, light), near.shape)
            parts.append(_gathered(_folded(corners.at(~inside), shape), shape))
        near[0] += near[0, ::-1].copy()
        far = _gathered(Corners.joined(parts), shape) if len(parts) > 1 else parts[0]
        is_even = _is_even(dots)
        below = np.zeros((height - near_px, 0))
        if is_even:
            far, below = _split(far, near_px + 1, shape)
        lit = np.flatnonzero(near.any(axis=1))
        return cls(
            near=near,
            far=far,
            starts=np.searchsorted(far.rows, np.arange(height + 2)),
            rows=1 + max(lit[-1:].max(initial=0), far.rows[-1:].max(initial=0)),
            below=below,
            is_even=is_even,
            total=float(dots.shares.sum()),
        )

    def lay(self, first: int, block: NDArray[Any]) -> None:
        """Lay rows from `first` on into a block, columns 0 ... 2 W - 1, the lamp at column 0."""
        count = len(block)
        a, b = self.starts[first], self.starts[first + count]
        if a < b:
            rows, columns, light = self.far.at(slice(a, b))
            block[:] = _summed(Corners(rows - first, columns, light), block.shape)
        else:
            block[:] = 0
        near = self.near[first : first + count]
        reach = near.shape[1] // 2
        block[: len(near), : reach + 1] += near[:, reach:]
        if reach:
            block[: len(near), -reach:] += near[:, :reach]


def _split(far: Corners, first: int, shape: tuple[int, int]) -> tuple[Corners, Float64]:
    """Take what lies from row `first` on into a narrow block, if it is one."""
    height, width = shape
    start = int(np.searchsorted(far.rows, first))
    rows, columns, light = far.at(slice(start, None))
    aside = np.minimum(columns, 2 * width - columns)
    wide = int(aside.max(initial=-1)) + 1
    if wide > WIDEST_BELOW_PX:
        return far, np.zeros((height + 1 - first, 0))
    block = _summed(Corners(rows - first, aside, light), (height + 1 - first, wide))
    return far.at(slice(start)), block


def _summed(corners: Corners, shape: tuple[int, int]) -> Float64:
    """Light in rows and columns of an array, each pixel's in double precision."""
    place = corners.rows.astype(np.intp) * shape[1] + corners.columns
    total = np.bincount(place, corners.light, minlength=shape[0] * shape[1])
    return np.asarray(total, dtype=np.float64).reshape(shape)


def _is_even(dots: Dots) -> bool:
    """Whether a pattern looks the same in a mirror: as much light either way at every turn."""
    x, y, shares = dots
    way = shares * np.clip(x / ON_AXIS_PX, -1, 1) * np.clip(y / ON_AXIS_PX, -1, 1)
    reach = np.abs(x) + np.abs(y)
    turn = np.abs(x) / np.where(reach > 0, reach, 1.0)
    askew = max(abs(float(np.sum(way * turn**power))) for power in range(3))
    return askew <= ODD_LIGHT * float(np.sum(shares))


def _folded(corners: Corners, shape: tuple[int, int]) -> Corners:
    """Of all light and its opposite, what mirrors send to rows 0 ... H."""
    height, width = shape
    rows, columns, light = corners
    rows = np.mod(rows, 2 * height)
    both = (rows == 0) | (rows == height)  # on these rows the opposite lies too
    columns = np.where(rows > height, -columns, columns)
    rows = np.where(rows > height, 2 * height - rows, rows)
    columns = np.mod(np.concatenate([columns, -columns[both]]), 2 * width)
    rows = np.concatenate([rows, rows[both]])
    light = np.concatenate([light, light[both]])
    return Corners(rows, columns, light)


def _gathered(corners: Corners, shape: tuple[int, int]) -> Corners:
    """Sort folded light by row; on small frames sum what falls on one pixel."""
    height, width = shape
    rows, columns, light = corners
    if (height + 1) * 2 * width <= LARGEST_DENSE_PX:
        dense = _summed(Corners(rows, columns, light), (height + 1, 2 * width))
        at_row, at_column = np.nonzero(dense)
        return Corners(at_row.astype(np.int32), at_column.astype(np.int32), dense[dense != 0])
    order = np.argsort(rows.astype(np.uint16 if height < 2**16 else np.int32), kind="stable")
    return Corners(rows[order], columns[order], light[order])
