"""PNG: chunks read and written here, pixels decoded by Pillow (8-bit) and OpenCV (16-bit).

Neither library alone will do: Pillow reduces 16-bit colour to 8, OpenCV loses the palette
and most chunks. Chunk layouts after [PNG-2003].
"""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any, NamedTuple

import numpy as np

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.limits import check_size
from frontglass.files.still import FileStill
from frontglass.picture.curves import LINEAR, SRGB_CURVE, Curve, ParametricCurve
from frontglass.picture.encoding import (
    Alpha,
    Codes,
    Container,
    Metadata,
    Native,
    NativeKind,
)
from frontglass.picture.primaries import BT709, BT2020, P3_D65, Primaries

SIGNATURE = b"\x89PNG\r\n\x1a\n"
XMP_KEYWORD = b"XML:com.adobe.xmp"
_GREY, _RGB, _PALETTE, _GREY_ALPHA, _RGBA = 0, 2, 3, 4, 6
_INCHES_PER_METRE = 1 / 0.0254
_MOST_TEXT_BYTES = 64 << 20
_INFLATE_STEP = 1 << 20
# Left, top, step across and step down of each pass.
_ADAM7 = (
    (0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)
)  # fmt: skip
CARRIED_TEXT = {b"tEXt", b"zTXt", b"iTXt"}
CARRIED_COLOUR = {b"sRGB", b"gAMA", b"cHRM", b"cICP"}


class Chunk(NamedTuple):
    """Type and content."""

    kind: bytes
    content: bytes


def chunks_of(data: bytes) -> list[Chunk]:
    """Split a PNG file, checking every chunk's length and checksum.

    Raises
    ------
    PictureFileError
        If the file is cut short or a checksum is wrong.
    """
    chunks: list[Chunk] = []
    at = len(SIGNATURE)
    while not chunks or chunks[-1].kind != b"IEND":
        if at + 12 > len(data):
            raise PictureFileError("The PNG file is cut short.")
        length, kind = struct.unpack_from(">I4s", data, at)
        end = at + 8 + length
        if end + 4 > len(data):
            raise PictureFileError("The PNG file is cut short.")
        if zlib.crc32(data[at + 4 : end]) != struct.unpack_from(">I", data, end)[0]:
            name = kind.decode("latin-1")
            raise PictureFileError(f"The PNG file is damaged: checksum of chunk {name!r} is wrong.")
        chunks.append(Chunk(kind, data[at + 8 : end]))
        at = end + 4
    if chunks[0].kind != b"IHDR" or len(chunks[0].content) != 13:
        raise PictureFileError("The PNG file is damaged: it does not begin with its header.")
    return chunks


def chunk_bytes(kind: bytes, content: bytes) -> bytes:
    """Return a chunk as it stands in the file."""
    checksum = zlib.crc32(kind + content)
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", checksum)


def read_png(data: bytes) -> FileStill:
    """Read a PNG file.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short or too large.
    """
    if len(data) >= 24 and data[12:16] == b"IHDR":
        check_size(*struct.unpack_from(">II", data, 16))
    chunks = chunks_of(data)
    header = chunks[0].content
    depth, kind = header[8], header[9]
    notices: list[str] = []
    named = {chunk.kind: chunk.content for chunk in reversed(chunks)}
    codes = _pixels(chunks, depth)
    native = alpha = None
    if kind == _PALETTE:
        native = Native(
            NativeKind.PALETTE, codes[..., 0], named.get(b"PLTE", b""), named.get(b"tRNS", b"")
        )
        codes, alpha = _from_palette(native)
    elif kind in {_GREY_ALPHA, _RGBA}:
        codes, alpha = codes[..., :-1], Alpha(np.ascontiguousarray(codes[..., -1]))
    elif b"tRNS" in named:
        alpha = _alpha_from_key(codes, named[b"tRNS"], depth)
        notices.append("The transparent colour of the PNG file is kept as an alpha channel.")
    if kind == _GREY and depth == 1:
        native = Native(NativeKind.BILEVEL, codes[..., 0])
    elif kind == _GREY and depth < 8:
        notices.append(f"{depth}-bit grey is handled as 8-bit.")
    if b"acTL" in named:
        notices.append("The PNG file is an animation; only its first frame is used.")
    metadata = _metadata(chunks, notices)
    primaries, curves, said = _colour(named, metadata)
    notices += said
    return FileStill(
        container=Container.PNG,
        codes=np.ascontiguousarray(codes),
        alpha=alpha,
        native=native,
        metadata=metadata,
        primaries=primaries,
        curves=curves,
        carried=_carried(chunks),
        notices=tuple(notices),
    )


