"""Pictures that follow the first in a JPEG file [CIPA-DC-007]."""

from __future__ import annotations

import struct

from frontglass.errors import PictureFileError
from frontglass.files.tags import directory_at, header_of

_ENTRIES = 0xB002
_MOST = 16
_ENTRY = 16
SIGNATURE = b"MPF\0"


def pictures_behind(data: bytes, index: bytes, at: int) -> list[bytes]:
    """Return the pictures that a multi-picture index names, but for the first.

    Parameters
    ----------
    data : bytes
        The whole file.
    index : bytes
        Content of the index segment, behind its signature.
    at : int
        Where that stands in the file: offsets count from there.
    """
    try:
        header = header_of(index)
        tag = directory_at(index, header, header.first).tags.get(_ENTRIES)
    except PictureFileError:
        return []
    raw = b"" if tag is None else tag.raw
    found = []
    for entry in range(min(len(raw) // _ENTRY, _MOST)):
        _, length, offset, _ = struct.unpack_from(f"{header.order}IIII", raw, _ENTRY * entry)
        if offset == 0:
            continue
        picture = data[at + offset : at + offset + length]
        if picture.startswith(b"\xff\xd8\xff"):
            found.append(picture)
    return found
