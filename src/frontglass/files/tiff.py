"""Reading TIFF: tifffile unpacks the samples; what they mean is settled here [TIFF6.0]."""

from __future__ import annotations

import io
import logging
import math
import os
import struct
from functools import cache
from types import ModuleType
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from frontglass.errors import PictureFileError
from frontglass.files import tiff_names as names
from frontglass.files.jpeg import frame_size, segments_of
from frontglass.files.limits import check_size
from frontglass.files.still import FileStill
from frontglass.files.tags import (
    Directory,
    Header,
    Order,
    Tag,
    Tree,
    directory_at,
    header_of,
    tree_bytes,
    tree_of,
)
from frontglass.picture.encoding import (
    Alpha,
    AlphaKind,
    Codes,
    Container,
    Metadata,
    Native,
    NativeKind,
)

if TYPE_CHECKING:
    from tifffile import TiffPage

_MOST_CHANNELS = 64


def read_tiff(data: bytes) -> FileStill:
    """Read the first picture of a TIFF file.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short, too large or of a kind not known here.
    """
    header = header_of(data)
    directory = directory_at(data, header, header.first)
    for code in sorted(directory.lost & names.STRUCTURE):
        # The library would take what is usual instead.
        raise PictureFileError(f"The TIFF file is damaged or cut short: tag {code} is lost.")
    if names.PHOTOMETRIC not in directory.tags:
        raise PictureFileError(f"The TIFF file is damaged: tag {names.PHOTOMETRIC} is missing.")
    samples, layout = _samples(data)
    picture = _meaning(samples, layout)
    several = ("The TIFF file holds several pictures; the first is used.",)
    return FileStill(
        container=Container.TIFF,
        codes=np.ascontiguousarray(picture.codes),
        alpha=picture.alpha,
        native=picture.native,
        metadata=_metadata(data, header, directory),
        orientation=_orientation(directory),
        notices=(several if directory.following else ()) + picture.notices,
    )


class _Layout(NamedTuple):
    """What a page says of its samples."""

    bits: int
    photometric: int
    extra_channels: tuple[int, ...]
    colour_map: Codes | None


@cache
def _tifffile() -> ModuleType:
    """Tifffile, its remarks on damaged files kept from the screen: an error line says more."""
    import tifffile

    logging.getLogger("tifffile").addHandler(logging.NullHandler())
    return tifffile


def _samples(data: bytes) -> tuple[Codes, _Layout]:
    """(H, W, C) samples in native byte order, and what they are."""
    try:
        with _tifffile().TiffFile(io.BytesIO(data)) as file:
            page = file.pages.first
            _check_kind(page)
            _check_segments(page, data)
            if page.compression == names.UNCOMPRESSED:
                # Baseline readers ignore a predictor beside no compression; so do we.
                page.predictor = 1
            planes = page.asarray(squeeze=False, maxworkers=min(4, os.cpu_count() or 1))
            layout = _Layout(
                bits=page.bitspersample,
                photometric=_photometric(page),
                extra_channels=tuple(int(kind) for kind in page.extrasamples),
                colour_map=page.colormap,
            )
    except (PictureFileError, MemoryError):
        raise
    # The library and its codecs raise what comes to hand, each an error type of its own.
    except Exception as error:
        reason = " ".join(str(error).split()) or type(error).__name__
        raise PictureFileError(f"The TIFF file is damaged: {reason:.200}.") from error
    # (planes, depth, H, W, samples) of which planes or samples is 1, and depth always.
    return np.concatenate(planes[:, 0], axis=-1) if len(planes) > 1 else planes[0, 0], layout


def _photometric(page: TiffPage) -> int:
    is_decoded = page.compression in names.JPEG_COMPRESSIONS and page.photometric == names.YCBCR
    return names.RGB if is_decoded else int(page.photometric)


