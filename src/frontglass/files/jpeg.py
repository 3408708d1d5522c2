"""JPEG: segments read here, pixels by Pillow, tables carried from input to output."""

from __future__ import annotations

import io
import struct

import numpy as np

from frontglass.errors import PictureFileError
from frontglass.files.damage import quiet_pillow
from frontglass.files.jpeg_behind import what_follows
from frontglass.files.jpeg_codes import codes_of
from frontglass.files.jpeg_segments import (
    APP0,
    APP1,
    APP2,
    APP13,
    COMMENT,
    EXIF,
    ICC,
    SIGNATURE,
    XMP,
    XMP_MORE,
    Segment,
    content_after,
    icc_of,
    segments_of,
    size_of,
)
from frontglass.files.jpeg_strips import coded
from frontglass.files.limits import check_size
from frontglass.files.outgoing import Outgoing
from frontglass.files.still import FileStill
from frontglass.picture.encoding import Container, Metadata, Native, NativeKind

__all__ = ["SIGNATURE", "jpeg_bytes", "read_jpeg", "segments_of"]

_MOST_CONTENT = 65533
_STOCK_QUALITY = 95


def read_jpeg(data: bytes, *, maps: bool = True) -> FileStill:
    """Read a JPEG file, with the gain map and the depth that may follow it.

    Parameters
    ----------
    data : bytes
        The file.
    maps : bool
        Whether to look for a gain map.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short or too large.
    """
    from PIL import JpegImagePlugin

    segments = segments_of(data)
    check_size(*size_of(segments))
    try:
        # The plugin itself: Image.open has a size limit of its own; ours was checked.
        with quiet_pillow(), JpegImagePlugin.JpegImageFile(io.BytesIO(data)) as still:
            codes, doubts = codes_of(still, data)
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
    behind = what_follows(data, segments, codes.shape[1::-1], maps=maps)
    return FileStill(
        container=Container.JPEG,
        codes=codes[..., np.newaxis] if codes.ndim == 2 else codes,
        native=native,
        metadata=_metadata(segments, dpi),
        gain_map=behind.gain_map,
        own_depth=behind.own_depth,
        carried=carried,
        doubts=doubts,
        notices=behind.notices,
    )


def _is_carried(segment: Segment) -> bool:
    if segment.marker == APP1:
        return segment.content.startswith(XMP_MORE)
    return segment.marker in {APP13, COMMENT}


def _dpi(segments: list[Segment]) -> tuple[float, float] | None:
    for marker, content in segments:
        if marker == APP0 and content.startswith(b"JFIF\0") and len(content) >= 12:
            unit, across, down = struct.unpack_from(">BHH", content, 7)
            scale = {1: 1.0, 2: 2.54}.get(unit)
            if scale is not None and across and down:
                return across * scale, down * scale
    return None


def _metadata(segments: list[Segment], dpi: tuple[float, float] | None) -> Metadata:
    return Metadata(
        icc=icc_of(segments),
        exif=content_after(segments, APP1, EXIF),
        xmp=content_after(segments, APP1, XMP),
        dpi=dpi,
    )


def jpeg_bytes(still: Outgoing, quality: int | None) -> tuple[bytes, tuple[str, ...]]:
    """Return a JPEG file, and what it could not hold.

    Without `quality`, the tables and subsampling of a JPEG input serve again; other
    pictures get quality 95 without subsampling.
    """
    codes, mode = still.codes, None
    if still.native is not None and still.native.kind is NativeKind.CMYK:
        codes, mode = still.native.codes, "CMYK"
    elif codes.shape[2] == 1:
        codes = codes[..., 0]
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
    segments, notices = _segments(still)
    return _with_segments(coded(codes, mode, options), segments), notices


def _segments(still: Outgoing) -> tuple[list[Segment], tuple[str, ...]]:
    metadata, notices = still.metadata, []
    segments: list[Segment] = []
    for name, prefix, content in (("EXIF", EXIF, metadata.exif), ("XMP", XMP, metadata.xmp)):
        if content is None:
            continue
        if len(prefix) + len(content) > _MOST_CONTENT:
            notices.append(f"{name} data left out: {len(content)} bytes do not fit into JPEG.")
        else:
            segments.append(Segment(APP1, prefix + content))
    if metadata.icc is not None:
        room = _MOST_CONTENT - len(ICC) - 2
        parts = [metadata.icc[at : at + room] for at in range(0, len(metadata.icc), room)]
        if len(parts) > 255:
            notices.append("The colour profile is left out: it is too large for JPEG.")
        else:
            for number, part in enumerate(parts, 1):
                segments.append(Segment(APP2, ICC + bytes([number, len(parts)]) + part))
    return segments + list(still.carried.get("jpeg_segments", ())), tuple(notices)


def _with_segments(data: bytes, segments: list[Segment]) -> bytes:
    """Put segments behind the encoder's own APP0."""
    at = 2
    if data[2:4] == b"\xff\xe0":
        at = 4 + struct.unpack_from(">H", data, 4)[0]
    return data[:at] + b"".join(segment.data for segment in segments) + data[at:]
