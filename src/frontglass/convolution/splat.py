"""Light laid on pixels as points, and the planes of a frame that it makes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple, Protocol

import numpy as np
import scipy
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.blocks import ROWS_AT_ONCE, over_columns
from frontglass.convolution.filters import Filter, Planes
from frontglass.optics.bands import Band
from frontglass.threads import end_if_unwanted, in_pieces

LEAST_LIGHT = 1e-25
"""Less is left out: numbers that are not normal make transforms six times as slow."""

POINTS_IN_CACHE = 32_768
"""So many at a time need not go through main memory: two thirds of the time of all at once."""


class Mask(Protocol):
    """What a filter asks of a mask over the pupil."""

    @property
    def direct(self) -> float:
        """Zero order over all light that leaves. [1], in [0, 1]."""

    @property
    def is_even(self) -> bool:
        """Whether it looks the same in a mirror."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskFilter(Filter):
    """A mask over the pupil, in one channel, whose light is laid on pixels.

    Parameters
    ----------
    mask : Mask
        What the pupil sees.
    band : Band
        The channel's light.
    px_per_rad : float
        Scale of the picture, > 0.
    pale_share : float
        Share of all that leaves that pale threads scatter into a veil. [1], in [0, 1].
    has_mirrors : bool
        Whether mirrors send back what leaves a frame.
    """

    mask: Mask
    band: Band
    px_per_rad: float
    pale_share: float = 0.0
    has_mirrors: bool = True

    @property
    def direct(self) -> float:
        """See `Filter`."""
        return (1 - self.pale_share) * self.mask.direct

    @property
    def veil(self) -> float:
        """See `Filter`."""
        return self.pale_share

    @property
    def is_even(self) -> bool:
        """See `Filter`."""
        return self.mask.is_even

    @property
    def is_laid(self) -> bool:
        """See `Filter`."""
        return True

    @property
    def beyond_the_frame(self) -> tuple[Filter, ...]:
        """See `Filter`."""
        return ()

    def without_mirrors(self) -> Filter:
        """See `Filter`."""
        return replace(self, has_mirrors=False)


class Points(NamedTuple):
    """Light of a lamp as points, one of each pair of opposites: offsets [px], shares of light."""

    x_px: Float64
    y_px: Float64
    shares: Float64

    def pieces(self) -> Iterator[Points]:
        """Yield some of them at a time."""
        for start in range(0, self.shares.size, POINTS_IN_CACHE):
            yield Points(*(column[start : start + POINTS_IN_CACHE] for column in self))


class Pixels(NamedTuple):
    """Light on pixels: rows and columns of them, the lamp at (0, 0), and shares."""

    rows: NDArray[np.int32]
    columns: NDArray[np.int32]
    light: Float64

    @staticmethod
    def joined(parts: list[Pixels]) -> Pixels:
        """All the light of several."""
        return Pixels(*(np.concatenate(column) for column in zip(*parts, strict=True)))

    def lit(self) -> Pixels:
        """Return those with light."""
        lit = np.abs(self.light) > LEAST_LIGHT
        return Pixels(self.rows[lit], self.columns[lit], self.light[lit])


def splat(points: Points) -> Pixels:
    """Points divided among the four pixels round each.

    That is what averaging over the sending and the receiving pixel makes of a point.
    """
    left, top = np.floor(points.x_px), np.floor(points.y_px)
    right_share, low_share = points.x_px - left, points.y_px - top
    column, row = left.astype(np.int32), top.astype(np.int32)
    low = points.shares * low_share
    high = points.shares - low
    high_right, low_right = high * right_share, low * right_share
    return Pixels(
        np.concatenate([row, row, row + 1, row + 1]),
        np.concatenate([column, column + 1, column, column + 1]),
        np.concatenate([high - high_right, high_right, low - low_right, low_right]),
    )