def _check_kind(page: TiffPage) -> None:
    """Refuse what is too large or not read here, before anything is unpacked."""
    check_size(page.imagewidth, page.imagelength)
    if page.is_tiled:
        check_size(page.tilewidth, page.tilelength)
    if page.imagedepth != 1 or page.tiledepth != 1 or page.samplesperpixel > _MOST_CHANNELS:
        raise PictureFileError(
            f"TIFF files {page.imagedepth} deep with {page.samplesperpixel} channels cannot be read."
        )
    if page.compression not in names.COMPRESSIONS | names.JPEG_COMPRESSIONS:
        name = getattr(page.compression, "name", page.compression)
        raise PictureFileError(
            f"TIFF files of compression {name} cannot be read. Save it with LZW or deflate."
        )
    kind = None if page.dtype is None else page.dtype.kind
    if kind == "f" or (kind in {"b", "u"} and page.dtype.itemsize <= 2):
        return
    bits, form = (
        ", ".join(str(int(v)) for v in sorted(set(np.atleast_1d(value))))
        for value in (page.bitspersample, page.sampleformat)
    )
    raise PictureFileError(
        f"TIFF files of {bits}-bit samples of format {form} cannot be read. Save it with 8, 16 or "
        "float 32 bits."
    )


def _check_segments(page: TiffPage, data: bytes) -> None:
    """See that every strip or tile is there: the library leaves a gap black, in silence."""
    starts, sizes = page.dataoffsets, page.databytecounts
    if not len(starts) == len(sizes) == math.prod(page.chunked):
        raise PictureFileError("The TIFF file is damaged: its strips do not fill the picture.")
    for start, size in zip(starts, sizes, strict=True):
        if start <= 0 or size <= 0:
            raise PictureFileError("The TIFF file is damaged: a strip has no data.")
        if start + size > len(data):
            raise PictureFileError("The TIFF file is cut short.")
        if page.compression in names.JPEG_COMPRESSIONS:
            # A stream says its own size, which its decoder believes; and it wants its end.
            check_size(*frame_size(segments_of(data[start : start + size])))


class _Picture(NamedTuple):
    """Codes, and what had to be said of them."""

    codes: Codes
    native: Native | None
    alpha: Alpha | None
    notices: tuple[str, ...]


def _meaning(samples: Codes, layout: _Layout) -> _Picture:
    photometric = layout.photometric
    if photometric == names.PALETTE:
        return _from_palette(samples, layout)
    samples, said = _in_known_depth(samples, layout.bits)
    notices = [] if said is None else [said]
    colours = {names.WHITE_IS_ZERO: 1, names.BLACK_IS_ZERO: 1, names.RGB: 3, names.CMYK: 4}.get(
        photometric
    )
    if colours is None or samples.shape[2] < colours:
        raise PictureFileError(
            f"TIFF files of photometric interpretation {photometric} with {samples.shape[2]} "
            "channels cannot be read. Save it as grey, RGB or CMYK."
        )
    codes, extra = samples[..., :colours], samples[..., colours:]
    alpha = _alpha(extra, layout.extra_channels)
    if extra.shape[2] > (alpha is not None):
        notices.append("Further channels of the TIFF file are left out.")
    is_bilevel = layout.bits == 1 and samples.shape[2] == 1
    if photometric == names.WHITE_IS_ZERO:
        if codes.dtype.kind == "f":
            raise PictureFileError("TIFF float samples with white at zero cannot be read.")
        codes = np.iinfo(codes.dtype).max - codes
        if not is_bilevel:
            notices.append("White-is-zero grey is written back with black at zero.")
    native = None
    if is_bilevel:
        native = Native(NativeKind.BILEVEL, codes[..., 0])
    elif photometric == names.CMYK:
        native = Native(NativeKind.CMYK, np.ascontiguousarray(codes))
    return _Picture(codes, native, alpha, tuple(notices))


