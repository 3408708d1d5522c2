"""Checks on a file's claims before anything is decoded."""

from __future__ import annotations

import numpy as np

from frontglass.errors import PictureFileError

MEGAPIXEL_LIMIT = 200
"""Larger pictures are refused: rendering needs tens of bytes a pixel."""


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
    if width * height > MEGAPIXEL_LIMIT * 1_000_000:
        raise PictureFileError(
            f"{width} x {height} pixels are more than the {MEGAPIXEL_LIMIT} megapixels that "
            "can be worked on. Give a smaller picture."
        )
    # Asked for, never touched: what there is no room for is told before it is decoded.
    np.empty((height, width, 3), np.float32)


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
