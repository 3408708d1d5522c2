"""PNG: chunks read here, pixels unpacked by libpng through imagecodecs [PNG-2003].

The library is shown the pixels alone: it would turn a palette's indices into colours, and
has no place for most of the other chunks.
"""

from __future__ import annotations

import struct
import zlib
from typing import Any, NamedTuple

import numpy as np

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.damage import damaged
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
GREY, RGB, PALETTE, GREY_ALPHA, RGBA = 0, 2, 3, 4, 6
"""Colour types."""
BILEVEL_DEPTH = 1
_CHANNELS = {GREY: 1, RGB: 3, PALETTE: 1, GREY_ALPHA: 2, RGBA: 4}
_INCHES_PER_METRE = 1 / 0.0254
_MOST_TEXT_BYTES = 64 << 20
_SLACK_BYTES = 1 << 16
_CARRIED_TEXT = {b"tEXt", b"zTXt", b"iTXt"}
_CARRIED_COLOUR = {b"sRGB", b"gAMA", b"cHRM", b"cICP"}


class Chunk(NamedTuple):
    """Type and content."""

    type: bytes
    data: bytes


def chunks_of(data: bytes) -> list[Chunk]:
    """Split a PNG file, checking every chunk's length and checksum.

    Raises
    ------
    PictureFileError
        If the file is cut short or a checksum is wrong.
    """
    chunks: list[Chunk] = []
    at = len(SIGNATURE)
    while not chunks or chunks[-1].type != b"IEND":
        if at + 12 > len(data):
            raise PictureFileError("The PNG file is cut short.")
        length, chunk_type = struct.unpack_from(">I4s", data, at)
        end = at + 8 + length
        if end + 4 > len(data):
            raise PictureFileError("The PNG file is cut short.")
        if zlib.crc32(data[at + 4 : end]) != struct.unpack_from(">I", data, end)[0]:
            name = chunk_type.decode("latin-1")
            raise PictureFileError(f"The PNG file is damaged: checksum of chunk {name!r} is wrong.")
        chunks.append(Chunk(chunk_type, data[at + 8 : end]))
        at = end + 4
    if chunks[0].type != b"IHDR" or len(chunks[0].data) != 13:
        raise PictureFileError("The PNG file is damaged: it does not begin with its header.")
    if sum(chunk.type == b"IHDR" for chunk in chunks) > 1:
        raise PictureFileError("The PNG file is damaged: it has several headers.")
    return chunks


def chunk_bytes(chunk_type: bytes, data: bytes) -> bytes:
    """Return a chunk as it stands in the file."""
    checksum = zlib.crc32(data, zlib.crc32(chunk_type))
    return struct.pack(">I", len(data)) + chunk_type + data + struct.pack(">I", checksum)


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
    depth, colour_type = chunks[0].data[8], chunks[0].data[9]
    notices: list[str] = []
    named = {chunk.type: chunk.data for chunk in reversed(chunks)}
    codes = _pixels(chunks)
    native = alpha = None
    if colour_type == PALETTE:
        native = Native(
            NativeKind.PALETTE, codes[..., 0], named.get(b"PLTE", b""), named.get(b"tRNS", b"")
        )
        codes, alpha = _from_palette(native)
    elif colour_type in {GREY_ALPHA, RGBA}:
        codes, alpha = codes[..., :-1], Alpha(np.ascontiguousarray(codes[..., -1]))
    elif b"tRNS" in named:
        alpha = _alpha_from_key(codes, named[b"tRNS"], depth)
        notices.append("The transparent colour of the PNG file is kept as an alpha channel.")
    if colour_type == GREY and depth == BILEVEL_DEPTH:
        native = Native(NativeKind.BILEVEL, codes[..., 0])
    elif colour_type == GREY and depth < 8:
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
    text = [c for c in chunks if c.type in _CARRIED_TEXT and not c.data.startswith(XMP_KEYWORD)]
    colour = [c for c in chunks if c.type in _CARRIED_COLOUR]
    return {"png_text": tuple(text), "png_colour": tuple(colour)}


def _pixels(chunks: list[Chunk]) -> Codes:
    """(H, W, C) samples; palette indices stay indices."""
    import imagecodecs

    header = bytearray(chunks[0].data)
    depth, colour_type = header[8], header[9]
    width, height = struct.unpack_from(">II", header)
    packed = sum(len(chunk.data) for chunk in chunks if chunk.type == b"IDAT")
    # What deflate cannot pack takes hardly more than itself; libpng unpacks whatever comes
    # behind the last row too, a thousand times as much.
    rows = height * (1 + (width * _CHANNELS.get(colour_type, 4) * depth + 7) // 8)
    if packed > 2 * rows + _SLACK_BYTES:
        raise PictureFileError(
            f"The PNG file is damaged: {packed} bytes are too many for {width} x {height} pixels."
        )
    if colour_type == PALETTE:
        # Told that they are grey, the library hands the indices over as they are, but for
        # fewer than 8 bits, which it stretches so that the last index would be white.
        header[9] = GREY
    bare = SIGNATURE + chunk_bytes(b"IHDR", bytes(header))
    bare += b"".join(chunk_bytes(*chunk) for chunk in chunks if chunk.type == b"IDAT")
    try:
        # Data that end early are an error here; other libraries leave the rest black, in silence.
        codes = imagecodecs.png_decode(bare + chunk_bytes(b"IEND", b""))
    except (imagecodecs.PngError, ValueError) as error:
        raise damaged("PNG", error) from error
    if colour_type == PALETTE and depth < 8:
        codes //= 255 // ((1 << depth) - 1)
    return codes.reshape(*codes.shape[:2], _CHANNELS[colour_type])


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
    for chunk_type, content in chunks:
        if chunk_type == b"iCCP":
            try:
                packed = content[content.index(b"\0") + 2 :]
                icc = zlib.decompressobj().decompress(packed, _MOST_TEXT_BYTES)
            except (ValueError, zlib.error):
                notices.append("The PNG file's colour profile is damaged; ignored.")
        elif chunk_type == b"eXIf":
            exif = content
        elif chunk_type == b"iTXt" and content.startswith(XMP_KEYWORD + b"\0"):
            xmp = _international_text(content)
        elif chunk_type == b"pHYs" and len(content) == 9 and content[8] == 1:
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