def on_torus(parts: Iterable[Points], side: int) -> Float64:
    """Light of points round a lamp at (side / 2, side / 2) of a square that repeats.

    Their opposites are left out. They lie within half a side, which is even, of the lamp.
    """
    # With the lamp in the middle places need no remainders.
    half, wide = side // 2, side + 2
    total = np.zeros(wide * wide)
    for points in parts:
        left, top = np.floor(points.x_px), np.floor(points.y_px)
        place = ((top + half) * wide + (left + half)).astype(np.intp)
        right_share = points.x_px - left
        low = points.shares * (points.y_px - top)
        for light, first in ((points.shares - low, 0), (low, wide)):
            right = light * right_share
            np.add.at(total[first:], place, light - right)
            np.add.at(total[first + 1 :], place, right)
    square = total.reshape(wide, wide)
    square[:2] += square[side:]
    square[:, :2] += square[:, side:]
    return square[:side, :side]


def off_torus(light: Float64) -> Pixels:
    """One of each pair of opposite pixels of a square that repeats; the middle counts half."""
    half = len(light) // 2
    rows = np.arange(half + 1)
    columns = np.arange(-half, half + 1)
    chosen = light[np.ix_(rows, columns % len(light))]
    chosen[0, :half] = 0
    chosen[0, half] /= 2
    row, column = np.nonzero(chosen)
    return Pixels(rows[row].astype(np.int32), columns[column].astype(np.int32), chosen[row, column])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MirrorKernel:
    """Light on pixels, for a frame of some shape among its mirror images.

    Parameters
    ----------
    near : ndarray, shape (N + 1, 2 N + 1)
        Light in rows 0 ... N below the lamp and N columns to either side, where most of it is.
    far : Pixels
        All other light, rows folded into 0 ... H, columns into 0 ... 2 W - 1, sorted by row.
    starts : ndarray, shape (H + 2,)
        Where in `far` each row begins.
    shape : (int, int)
        Of the frame.
    """

    near: Float64
    far: Pixels
    starts: NDArray[np.intp]
    shape: tuple[int, int]

    @classmethod
    def of(
        cls, parts: Iterable[Pixels], shape: tuple[int, int], *, has_mirrors: bool
    ) -> MirrorKernel:
        """Kernel of pixels, one of each pair of opposites, and of those opposites."""
        height, width = shape
        reach = min(ACCURACY.near_px, height - 1, width - 1)
        near = np.zeros((reach + 1, 2 * reach + 1))
        nowhere = np.zeros(0, np.int32)
        far = [Pixels(nowhere, nowhere, np.zeros(0))]
        for pixels in map(Pixels.lit, parts):
            end_if_unwanted()
            above = pixels.rows < 0
            rows, columns = np.abs(pixels.rows), np.where(above, -pixels.columns, pixels.columns)
            inside = (rows <= reach) & (np.abs(columns) <= reach)
            place = rows[inside] * np.intp(near.shape[1]) + columns[inside] + reach
            np.add.at(near.reshape(-1), place, pixels.light[inside])
            outside = ~inside
            if not has_mirrors:
                outside &= (rows < height) & (np.abs(columns) < width)
            beyond = Pixels(rows[outside], columns[outside], pixels.light[outside])
            far.append(_summed(_folded(beyond, shape), shape))
        near[0] += near[0, ::-1].copy()
        found = _summed(Pixels.joined(far), shape)
        far.clear()  # Copies of it follow.
        order = np.argsort(
            found.rows.astype(np.uint16 if height < 2**16 else np.int32), kind="stable"
        )
        folded = Pixels(found.rows[order], found.columns[order], found.light[order])
        starts = np.searchsorted(folded.rows, np.arange(height + 2))
        return cls(near=near, far=folded, starts=starts, shape=shape)

    def rows(self, first: int, last: int) -> Float64 | None:
        """Light in some rows, each pixel's summed in double precision; None if there is none."""
        a, b = self.starts[first], self.starts[last]
        near = self.near[first:last]
        if a == b and not near.any():
            return None
        wide = 2 * self.shape[1]
        place = (self.far.rows[a:b] - first) * np.intp(wide) + self.far.columns[a:b]
        light = np.bincount(place, self.far.light[a:b], minlength=(last - first) * wide)
        laid = np.asarray(light, dtype=np.float64).reshape(last - first, wide)
        reach = near.shape[1] // 2
        laid[: len(near), : reach + 1] += near[:, reach:]
        if reach:
            laid[: len(near), -reach:] += near[:, :reach]
        return laid