def _carried(chunks: list[Chunk]) -> dict[str, Any]:
    text = [c for c in chunks if c.kind in CARRIED_TEXT and not c.content.startswith(XMP_KEYWORD)]
    colour = [c for c in chunks if c.kind in CARRIED_COLOUR]
    return {"png_text": tuple(text), "png_colour": tuple(colour)}


def _pixels(chunks: list[Chunk], depth: int) -> Codes:
    """(H, W, C) samples; palette indices stay indices."""
    # Only what the pixels need: no colour management, no metadata between us and the codes.
    needed = {b"IHDR", b"PLTE", b"IDAT", b"IEND"}
    bare = SIGNATURE + b"".join(chunk_bytes(*chunk) for chunk in chunks if chunk.kind in needed)
    if not _data_is_whole(chunks):
        raise PictureFileError("The PNG file is damaged: its pixel data do not fill the picture.")
    if depth == 16:
        return _pixels_16(bare, chunks[0].content[9])
    from PIL import PngImagePlugin

    try:
        # The plugin itself: Image.open has a size limit of its own; ours was checked.
        with PngImagePlugin.PngImageFile(io.BytesIO(bare)) as still:
            # 1-bit pixels come as bool; as grey they are 0 and 255.
            codes = np.array(still.convert("L") if still.mode == "1" else still)
    except (OSError, SyntaxError, ValueError, struct.error, zlib.error) as error:
        raise PictureFileError(f"The PNG file is damaged: {error}.") from error
    return codes[..., np.newaxis] if codes.ndim == 2 else codes


def _pixels_16(bare: bytes, kind: int) -> Codes:
    import cv2

    codes = cv2.imdecode(np.frombuffer(bare, np.uint8), cv2.IMREAD_UNCHANGED)
    if codes is None or codes.dtype != np.uint16:
        raise PictureFileError("The PNG file is damaged: its pixels cannot be decoded.")
    if kind == _GREY:
        return codes[..., np.newaxis] if codes.ndim == 2 else codes[..., :1]
    if kind == _GREY_ALPHA:
        return codes[..., [0, 3]]
    return codes[..., [2, 1, 0, 3][: codes.shape[2]]]


def _data_is_whole(chunks: list[Chunk]) -> bool:
    """Whether the stream fills the picture; both libraries leave a gap black, in silence."""
    inflater = zlib.decompressobj()
    inflated = 0
    try:
        for chunk in chunks:
            rest = chunk.content if chunk.kind == b"IDAT" else b""
            while rest and not inflater.eof:
                inflated += len(inflater.decompress(rest, _INFLATE_STEP))
                rest = inflater.unconsumed_tail
    except zlib.error:
        return False
    return inflater.eof and inflated >= _stream_bytes(chunks[0].content)


