"""Writing TIFF: one picture in deflated strips, baseline tags and metadata [TIFF6.0]."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from fractions import Fraction

import numpy as np

from frontglass.files import tiff_names as names
from frontglass.files.outgoing import Outgoing
from frontglass.files.tags import (
    BYTE,
    LONG,
    RATIONAL,
    SHORT,
    UNDEFINED,
    Order,
    Tag,
    Tree,
    bytes_tag,
    tag_of,
    tree_bytes,
)
from frontglass.files.tiff import merged_exif
from frontglass.picture.encoding import AlphaKind, Codes, NativeKind
from frontglass.threads import for_each

_STRIP_BYTES = 1 << 18
_LEVEL = 4
_DEFLATE = 8
LARGEST_DPI = 4e5
"""As a rational of 32 bits over 10,000 holds it; what is beyond, or no number, is left out."""
_ASSOCIATED, _UNASSOCIATED = 1, 2


def tiff_bytes(still: Outgoing) -> bytes:
    """Return a TIFF file in the byte order of its EXIF block."""
    order, kept = merged_exif(still.metadata.exif)
    samples, photometric, bits = _samples(still)
    height = samples.shape[0]
    rows = max(1, _STRIP_BYTES // max(1, samples[0].nbytes))
    is_plain = bits == 1 or samples.dtype.kind == "f" or _is_palette(still)
    strips = _strips(samples, order, rows, _plain if is_plain else _differences)
    offsets, at = [], 8
    for strip in strips:
        offsets.append(at)
        at += len(strip) + len(strip) % 2
    width, channels = still.codes.shape[1], 1 if bits == 1 else samples.shape[2]
    tree: dict[int, Tag | Tree] = dict(kept)
    tree |= {
        names.WIDTH: tag_of(order, LONG, width),
        names.HEIGHT: tag_of(order, LONG, height),
        names.BITS: tag_of(order, SHORT, *[bits] * channels),
        names.COMPRESSION: tag_of(order, SHORT, _DEFLATE),
        names.PHOTOMETRIC: tag_of(order, SHORT, photometric),
        names.STRIP_OFFSETS: tag_of(order, LONG, *offsets),
        names.ORIENTATION: tag_of(order, SHORT, 1),
        names.CHANNELS: tag_of(order, SHORT, channels),
        names.ROWS_PER_STRIP: tag_of(order, LONG, rows),
        names.STRIP_BYTES: tag_of(order, LONG, *[len(strip) for strip in strips]),
        names.PLANAR: tag_of(order, SHORT, 1),
    }
    tree |= _further_tags(still, order, channels, bits, samples.dtype)
    mark = b"II*\0" if order == "<" else b"MM\0*"
    body = b"".join(strip + b"\0" * (len(strip) % 2) for strip in strips)
    return mark + struct.pack(f"{order}I", at) + body + tree_bytes(tree, order, at)


def _further_tags(
    still: Outgoing, order: Order, channels: int, bits: int, dtype: np.dtype[np.generic]
) -> dict[int, Tag]:
    metadata = still.metadata
    tags: dict[int, Tag] = {}
    if dtype.kind == "f":
        tags[names.SAMPLE_FORMAT] = tag_of(order, SHORT, *[3] * channels)
    elif bits > 1 and not _is_palette(still):
        tags[names.PREDICTOR] = tag_of(order, SHORT, 2)
    if still.alpha is not None:
        is_associated = still.alpha.kind is AlphaKind.PREMULTIPLIED
        coverage = _ASSOCIATED if is_associated else _UNASSOCIATED
        tags[names.EXTRA_CHANNELS] = tag_of(order, SHORT, coverage)
    if still.native is not None and _is_palette(still):
        entries = np.zeros((3, 256), dtype=np.uint16)
        given = np.frombuffer(still.native.palette, np.uint8).reshape(-1, 3)[:256]
        entries[:, : len(given)] = given.T.astype(np.uint16) * 257
        tags[names.COLOUR_MAP] = tag_of(order, SHORT, *entries.ravel().tolist())
    if metadata.dpi is not None and all(0 < value <= LARGEST_DPI for value in metadata.dpi):
        for code, value in zip((names.X_RESOLUTION, names.Y_RESOLUTION), metadata.dpi, strict=True):
            ratio = Fraction(value).limit_denominator(10000)
            tags[code] = tag_of(order, RATIONAL, ratio.numerator, ratio.denominator)
        tags[names.RESOLUTION_UNIT] = tag_of(order, SHORT, 2)
    if metadata.xmp is not None:
        tags[names.XMP] = bytes_tag(metadata.xmp, BYTE)
    if metadata.icc is not None:
        tags[names.ICC] = bytes_tag(metadata.icc, UNDEFINED)
    return tags


def _is_palette(still: Outgoing) -> bool:
    return still.native is not None and still.native.kind is NativeKind.PALETTE


def _samples(still: Outgoing) -> tuple[Codes, int, int]:
    """(H, W, C) samples to store (packed bits for bilevel), photometric, bits."""
    codes, photometric = still.codes, 1 if still.codes.shape[2] == 1 else 2
    native = still.native
    if native is not None and native.kind is NativeKind.BILEVEL:
        return np.packbits(native.codes > 0, axis=1)[..., np.newaxis], 1, 1
    if native is not None and native.kind is NativeKind.PALETTE:
        codes, photometric = native.codes[..., np.newaxis], 3
    elif native is not None and native.kind is NativeKind.CMYK:
        codes, photometric = native.codes, 5
    if still.alpha is not None and not _is_palette(still):
        codes = np.concatenate([codes, still.alpha.codes[..., np.newaxis]], axis=-1)
    return codes, photometric, 8 * codes.dtype.itemsize


def _strips(
    samples: Codes, order: Order, rows: int, predicted: Callable[[Codes], Codes]
) -> list[bytes]:
    import imagecodecs

    stored = samples.dtype.newbyteorder(order)

    strips: dict[int, bytes] = {}

    def pack(start: int) -> None:
        part = predicted(samples[start : start + rows]).astype(stored).tobytes()
        if predicted is _plain:
            # libdeflate: as tight as zlib, in half the time.
            strips[start] = bytes(imagecodecs.deflate_encode(part, level=_LEVEL))
            return
        # Differences of noise pack as tightly by runs and Huffman codes as by a full search.
        packer = zlib.compressobj(_LEVEL, strategy=zlib.Z_RLE)
        strips[start] = packer.compress(part) + packer.flush()

    starts = range(0, samples.shape[0], rows)
    for_each(pack, starts)
    return [strips[start] for start in starts]


def _plain(part: Codes) -> Codes:
    return part


def _differences(part: Codes) -> Codes:
    steps = part.copy()
    steps[:, 1:] -= part[:, :-1]
    return steps
