"""Codes of a JPEG: by OpenCV where it finds nothing wrong with the file, else by Pillow."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from frontglass.arrays import Codes
from frontglass.files.damage import heard
from frontglass.files.draft import draft_parts
from frontglass.heap import take_pages

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
        room = np.empty((*still.size[::-1], *((3,) if still.mode == "RGB" else ())), np.uint8)
        how = flags[still.mode] | cv2.IMREAD_IGNORE_ORIENTATION
        codes, lines = _decoded(partial(_into, room, data, how))
        if codes is not None and codes.shape == room.shape and not lines:
            return codes, ()
    codes = np.asarray(still)
    # At an eighth of the size nothing is transformed: every code is read, in a third of the time.
    _, lines = _decoded(partial(_of_memory, data, cv2.IMREAD_REDUCED_GRAYSCALE_8))
    return codes, tuple(dict.fromkeys(line.rstrip(".") for line in lines))


def _decoded(decode: Callable[[], Codes | None]) -> tuple[Codes | None, list[str]]:
    import cv2

    codes = None
    with heard() as lines, contextlib.suppress(cv2.error):
        codes = decode()
    return codes, lines


def _of_memory(data: bytes, flags: int) -> Codes | None:
    import cv2

    codes: Any = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    return None if codes is None else np.asarray(codes, np.uint8)


def _into(room: Codes, data: bytes, flags: int) -> Codes | None:
    """Decode into room that is there, if a file in memory can be had; it spares a copy.

    OpenCV does so for files alone. Half of what it takes was that copy, in pages of its own.
    """
    import cv2

    if not hasattr(os, "memfd_create"):
        return _of_memory(data, flags)
    with open(os.memfd_create("still"), "r+b") as file:
        file.write(data)
        file.flush()
        path = f"/proc/self/fd/{file.fileno()}"
        if not os.path.exists(path):
            return _of_memory(data, flags)
        take_pages(room)
        codes: Any = cv2.imread(path, room, flags)
    return None if codes is None else np.asarray(codes, np.uint8)
