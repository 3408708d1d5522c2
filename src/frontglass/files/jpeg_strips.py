"""JPEG files coded in strips, as many at once as there are cores."""

from __future__ import annotations

import io
import struct
import tempfile
from typing import Any

from frontglass.arrays import Codes
from frontglass.files.jpeg_segments import SCAN, Segment, is_frame, segments_of
from frontglass.threads import for_each

STRIP_PX = 256
"""Whole blocks, however colours are sampled."""
FEWEST_PX = 1 << 21
MOST_PX = 65_500
"""What libjpeg codes along a side."""
START, RESTART_INTERVAL, RESTART, END = b"\xff\xd8", 0xDD, 0xD0, 0xD9


def coded(codes: Codes, mode: str | None, options: dict[str, Any]) -> bytes:
    """Return a JPEG file of codes.

    Parameters
    ----------
    codes : ndarray, shape (H, W) or (H, W, channels), uint8
        Samples.
    mode : str or None
        What Pillow is to take them for; None goes by their shape.
    options : dict
        What Pillow is to be told.

    Notes
    -----
    A restart marker ends what a decoder must remember [T81], so a file is the scans of its strips
    with such markers between them. Every block holds what it would hold otherwise.
    """
    height, width = codes.shape[:2]
    is_small = height * width < FEWEST_PX or max(height, width) > MOST_PX
    if is_small or options.get("progressive"):
        return _strip(codes, mode, options)
    strips: dict[int, bytes] = {}

    def code(top: int) -> None:
        strips[top] = _strip(codes[top : top + STRIP_PX], mode, options)

    for_each(code, range(0, height, STRIP_PX))
    return _joined([strips[top] for top in sorted(strips)], height, width)


def _strip(codes: Codes, mode: str | None, options: dict[str, Any]) -> bytes:
    from PIL import Image

    # Into a true file Pillow codes without holding up other threads.
    with tempfile.TemporaryFile() if len(codes) <= STRIP_PX else io.BytesIO() as out:
        Image.fromarray(codes, mode=mode).save(out, "JPEG", **options)
        out.seek(0)
        return out.read()


def _joined(strips: list[bytes], height: int, width: int) -> bytes:
    """Return one file of the files of its strips, which differ in height at most."""
    head = segments_of(strips[0])
    start = len(START) + sum(len(segment.data) for segment in head)
    out = [START]
    for segment in head:
        marker, content = segment
        if is_frame(segment):
            content = content[:1] + struct.pack(">H", height) + content[3:]
            blocks = _blocks(content, width)
        elif marker == SCAN:
            out.append(Segment(RESTART_INTERVAL, struct.pack(">H", blocks)).data)
        out.append(Segment(marker, content).data)
    for number, strip in enumerate(strips):
        end = END if number == len(strips) - 1 else RESTART + number % 8
        out += strip[start:-2], bytes([0xFF, end])
    return b"".join(out)


def _blocks(frame: bytes, width: int) -> int:
    """Return how many groups of blocks are in a strip, by the content of its frame header."""
    across, down = (max(sampling >> shift & 15 for sampling in frame[7::3]) for shift in (4, 0))
    if len(frame[7::3]) == 1:
        across = down = 1
    return -(-width // (8 * across)) * (STRIP_PX // (8 * down))