def _folded(pixels: Pixels, shape: tuple[int, int]) -> Pixels:
    """Fold pixels and their opposites, as mirrors send them, to rows 0 ... H."""
    height, width = shape
    rows = np.mod(pixels.rows, 2 * height)
    both = (rows == 0) | (rows == height)  # on these rows the opposite lies too
    below = rows > height
    columns = np.where(below, -pixels.columns, pixels.columns)
    rows = np.where(below, 2 * height - rows, rows)
    rows = np.concatenate([rows, rows[both]])
    columns = np.mod(np.concatenate([columns, -columns[both]]), 2 * width)
    light = np.concatenate([pixels.light, pixels.light[both]])
    return Pixels(rows.astype(np.int32), columns.astype(np.int32), light)


def _summed(pixels: Pixels, shape: tuple[int, int]) -> Pixels:
    """On small frames, where thousands of points fold onto one pixel, a number for each pixel."""
    rows, wide = shape[0] + 1, 2 * shape[1]
    if rows * wide > pixels.light.size:
        return pixels
    place = pixels.rows * np.intp(wide) + pixels.columns
    light = np.asarray(np.bincount(place, pixels.light, minlength=rows * wide), np.float64)
    (lit,) = np.nonzero(light)
    return Pixels((lit // wide).astype(np.int32), (lit % wide).astype(np.int32), light[lit])


def planes_of(
    parts: Iterable[Pixels],
    shape: tuple[int, int],
    dtype: np.dtype[Any],
    *,
    is_even: bool,
    has_mirrors: bool = True,
) -> Planes:
    """Planes of light on pixels, for a frame of `shape`.

    Parameters
    ----------
    parts : iterable of Pixels
        One of each pair of opposites; those at the lamp itself count half.
    shape : (int, int)
        Of the frame.
    dtype : dtype
        Of the planes; transforms are computed in it too.
    is_even : bool
        Whether the light looks the same in a mirror: then there is no odd plane.
    has_mirrors : bool
        Whether what lands outside a frame's width and height comes back, or is gone.
    """
    kernel = MirrorKernel.of(parts, shape, has_mirrors=has_mirrors)
    planes = Planes.empty(shape, dtype, is_even=is_even)
    lay_planes(kernel, planes)
    return planes


def lay_planes(kernel: MirrorKernel, planes: Planes) -> None:
    """Lay the planes of a kernel into memory for them; transforms have its precision.

    Along rows a kernel's transform is its cosines less i times its sines, and down columns those
    go on as one even and odd sequence: half the time of a transform for each.
    """
    height, width = kernel.shape
    dtype = planes.even.dtype

    def along(rows: slice) -> None:
        laid = kernel.rows(rows.start, rows.stop)
        if laid is None:
            for plane in planes:
                if plane is not None:
                    plane[rows] = 0
        elif planes.odd is None:
            light = laid[:, : width + 1].astype(dtype)
            planes.even[rows] = scipy.fft.dct(light, type=1, axis=1)
        else:
            transformed = scipy.fft.rfft(laid.astype(dtype, copy=False), axis=1)
            planes.even[rows] = transformed.real
            np.negative(transformed.imag, out=planes.odd[rows])

    in_pieces(along, height + 1, ROWS_AT_ONCE)
    over_columns(partial(_transform_columns, planes), planes.even.shape)
    if planes.odd is not None:
        # At the highest frequencies a grid cannot tell a wave from its mirror image.
        planes.odd[[0, -1]] = 0
        planes.odd[:, [0, -1]] = 0


def _transform_columns(planes: Planes, columns: slice) -> None:
    """Transform some columns of planes down, in place."""
    even, odd = planes.at(columns)
    if odd is None:
        even[:] = scipy.fft.dct(np.ascontiguousarray(even), type=1, axis=0, overwrite_x=True)
        return
    height = len(even) - 1
    both = np.empty((2 * height, even.shape[1]), even.dtype)
    np.add(even, odd, out=both[: height + 1])
    np.subtract(even[-2:0:-1], odd[-2:0:-1], out=both[height + 1 :])
    transformed = scipy.fft.rfft(both, axis=0)
    even[:] = transformed.real
    np.negative(transformed.imag, out=odd)