def _in_known_depth(samples: Codes, bits: int) -> tuple[Codes, str | None]:
    """Samples of 8 or 16 bits or of float, and what to say if they were of another depth."""
    if samples.dtype.kind == "f":
        if bits in {16, 32}:
            return samples, None
        return samples.astype(np.float32), f"{bits}-bit float samples are handled as 32-bit."
    if bits in {8, 16}:
        return samples, None
    whole = 8 if bits < 8 else 16
    top, white = (1 << bits) - 1, (1 << whole) - 1
    # White becomes white; between, the nearest code.
    codes = (samples.astype(np.uint32) * white + top // 2) // top
    said = None if bits == 1 else f"{bits}-bit samples are handled as {whole}-bit."
    return codes.astype(f"u{whole // 8}"), said


def _from_palette(samples: Codes, layout: _Layout) -> _Picture:
    if layout.colour_map is None or layout.bits > 8:
        raise PictureFileError(
            f"TIFF files of {layout.bits}-bit indices into a palette cannot be read. Save it as RGB."
        )
    indices = np.ascontiguousarray(samples[..., 0], dtype=np.uint8)
    entries = np.zeros((256, 3), dtype=np.uint8)
    # [TIFF6.0] has 16 bits an entry, of which programs write the upper 8 twice.
    given = (layout.colour_map.T >> 8).astype(np.uint8)
    entries[: len(given)] = given
    notices = ("Further channels of the TIFF file are left out.",)
    return _Picture(
        codes=entries[indices],
        native=Native(NativeKind.PALETTE, indices, given.tobytes()),
        alpha=None,
        notices=notices if samples.shape[2] > 1 else (),
    )


def _alpha(extra: Codes, kinds: tuple[int, ...]) -> Alpha | None:
    """Of the further channels the first that says it is coverage."""
    for index, kind in enumerate(kinds[: extra.shape[2]]):
        if kind in {1, 2}:
            alpha_kind = AlphaKind.PREMULTIPLIED if kind == 1 else AlphaKind.STRAIGHT
            return Alpha(np.ascontiguousarray(extra[..., index]), alpha_kind)
    return None


def _orientation(directory: Directory) -> int:
    value = directory.integers(names.ORIENTATION)[:1]
    return value[0] if value and value[0] in range(1, 9) else 1


def _metadata(data: bytes, header: Header, directory: Directory) -> Metadata:
    tree = tree_of(data, header, directory)
    kept = {code: node for code, node in tree.items() if code not in names.STRUCTURE}
    exif = None
    beyond_orientation = set(kept) - {names.ORIENTATION}
    if beyond_orientation:
        mark = b"II*\0" if header.order == "<" else b"MM\0*"
        exif = mark + struct.pack(f"{header.order}I", 8) + tree_bytes(kept, header.order, 8)
    raw = {
        code: directory.tags[code].raw for code in (names.ICC, names.XMP) if code in directory.tags
    }
    return Metadata(icc=raw.get(names.ICC), exif=exif, xmp=raw.get(names.XMP), dpi=_dpi(directory))


def _dpi(directory: Directory) -> tuple[float, float] | None:
    across, down = directory.numbers(names.X_RESOLUTION), directory.numbers(names.Y_RESOLUTION)
    unit = directory.integers(names.RESOLUTION_UNIT)[:1] or (2,)
    scale = {2: 1.0, 3: 2.54}.get(unit[0])
    if scale is None or len(across) != 1 or len(down) != 1:
        return None
    if not (across[0] > 0 and down[0] > 0):
        return None
    return across[0] * scale, down[0] * scale


def merged_exif(exif: bytes | None) -> tuple[Order, dict[int, Tag | Tree]]:
    """Byte order and tags of an EXIF block, ready to go into a TIFF file's directory."""
    if exif is None:
        return "<", {}
    try:
        header = header_of(exif)
        directory = directory_at(exif, header, header.first)
    except PictureFileError:
        return "<", {}
    tree = tree_of(exif, header, directory)
    return header.order, {code: node for code, node in tree.items() if code not in names.STRUCTURE}
