"""DPX: uncompressed RGB and grey of 8, 10, 12 and 16 bits [ST268]."""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import PictureFileError
from frontglass.files.limits import check_size
from frontglass.files.still import FileStill
from frontglass.picture.encoding import Container

SIGNATURES = (b"SDPX", b"XPDS")
_CHANNELS = {6: 1, 50: 3, 51: 4}
"""Descriptors of an element: grey, R G B, R G B A."""
_HEAD = 808


def read_dpx(data: bytes) -> FileStill:
    """Read the first element of a DPX file; its codes on the scale of 16 bits.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short, compressed, too large, or holds other than grey or RGB.
    """
    order = ">" if data.startswith(b"SDPX") else "<"
    if len(data) < _HEAD:
        raise PictureFileError("The DPX file is cut short.")
    (start,) = struct.unpack_from(f"{order}I", data, 4)
    width, height = struct.unpack_from(f"{order}II", data, 772)
    check_size(width, height)
    descriptor, _, _, bits = struct.unpack_from("4B", data, 800)
    packing, coding, own = struct.unpack_from(f"{order}HHI", data, 804)
    channels = _CHANNELS.get(descriptor)
    if channels is None or coding != 0 or bits not in {8, 10, 12, 16}:
        raise PictureFileError(
            "DPX files are read as uncompressed grey or RGB of 8, 10, 12 or 16 bits; this one is"
            " of another kind. Save it as TIFF or OpenEXR."
        )
    at = own if _HEAD <= own < len(data) else start
    values = _samples(data[at:], order, (height, width * channels), bits, packing)
    top = 2**bits - 1
    table = np.round(np.arange(top + 1) * (65535 / top)).astype(np.uint16)
    codes = table[values].reshape(height, width, channels)[..., : min(channels, 3)]
    notices = ("The DPX file's alpha is left out.",) if channels == 4 else ()
    return FileStill(
        container=Container.DPX, codes=np.ascontiguousarray(codes), bits=bits, notices=notices
    )


def _samples(
    data: bytes, order: str, shape: tuple[int, int], bits: int, packing: int
) -> NDArray[np.uint16]:
    """Numbers of all rows, each of which begins at a whole word of 32 bits."""
    rows, across = shape
    if bits == 10:
        if packing not in {1, 2}:
            raise PictureFileError("DPX files of 10 bits without filling bits cannot be read.")
        words = _plane(data, f"{order}u4", (rows, -(-across // 3)))
        shifts = np.array([22, 12, 2] if packing == 1 else [20, 10, 0], np.uint32)
        values = words[..., np.newaxis] >> shifts & np.uint32(1023)
        return values.reshape(rows, -1)[:, :across].astype(np.uint16)
    if bits == 12 and packing not in {1, 2}:
        raise PictureFileError("DPX files of 12 bits without filling bits cannot be read.")
    size = 1 if bits == 8 else 2
    padded = -(-across * size // 4) * 4 // size
    values = _plane(data, "u1" if size == 1 else f"{order}u2", (rows, padded))[:, :across]
    if bits == 12:
        values = values >> np.uint16(4 if packing == 1 else 0) & np.uint16(4095)
    return values.astype(np.uint16)


def _plane(data: bytes, kind: str, shape: tuple[int, int]) -> NDArray[np.unsignedinteger]:
    count = shape[0] * shape[1]
    if len(data) < count * np.dtype(kind).itemsize:
        raise PictureFileError("The DPX file is cut short.")
    return np.frombuffer(data, kind, count).reshape(shape)
