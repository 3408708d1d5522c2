"""Checks on a file's claims before anything is decoded."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

import numpy as np

from frontglass.checks import check_within
from frontglass.errors import PictureFileError

MEGAPIXEL_LIMIT = 200.0
"""Larger pictures are refused: rendering needs tens of bytes a pixel."""
MOST_MEGAPIXELS = 4000.0
"""The limit can be lifted so far: beyond, arrays of 32-bit sizes in libraries overflow."""
MOST_CHANNELS = 4
"""A file of the largest size may have so many channels; smaller ones may have more."""
_is_size_asked: ContextVar[bool] = ContextVar("size_asked", default=False)
_limit: ContextVar[float] = ContextVar("megapixel_limit", default=MEGAPIXEL_LIMIT)


class SizeTold(Exception):  # noqa: N818  # no error: what was asked for
    """The size that a file claims [px]."""

    def __init__(self, width: int, height: int) -> None:
        super().__init__(width, height)
        self.width, self.height = width, height


@contextmanager
def size_alone() -> Iterator[None]:
    """Let the first check of a size raise `SizeTold`."""
    before = _is_size_asked.set(True)
    try:
        yield
    finally:
        _is_size_asked.reset(before)


@contextmanager
def megapixels_at_most(limit: float | None) -> Iterator[None]:
    """Let files that are read meanwhile be so large; None leaves the limit as it is.

    Parameters
    ----------
    limit : float or None
        In millions of pixels, in (0, 4000].
    """
    if limit is None:
        yield
        return
    check_within("max_megapixels", limit, 1e-6, MOST_MEGAPIXELS)
    before = _limit.set(float(limit))
    try:
        yield
    finally:
        _limit.reset(before)


def check_size(width: int, height: int) -> None:
    """Raise an error unless a picture of this size can be worked on.

    Raises
    ------
    PictureFileError
        If it has no pixels, or too many.
    MemoryError
        If there is no room for its light.
    """
    if width <= 0 or height <= 0:
        raise PictureFileError(f"It claims a size of {width} x {height} pixels.")
    if _is_size_asked.get():
        raise SizeTold(width, height)
    if width * height > _limit.get() * 1_000_000:
        raise PictureFileError(
            f"{width} x {height} pixels are more than the {_limit.get():g} megapixels that "
            "can be worked on. Give a smaller picture, or lift the limit with --max-megapixels."
        )
    # Asked for, never touched: what there is no room for is told before it is decoded.
    np.empty((height, width, 3), np.float32)


def check_samples(samples: int) -> None:
    """Raise an error unless there may be so many samples: channels too are memory.

    Raises
    ------
    PictureFileError
        If there are more than the largest picture of four channels has.
    MemoryError
        If there is no room for them.
    """
    most = MOST_CHANNELS * _limit.get() * 1_000_000
    if samples > most:
        raise PictureFileError(
            f"{samples / 1e6:.0f} million samples of all channels are more than "
            f"the {most / 1e6:g} million that can be worked on. Leave channels out, or lift "
            "the limit with --max-megapixels."
        )
    np.empty(samples, np.float32)  # asked for, never touched


def check_map_size(size: tuple[int, int], picture: tuple[int, int]) -> None:
    """Raise PictureFileError if a gain map claims more pixels than a picture can have use for.

    Parameters
    ----------
    size, picture : tuple of int
        Width and height of the map, and of the picture.
    """
    (width, height), (wide, high) = size, picture
    if width <= 0 or height <= 0 or width * height > max(4 * wide * high, 1 << 20):
        raise PictureFileError(f"The file's gain map claims {width} x {height} pixels.")
    check_size(width, height)


def check_map_shape(size: tuple[int, int], picture: tuple[int, int]) -> None:
    """Raise PictureFileError unless a gain map is shaped like its picture."""
    (width, height), (wide, high) = size, picture
    # Halved sizes are rounded, and coders fill blocks of eight.
    if abs(width * high - height * wide) > 9 * max(wide, high):
        raise PictureFileError(
            f"The file's gain map of {width} x {height} pixels is not shaped like the picture of "
            f"{wide} x {high}: it belongs to another."
        )
