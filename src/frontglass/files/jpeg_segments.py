"""Segments of a JPEG file."""

from __future__ import annotations

import struct
from typing import NamedTuple

from frontglass.errors import PictureFileError

SIGNATURE = b"\xff\xd8\xff"
SCAN = 0xDA
APP0, APP1, APP2, APP13, COMMENT = 0xE0, 0xE1, 0xE2, 0xED, 0xFE
EXIF, XMP, XMP_MORE = (
    b"Exif\0\0",
    b"http://ns.adobe.com/xap/1.0/\0",
    b"http://ns.adobe.com/xmp/extension/\0",
)
ICC = b"ICC_PROFILE\0"


class Segment(NamedTuple):
    """Marker code and content."""

    marker: int
    content: bytes

    @property
    def data(self) -> bytes:
        """What stands in a file."""
        head = struct.pack(">BBH", 0xFF, self.marker, len(self.content) + 2)
        return head + self.content


def segments_of(data: bytes) -> list[Segment]:
    """Split a JPEG file up to its first scan and see that it has an end.

    Raises
    ------
    PictureFileError
        If it is cut short or damaged. Decoders fill a missing rest with grey, in silence.
    """
    segments: list[Segment] = []
    at = 2
    while True:
        while at + 1 < len(data) and data[at] == 0xFF and data[at + 1] == 0xFF:
            at += 1
        if at + 4 > len(data):
            raise PictureFileError("The JPEG file is cut short.")
        if data[at] != 0xFF:
            raise PictureFileError("The JPEG file is damaged: a marker is missing.")
        marker = data[at + 1]
        (length,) = struct.unpack_from(">H", data, at + 2)
        if length < 2 or at + 2 + length > len(data):
            raise PictureFileError("The JPEG file is cut short or damaged.")
        segments.append(Segment(marker, data[at + 4 : at + 2 + length]))
        at += 2 + length
        if marker == SCAN:
            break
    if data.find(b"\xff\xd9", at) < 0:
        raise PictureFileError("The JPEG file is cut short: its end marker is missing.")
    return segments


def size_of(segments: list[Segment]) -> tuple[int, int]:
    """Width and height that the frame header claims.

    Raises
    ------
    PictureFileError
        If there is none, or more than one.
    """
    frames = [one.content for one in segments if is_frame(one)]
    if not frames:
        raise PictureFileError("The JPEG file is damaged: it has no frame header.")
    if len(frames) > 1:  # One may be checked and another decoded.
        raise PictureFileError("The JPEG file is damaged: it has several frame headers.")
    height, width = struct.unpack_from(">HH", frames[0], 1)
    return width, height


def shape_of(segments: list[Segment]) -> tuple[int, ...] | None:
    """Shape of its codes: (H, W, 3), (H, W) of a grey one, or None if it is neither.

    Raises
    ------
    PictureFileError
        As `size_of`.
    """
    width, height = size_of(segments)
    channels = next(one.content[5] for one in segments if is_frame(one))
    return {1: (height, width), 3: (height, width, 3)}.get(channels)


def is_frame(segment: Segment) -> bool:
    """Whether a segment is a frame header."""
    is_coding = 0xC0 <= segment.marker <= 0xCF and segment.marker not in {0xC4, 0xC8, 0xCC}
    return is_coding and len(segment.content) >= 6


def content_after(segments: list[Segment], marker: int, name: bytes) -> bytes | None:
    """Content of the first segment of a kind that begins with a name, behind that."""
    for have, content in segments:
        if have == marker and content.startswith(name):
            return content[len(name) :]
    return None


def icc_of(segments: list[Segment]) -> bytes | None:
    """ICC profile, put together of its parts."""
    parts: dict[int, bytes] = {}
    for marker, content in segments:
        if marker == APP2 and content.startswith(ICC) and len(content) > len(ICC) + 2:
            parts[content[len(ICC)]] = content[len(ICC) + 2 :]
    return b"".join(parts[number] for number in sorted(parts)) or None
