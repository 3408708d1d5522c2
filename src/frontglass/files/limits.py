"""Checks on a file's claims before anything is decoded."""

from __future__ import annotations

from frontglass.errors import PictureFileError

MEGAPIXEL_LIMIT = 200
"""Larger pictures are refused: rendering needs tens of bytes a pixel."""


def check_size(width: int, height: int) -> None:
    """Raise PictureFileError unless a picture of this size can be worked on."""
    if width <= 0 or height <= 0:
        raise PictureFileError(f"It claims a size of {width} x {height} pixels.")
    if width * height > MEGAPIXEL_LIMIT * 1_000_000:
        raise PictureFileError(
            f"{width} x {height} pixels are more than the {MEGAPIXEL_LIMIT} megapixels that "
            "can be worked on. Give a smaller picture."
        )
