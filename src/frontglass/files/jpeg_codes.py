"""Codes of a JPEG: by OpenCV where it finds nothing wrong with the file, else by Pillow."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Any

import numpy as np

from frontglass.arrays import Codes
from frontglass.files.damage import heard
from frontglass.files.draft import draft_parts

if TYPE_CHECKING:
    from PIL.JpegImagePlugin import JpegImageFile


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
    import cv2

    flags = {"RGB": cv2.IMREAD_COLOR_RGB, "L": cv2.IMREAD_GRAYSCALE}
    if draft_parts(still.size) > 1:
        width, height = (side // draft_parts(still.size) for side in still.size)
        still.draft(still.mode, (width, height))
        return np.asarray(still), ()
    if still.mode in flags:
        codes, lines = _decoded(data, flags[still.mode] | cv2.IMREAD_IGNORE_ORIENTATION)
        if codes is not None and codes.shape[1::-1] == still.size and not lines:
            return codes, ()
    codes = np.asarray(still)
    # At an eighth of the size nothing is transformed: every code is read, in a third of the time.
    _, lines = _decoded(data, cv2.IMREAD_REDUCED_GRAYSCALE_8)
    return codes, tuple(dict.fromkeys(line.rstrip(".") for line in lines))


def _decoded(data: bytes, flags: int) -> tuple[Codes | None, list[str]]:
    import cv2

    codes: Any = None
    with heard() as lines, contextlib.suppress(cv2.error):
        codes = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    return codes, lines
