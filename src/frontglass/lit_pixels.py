"""Light of a few pixels of a frame, such as what its clipped lamps have lost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32, Float64
from frontglass.threads import in_pieces

if TYPE_CHECKING:
    from typing import Self

Places = tuple[NDArray[np.intp], NDArray[np.intp]]

AT_ONCE = 1 << 15
"""Pixels that are seen to at once."""


@dataclass(frozen=True, slots=True, eq=False)
class LitPixels:
    """Light of some pixels of a frame; numpy takes it for an array of all of them.

    Parameters
    ----------
    shape : (int, int, N)
        Of the frame, which has three channels or one.
    at : (ndarray, ndarray), shapes (N,)
        Rows and columns of its lit pixels, row by row.
    light : ndarray, a row for each, float32
        Their light.

    Examples
    --------
    >>> import numpy as np
    >>> frame = np.zeros((20, 30, 3), np.float32)
    >>> frame[4, 7] = 5
    >>> lamp = LitPixels.of(frame)
    >>> len(lamp.light), float((frame + lamp).max())
    (1, 10.0)
    """

    shape: tuple[int, ...]
    at: Places
    light: Float32

    @classmethod
    def of(cls, frame: Float32) -> Self:
        """Lit pixels of a whole frame."""
        red, green, blue = (frame[..., channel] != 0 for channel in range(3))
        rows, columns = np.nonzero(red | green | blue)
        return cls(frame.shape, (rows, columns), frame[rows, columns])

    def __array__(self, dtype: Any = None, copy: Any = None) -> NDArray[Any]:
        """Return all pixels of the frame, most of them dark."""
        del copy
        frame = np.zeros(self.shape, np.float32 if dtype is None else dtype)
        frame[self.at] = self.light
        return frame

    def times(self, factor: Any) -> Self:
        """Return it so many times as bright, by one factor or three."""
        return type(self)(self.shape, self.at, np.asarray(self.light * factor, np.float32))

    def channel(self, number: int) -> Self:
        """Return it in one channel alone, of a frame that has no other."""
        return type(self)((*self.shape[:2], 1), self.at, self.light[:, number : number + 1])

    def added_to(self, frame: Float32) -> Float32:
        """Return a frame with this light added to it, in place."""
        rows, columns = self.at

        def some(own: slice) -> None:
            frame[rows[own], columns[own]] += self.light[own]

        in_pieces(some, len(self.light), AT_ONCE)
        return frame

    def taken_from(self, frame: Float32) -> Float32:
        """Return another frame, which lacks this light."""
        frame = frame.copy()
        frame[self.at] -= self.light
        return frame

    def on_pixels(self, width: int, height: int) -> Self:
        """Return it on so many pixels, no more than there are, each the mean of what it covers."""
        frame = np.zeros((height, width, 3), np.float32)
        down, across = (
            _covered(place, length, size)
            for place, length, size in zip(self.at, self.shape, (height, width), strict=False)
        )
        for row, tall in down:
            for column, wide in across:
                lit = (row * width + column)[:, np.newaxis] * 3 + np.arange(3)
                share = (tall * wide).astype(np.float32)[:, np.newaxis]
                np.add.at(frame.reshape(-1), lit.ravel(), (share * self.light).ravel())
        return type(self).of(frame)

    def within(self, rows: slice, columns: slice = slice(None)) -> Self:
        """Return what of it is in some rows and columns."""
        height, width = (
            len(range(size)[own]) for size, own in zip(self.shape[:2], (rows, columns), strict=True)
        )
        top, left = rows.start or 0, columns.start or 0
        first, last = np.searchsorted(self.at[0], (top, top + height))
        down, across = (place[first:last] for place in self.at)
        inside = np.flatnonzero((across >= left) & (across < left + width))
        at = down[inside] - top, across[inside] - left
        return type(self)((height, width, 3), at, self.light[first:last][inside])


def pixels_above(light: Float32, level: float) -> Places:
    """Rows and columns of pixels of which a channel is brighter than a level, row by row.

    For some hundred rows of a still: most of their columns are dark, and a maximum down columns
    takes half of a comparison.
    """
    height, width, channels = light.shape
    samples = light.reshape(height, width * channels)
    lit = np.flatnonzero(samples.max(axis=0) > level)
    rows, own = np.nonzero(samples[:, lit] > level)
    columns = lit[own] // channels
    first = first_of_each(rows * width + columns)
    return rows[first], columns[first]


def first_of_each(pixels: NDArray[np.integer]) -> NDArray[np.intp]:
    """Return where each pixel comes first among some in order, one for each of their channels."""
    return np.flatnonzero(np.diff(pixels, prepend=-1))


def _covered(
    place: NDArray[np.intp], length: int, size: int
) -> tuple[tuple[NDArray[np.intp], Float64], ...]:
    """Wide pixels that each of some pixels lies on along an axis, two at most, and how much."""
    start, stop = place * (size / length), (place + 1) * (size / length)
    first = np.minimum(start.astype(np.intp), size - 1)
    over = np.maximum(stop - (first + 1), 0)
    return (first, stop - start - over), (np.minimum(first + 1, size - 1), over)