def _stream_bytes(header: bytes) -> int:
    """Bytes that the filtered rows take, pass by pass where interlaced [PNG-2003] 8.2."""
    width, height, depth, kind, _, _, interlace = struct.unpack(">IIBBBBB", header)
    pixel_bits = depth * {_GREY: 1, _RGB: 3, _PALETTE: 1, _GREY_ALPHA: 2, _RGBA: 4}.get(kind, 0)
    passes = _ADAM7 if interlace else ((0, 0, 1, 1),)
    total = 0
    for left, top, across, down in passes:
        columns, rows = -(-(width - left) // across), -(-(height - top) // down)
        if columns > 0 and rows > 0:
            total += rows * (1 + (columns * pixel_bits + 7) // 8)
    return total


def _from_palette(native: Native) -> tuple[Codes, Alpha | None]:
    entries = np.zeros((256, 3), dtype=np.uint8)
    whole = len(native.palette) // 3 * 3
    given = np.frombuffer(native.palette[:whole], np.uint8).reshape(-1, 3)[:256]
    entries[: len(given)] = given
    codes = entries[native.codes]
    if not native.palette_alpha:
        return codes, None
    opacity = np.full(256, 255, dtype=np.uint8)
    stated = np.frombuffer(native.palette_alpha, np.uint8)[:256]
    opacity[: len(stated)] = stated
    return codes, Alpha(opacity[native.codes])


def _alpha_from_key(codes: Codes, content: bytes, depth: int) -> Alpha:
    key = np.frombuffer(content, ">u2")[: codes.shape[2]].astype(np.int64)
    if depth < 8:
        key = key * 255 // ((1 << depth) - 1)
    top = np.iinfo(codes.dtype).max
    hidden = (codes == key).all(axis=-1)
    return Alpha(np.where(hidden, 0, top).astype(codes.dtype))


def _colour(
    named: dict[bytes, bytes], metadata: Metadata
) -> tuple[Primaries | None, tuple[Curve, ...] | None, list[str]]:
    """Return what the colour chunks say, in the order of precedence of [PNG-2003] 4.3."""
    said: list[str] = []
    if b"cICP" in named:
        primaries = {1: BT709, 9: BT2020, 12: P3_D65}.get(named[b"cICP"][0])
        curve = {4: ParametricCurve(2.2), 8: LINEAR, 13: SRGB_CURVE}.get(named[b"cICP"][1])
        if primaries is not None and curve is not None:
            return primaries, (curve,) * 3, said
        numbers = tuple(named[b"cICP"])
        said.append(f"Coding-independent code points {numbers} are not known here; ignored.")
    if metadata.icc is not None:
        return None, None, said
    if b"sRGB" in named:
        return BT709, (SRGB_CURVE,) * 3, said
    primaries, curves = None, None
    if len(named.get(b"cHRM", b"")) == 32:
        x = [value / 100000 for value in struct.unpack(">8I", named[b"cHRM"])]
        try:
            primaries = Primaries((x[2], x[3]), (x[4], x[5]), (x[6], x[7]), (x[0], x[1]))
        except ParameterError:
            said.append("The PNG file's chromaticities make no sense; ignored.")
    if len(named.get(b"gAMA", b"")) == 4:
        (gamma,) = struct.unpack(">I", named[b"gAMA"])
        if gamma > 0:
            curves = (ParametricCurve(100000 / gamma),) * 3
    return primaries, curves, said


def _metadata(chunks: list[Chunk], notices: list[str]) -> Metadata:
    icc = exif = xmp = dpi = None
    for kind, content in chunks:
        if kind == b"iCCP":
            try:
                packed = content[content.index(b"\0") + 2 :]
                icc = zlib.decompressobj().decompress(packed, _MOST_TEXT_BYTES)
            except (ValueError, zlib.error):
                notices.append("The PNG file's colour profile is damaged; ignored.")
        elif kind == b"eXIf":
            exif = content
        elif kind == b"iTXt" and content.startswith(XMP_KEYWORD + b"\0"):
            xmp = _international_text(content)
        elif kind == b"pHYs" and len(content) == 9 and content[8] == 1:
            across, down = struct.unpack_from(">II", content)
            if across and down:
                dpi = (across / _INCHES_PER_METRE, down / _INCHES_PER_METRE)
    return Metadata(icc=icc, exif=exif, xmp=xmp, dpi=dpi)


def _international_text(content: bytes) -> bytes | None:
    rest = content[len(XMP_KEYWORD) + 1 :]
    parts = rest[2:].split(b"\0", 2)
    if len(parts) != 3:
        return None
    if rest[0] == 0:
        return parts[2]
    try:
        return zlib.decompressobj().decompress(parts[2], _MOST_TEXT_BYTES)
    except zlib.error:
        return None
