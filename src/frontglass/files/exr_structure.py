"""Whether an OpenEXR file is whole, from its headers and chunk tables alone [OpenEXR-3].

The library itself prints a warning for a file cut short and goes on without its pixels.
"""

from __future__ import annotations

import math
import struct
from typing import NamedTuple

from frontglass.errors import PictureFileError
from frontglass.files.limits import check_samples, check_size

_TILED, _LONG_NAMES, _DEEP, _MULTIPART = 0x200, 0x400, 0x800, 0x1000
_ROWS_PER_CHUNK = {0: 1, 1: 1, 2: 1, 3: 16, 4: 32, 5: 16, 6: 32, 7: 32, 8: 32, 9: 256}


class _Part(NamedTuple):
    attributes: dict[bytes, tuple[bytes, bytes]]
    """Type and value by name."""


def check_exr_structure(data: bytes) -> None:
    """Raise PictureFileError if the file is cut short, deep, too large or no OpenEXR."""
    try:
        _check(data)
    except (struct.error, IndexError, ValueError, KeyError, ZeroDivisionError):
        raise PictureFileError("The OpenEXR file is cut short or damaged.") from None


def _check(data: bytes) -> None:
    (version,) = struct.unpack_from("<I", data, 4)
    if version & _DEEP:
        raise PictureFileError("Deep OpenEXR files cannot be read. Flatten it first.")
    parts, at = _headers(data, is_multipart=bool(version & _MULTIPART))
    tables: list[tuple[int | None, int]] = []
    samples = 0
    for part in parts:
        for name in (b"dataWindow", b"displayWindow"):
            x0, y0, x1, y1 = struct.unpack("<4i", part.attributes[name][1])
            check_size(x1 - x0 + 1, y1 - y0 + 1)
            samples += (x1 - x0 + 1) * (y1 - y0 + 1) * _channels(part) * (name == b"dataWindow")
        part_type = part.attributes.get(b"type", (b"", b""))[1]
        if part_type.startswith(b"deep"):
            raise PictureFileError("Deep OpenEXR files cannot be read. Flatten it first.")
        is_tiled = bool(version & _TILED) or part_type.startswith(b"tiled")
        # Before a chunk's size stand its row, or its tile's place and level; in files of
        # several parts the part's number before that.
        leader = (16 if is_tiled else 4) + (4 if version & _MULTIPART else 0)
        tables.append((_chunk_count(part, is_tiled=is_tiled), leader))
    # All channels of all parts are unpacked, whatever is used of them.
    check_samples(samples)
    for count, leader in tables:
        if count is None:
            # An unknown way of cutting into chunks; the library will judge.
            return
        for offset in struct.unpack_from(f"<{count}Q", data, at):
            _check_chunk(data, offset, leader)
        at += 8 * count


def _check_chunk(data: bytes, offset: int, leader: int) -> None:
    if offset == 0 or offset + leader + 4 > len(data):
        raise PictureFileError("The OpenEXR file is cut short.")
    (size,) = struct.unpack_from("<i", data, offset + leader)
    if size < 0 or offset + leader + 4 + size > len(data):
        raise PictureFileError("The OpenEXR file is cut short.")


def _headers(data: bytes, *, is_multipart: bool) -> tuple[list[_Part], int]:
    parts: list[_Part] = []
    at = 8
    while True:
        attributes: dict[bytes, tuple[bytes, bytes]] = {}
        while data[at] != 0:
            name_end = data.index(b"\0", at, at + 256)
            type_end = data.index(b"\0", name_end + 1, name_end + 257)
            (size,) = struct.unpack_from("<i", data, type_end + 1)
            start = type_end + 5
            if size < 0 or start + size > len(data):
                raise ValueError
            name, attribute_type = data[at:name_end], data[name_end + 1 : type_end]
            attributes[name] = (attribute_type, data[start : start + size])
            at = start + size
        at += 1
        parts.append(_Part(attributes))
        if not is_multipart:
            return parts, at
        if data[at] == 0:
            return parts, at + 1


def _channels(part: _Part) -> int:
    """Return how many channels a part has: each a name, and 16 bytes."""
    content, count, at = part.attributes[b"channels"][1], 0, 0
    while content[at] != 0:
        at = content.index(b"\0", at) + 17
        count += 1
    return count


def _chunk_count(part: _Part, *, is_tiled: bool) -> int | None:
    attributes = part.attributes
    if b"chunkCount" in attributes:
        return int(struct.unpack("<i", attributes[b"chunkCount"][1])[0])
    x0, y0, x1, y1 = struct.unpack("<4i", attributes[b"dataWindow"][1])
    width, height = int(x1 - x0 + 1), int(y1 - y0 + 1)
    if is_tiled and b"tiles" in attributes:
        across, down, mode = struct.unpack("<IIB", attributes[b"tiles"][1])
        if mode & 15:
            return None
        return math.ceil(width / int(across)) * math.ceil(height / int(down))
    rows = _ROWS_PER_CHUNK.get(int(attributes[b"compression"][1][0]))
    return None if rows is None else math.ceil(height / rows)
