"""Codes of a JPEG by OpenCV, laid where they are wanted."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

import cv2
import numpy as np

from frontglass.arrays import Codes
from frontglass.files.damage import heard


class Decoded(NamedTuple):
    """Codes, None where they cannot be had, and what libjpeg says of them."""

    codes: Codes | None
    lines: list[str]


def decoded(data: bytes, shape: tuple[int, ...]) -> Decoded:
    """Decode a JPEG of shape (H, W, 3) or, if it is grey, (H, W)."""
    flags = cv2.IMREAD_COLOR_RGB if len(shape) == 3 else cv2.IMREAD_GRAYSCALE
    room = np.empty(shape, np.uint8)
    return _heard(partial(_into, room, data, flags | cv2.IMREAD_IGNORE_ORIENTATION))


def doubts_of(data: bytes) -> tuple[str, ...]:
    """Return what libjpeg warns of: at an eighth of the size, in a third of the time.

    Nothing is transformed then, and every code is read.
    """
    lines = _heard(partial(_of_memory, data, cv2.IMREAD_REDUCED_GRAYSCALE_8)).lines
    return tuple(dict.fromkeys(line.rstrip(".") for line in lines))


def _heard(decode: Callable[[], Codes | None]) -> Decoded:
    codes = None
    with heard() as lines, contextlib.suppress(cv2.error):
        codes = decode()
    return Decoded(codes, lines)


def _of_memory(data: bytes, flags: int) -> Codes | None:
    codes: Any = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    return None if codes is None else np.asarray(codes, np.uint8)


def _into(room: Codes, data: bytes, flags: int) -> Codes | None:
    """Decode into room that is there, if a file in memory can be had; it spares a copy.

    OpenCV does so for files alone. Half of what it takes was that copy, in pages of its own.
    """
    if not hasattr(os, "memfd_create"):
        return _of_memory(data, flags)
    with open(os.memfd_create("still"), "r+b") as file:
        file.write(data)
        file.flush()
        path = f"/proc/self/fd/{file.fileno()}"
        if not os.path.exists(path):
            return _of_memory(data, flags)
        codes: Any = cv2.imread(path, room, flags)
    return None if codes is None else np.asarray(codes, np.uint8)
