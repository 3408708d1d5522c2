"""Codes of a JPEG: by OpenCV where it finds nothing wrong with the file, else by Pillow."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from frontglass.arrays import Codes
from frontglass.files.draft import draft_parts
from frontglass.files.jpeg_ahead import decoded_once
from frontglass.files.jpeg_decoding import doubts_of

if TYPE_CHECKING:
    from PIL.JpegImagePlugin import JpegImageFile

CHANNELS = {"RGB": (3,), "L": ()}


def codes_of(still: JpegImageFile, data: bytes) -> tuple[Codes, tuple[str, ...]]:
    """Codes of a JPEG, and what libjpeg warns of.

    Parameters
    ----------
    still : JpegImageFile
        As Pillow has opened it.
    data : bytes
        The file.

    Raises
    ------
    OSError
        If it is cut short or damaged.

    Notes
    -----
    Both are libjpeg-turbo and give the same codes. OpenCV puts them where they are wanted, in less
    than half of Pillow's time, and lets libjpeg say what it stumbles on, which Pillow keeps to
    itself; Pillow knows more kinds of JPEG, and tells a file that is cut short.
    """
    if draft_parts(still.size) > 1:
        width, height = (side // draft_parts(still.size) for side in still.size)
        still.draft(still.mode, (width, height))
        return np.asarray(still), ()
    if still.mode in CHANNELS:
        shape = (*still.size[::-1], *CHANNELS[still.mode])
        codes, lines = decoded_once(data, shape)
        if codes is not None and codes.shape == shape and not lines:
            return codes, ()
    return np.asarray(still), doubts_of(data)
