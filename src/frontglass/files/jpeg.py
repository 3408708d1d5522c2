"""JPEG: segments read here, pixels by Pillow, tables carried from input to output."""

from __future__ import annotations

import io
import struct
from typing import NamedTuple

import numpy as np

from frontglass.errors import PictureFileError
from frontglass.files.limits import check_size
from frontglass.files.outgoing import Outgoing
from frontglass.files.still import FileStill
from frontglass.picture.encoding import Container, Metadata, Native, NativeKind

SIGNATURE = b"\xff\xd8\xff"
_START, _END, _SCAN = 0xD8, 0xD9, 0xDA
_APP0, _APP1, _APP2, _APP13, _COMMENT = 0xE0, 0xE1, 0xE2, 0xED, 0xFE
_EXIF, _XMP, _XMP_MORE = (
    b"Exif\0\0",
    b"http://ns.adobe.com/xap/1.0/\0",
    b"http://ns.adobe.com/xmp/extension/\0",
)
_ICC = b"ICC_PROFILE\0"
_MOST_CONTENT = 65533
_STOCK_QUALITY = 95


class Segment(NamedTuple):
    """Marker code and content."""

    marker: int
    content: bytes


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
        if marker == _SCAN:
            break
    if data.find(b"\xff\xd9", at) < 0:
        raise PictureFileError("The JPEG file is cut short: its end marker is missing.")
    return segments


def _size(segments: list[Segment]) -> tuple[int, int]:
    for marker, content in segments:
        is_frame = 0xC0 <= marker <= 0xCF and marker not in {0xC4, 0xC8, 0xCC}
        if is_frame and len(content) >= 6:
            height, width = struct.unpack_from(">HH", content, 1)
            return width, height
    raise PictureFileError("The JPEG file is damaged: it has no frame header.")


def read_jpeg(data: bytes) -> FileStill:
    """Read a JPEG file.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short or too large.
    """
    from PIL import JpegImagePlugin

    segments = segments_of(data)
    check_size(*_size(segments))
    try:
        # The plugin itself: Image.open has a size limit of its own; ours was checked.
        with JpegImagePlugin.JpegImageFile(io.BytesIO(data)) as still:
            codes = np.array(still)
            mode = still.mode
            carried = {
                "jpeg_tables": {key: list(table) for key, table in still.quantization.items()},
                "jpeg_subsampling": JpegImagePlugin.get_sampling(still),
                "jpeg_progressive": bool(still.info.get("progressive")),
                "jpeg_segments": tuple(s for s in segments if _is_carried(s)),
            }
            dpi = _dpi(segments)
    except (OSError, SyntaxError, ValueError, struct.error) as error:
        raise PictureFileError(f"The JPEG file is damaged: {error}.") from error
    native = None
    if mode == "CMYK":
        native = Native(NativeKind.CMYK, codes)
    elif mode not in {"L", "RGB"}:
        raise PictureFileError(f"JPEG files of kind {mode} cannot be read.")
    return FileStill(
        container=Container.JPEG,
        codes=codes[..., np.newaxis] if codes.ndim == 2 else codes,
        native=native,
        metadata=_metadata(segments, dpi),
        carried=carried,
    )


def _is_carried(segment: Segment) -> bool:
    if segment.marker == _APP1:
        return segment.content.startswith(_XMP_MORE)
    return segment.marker in {_APP13, _COMMENT}


def _dpi(segments: list[Segment]) -> tuple[float, float] | None:
    for marker, content in segments:
        if marker == _APP0 and content.startswith(b"JFIF\0") and len(content) >= 12:
            unit, across, down = struct.unpack_from(">BHH", content, 7)
            scale = {1: 1.0, 2: 2.54}.get(unit)
            if scale is not None and across and down:
                return across * scale, down * scale
    return None


def _metadata(segments: list[Segment], dpi: tuple[float, float] | None) -> Metadata:
    exif = xmp = None
    parts: dict[int, bytes] = {}
    for marker, content in segments:
        if marker == _APP1 and content.startswith(_EXIF) and exif is None:
            exif = content[len(_EXIF) :]
        elif marker == _APP1 and content.startswith(_XMP) and xmp is None:
            xmp = content[len(_XMP) :]
        elif marker == _APP2 and content.startswith(_ICC) and len(content) > len(_ICC) + 2:
            parts[content[len(_ICC)]] = content[len(_ICC) + 2 :]
    icc = b"".join(parts[number] for number in sorted(parts)) or None
    return Metadata(icc=icc, exif=exif, xmp=xmp, dpi=dpi)


def jpeg_bytes(still: Outgoing, quality: int | None) -> tuple[bytes, tuple[str, ...]]:
    """Return a JPEG file, and what it could not hold.

    Without `quality`, the tables and subsampling of a JPEG input serve again; other
    pictures get quality 95 without subsampling.
    """
    from PIL import Image

    if still.native is not None and still.native.kind is NativeKind.CMYK:
        plain = Image.fromarray(still.native.codes, mode="CMYK")
    else:
        codes = still.codes
        plain = Image.fromarray(codes[..., 0] if codes.shape[2] == 1 else codes)
    options: dict[str, object] = {
        "quality": _STOCK_QUALITY if quality is None else quality,
        "subsampling": 0,
        "progressive": still.carried.get("jpeg_progressive", False),
    }
    tables = still.carried.get("jpeg_tables")
    # Numbers of 16 bits; what is beyond, or none, is left out.
    if still.metadata.dpi is not None and all(0 < value < 65535 for value in still.metadata.dpi):
        options["dpi"] = still.metadata.dpi
    if quality is None and tables and max(max(table) for table in tables.values()) < 256:
        options |= {"qtables": tables, "subsampling": max(0, still.carried["jpeg_subsampling"])}
        del options["quality"]
    buffer = io.BytesIO()
    plain.save(buffer, "JPEG", **options)
    segments, notices = _segments(still)
    return _with_segments(buffer.getvalue(), segments), notices


def _segments(still: Outgoing) -> tuple[list[Segment], tuple[str, ...]]:
    metadata, notices = still.metadata, []
    segments: list[Segment] = []
    for name, prefix, content in (("EXIF", _EXIF, metadata.exif), ("XMP", _XMP, metadata.xmp)):
        if content is None:
            continue
        if len(prefix) + len(content) > _MOST_CONTENT:
            notices.append(f"{name} data left out: {len(content)} bytes do not fit into JPEG.")
        else:
            segments.append(Segment(_APP1, prefix + content))
    if metadata.icc is not None:
        room = _MOST_CONTENT - len(_ICC) - 2
        parts = [metadata.icc[at : at + room] for at in range(0, len(metadata.icc), room)]
        if len(parts) > 255:
            notices.append("The colour profile is left out: it is too large for JPEG.")
        else:
            for number, part in enumerate(parts, 1):
                segments.append(Segment(_APP2, _ICC + bytes([number, len(parts)]) + part))
    return segments + list(still.carried.get("jpeg_segments", ())), tuple(notices)


def _with_segments(data: bytes, segments: list[Segment]) -> bytes:
    """Put segments behind the encoder's own APP0."""
    at = 2
    if data[2:4] == b"\xff\xe0":
        at = 4 + struct.unpack_from(">H", data, 4)[0]
    middle = b"".join(
        b"\xff" + bytes([marker]) + struct.pack(">H", len(content) + 2) + content
        for marker, content in segments
    )
    return data[:at] + middle + data[at:]
