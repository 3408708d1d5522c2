"""Reading TIFF: libtiff unpacks the samples, through imagecodecs; their meaning is settled here.

Imagecodecs' own unpacking (as tifffile has it) will not do: its LZW reads memory that is not its
own where data are damaged (2026.3.6), and takes twice as long. See [TIFF6.0].
"""

from __future__ import annotations

import math
import struct
from typing import NamedTuple

import numpy as np

from frontglass.errors import PictureFileError
from frontglass.files import tiff_names as names
from frontglass.files.damage import damaged
from frontglass.files.limits import check_size
from frontglass.files.still import FileStill
from frontglass.files.tags import (
    SHORT,
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

_MOST_CHANNELS = 64
_JPEG_CHANNELS = {
    names.WHITE_IS_ZERO: 1, names.BLACK_IS_ZERO: 1, names.RGB: 3, names.CMYK: 4, names.YCBCR: 3
}  # fmt: skip
# Told so, the library neither turns inks into colours of its own nor white into black.
_SHOWN_AS = {names.CMYK: names.RGB, names.WHITE_IS_ZERO: names.BLACK_IS_ZERO}
_UNSIGNED, _FLOAT = 1, 3
_FLOAT_BITS = frozenset({16, 32, 64})


def read_tiff(data: bytes) -> FileStill:
    """Read the first picture of a TIFF file.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short, too large or of a kind not known here.
    """
    header = header_of(data)
    directory = directory_at(data, header, header.first)
    layout = _layout(directory)
    _check_whole(data, directory)
    picture = _meaning(_samples(data, directory, layout), layout)
    several = ("The TIFF file holds several pictures; the first is used.",)
    return FileStill(
        container=Container.TIFF,
        codes=np.ascontiguousarray(picture.codes),
        alpha=picture.alpha,
        native=picture.native,
        metadata=_metadata(data, header, directory),
        orientation=_orientation(directory),
        bits=None if layout.bits in {8, 16, 32, 64} else layout.bits,
        notices=(several if directory.following else ()) + picture.notices,
    )


class _Layout(NamedTuple):
    """How the samples lie, and what they say they are."""

    shape: tuple[int, int, int]
    """Height, width, channels."""
    is_planar: bool
    """Whether it is unpacked channel by channel; JPEG data never are."""
    bits: int
    photometric: int
    extra_channels: tuple[int, ...]
    colour_map: tuple[int, ...]


def _layout(directory: Directory) -> _Layout:
    """Refuse what is too large or not read here, before anything is unpacked."""
    for code in sorted(directory.lost & names.STRUCTURE):
        # Libraries take what is usual instead.
        raise PictureFileError(f"The TIFF file is damaged or cut short: tag {code} is lost.")
    width, height = _number(directory, names.WIDTH), _number(directory, names.HEIGHT)
    check_size(width, height)
    if names.TILE_WIDTH in directory.tags:
        check_size(_number(directory, names.TILE_WIDTH), _number(directory, names.TILE_HEIGHT))
    channels = _number(directory, names.CHANNELS, 1)
    if not 1 <= channels <= _MOST_CHANNELS:
        raise PictureFileError(f"TIFF files of {channels} channels cannot be read.")
    compression = _number(directory, names.COMPRESSION, 1)
    if compression not in names.COMPRESSIONS:
        raise PictureFileError(
            f"TIFF files of compression {compression} cannot be read. Save it with LZW or deflate."
        )
    photometric = _number(directory, names.PHOTOMETRIC)
    is_jpeg = compression in names.JPEG_COMPRESSIONS
    if is_jpeg and _JPEG_CHANNELS.get(photometric) != channels:
        raise PictureFileError(
            f"TIFF files of JPEG data with {channels} channels of photometric interpretation "
            f"{photometric} cannot be read. Save it with LZW or deflate."
        )
    return _Layout(
        shape=(height, width, channels),
        is_planar=_number(directory, names.PLANAR, 1) == 2 and channels > 1 and not is_jpeg,
        bits=_bits(directory),
        photometric=names.RGB if is_jpeg and photometric == names.YCBCR else photometric,
        extra_channels=directory.integers(names.EXTRA_CHANNELS),
        colour_map=directory.integers(names.COLOUR_MAP),
    )


def _bits(directory: Directory) -> int:
    bits = set(directory.integers(names.BITS) or (1,))
    formats = set(directory.integers(names.SAMPLE_FORMAT) or (_UNSIGNED,))
    one = min(bits)
    is_known = one in _FLOAT_BITS if formats == {_FLOAT} else 1 <= one <= 16
    if len(bits) > 1 or not is_known or formats not in ({_UNSIGNED}, {_FLOAT}):
        raise PictureFileError(
            f"TIFF files of {_listed(bits)}-bit samples of format {_listed(formats)} cannot be "
            "read. Save it with 8, 16 or float 32 bits."
        )
    return one


def _listed(numbers: set[int]) -> str:
    return ", ".join(str(number) for number in sorted(numbers))


def _number(directory: Directory, code: int, default: int | None = None) -> int:
    values = directory.integers(code)
    if values:
        return values[0]
    if default is None:
        raise PictureFileError(f"The TIFF file is damaged: tag {code} is missing.")
    return default


def _check_whole(data: bytes, directory: Directory) -> None:
    """See that every strip or tile is there: libraries leave a gap black, some in silence."""
    is_tiled = names.TILE_OFFSETS in directory.tags
    starts, sizes = (
        directory.integers(code)
        for code in (
            (names.TILE_OFFSETS, names.TILE_BYTES)
            if is_tiled
            else (names.STRIP_OFFSETS, names.STRIP_BYTES)
        )
    )
    if not starts:
        raise PictureFileError("The TIFF file is damaged or cut short: no pixel data.")
    if len(sizes) != len(starts) or min(starts) <= 0 or min(sizes) <= 0:
        raise PictureFileError("The TIFF file is damaged: strips without data.")
    if any(start + size > len(data) for start, size in zip(starts, sizes, strict=True)):
        raise PictureFileError("The TIFF file is cut short.")


def _samples(data: bytes, directory: Directory, layout: _Layout) -> Codes:
    """(H, W, C) samples in native byte order, as they are."""
    import imagecodecs

    if layout.photometric in _SHOWN_AS:
        tag = directory.tags[names.PHOTOMETRIC]
        if (tag.field_type, tag.count) != (SHORT, 1):
            raise PictureFileError(
                f"The TIFF file is damaged: tag {names.PHOTOMETRIC} is no SHORT."
            )
        shown = bytearray(data)
        shown_as = _SHOWN_AS[layout.photometric]
        struct.pack_into(f"{directory.order}H", shown, tag.position, shown_as)
        data = bytes(shown)
    try:
        samples = imagecodecs.tiff_decode(data, index=0)
    except (imagecodecs.TiffError, ValueError, IndexError) as error:
        raise damaged("TIFF", error) from error
    height, width, channels = layout.shape
    if samples.size != height * width * channels:
        raise PictureFileError("The TIFF file is damaged: its strips do not fill the picture.")
    if layout.is_planar:
        return np.moveaxis(samples.reshape(channels, height, width), 0, 2)
    return np.asarray(samples).reshape(layout.shape)


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
    """Return samples of 8 or 16 bits or of float, and what to say if they were of another depth."""
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
    if layout.bits > 8 or len(layout.colour_map) != 3 << layout.bits:
        raise PictureFileError(
            f"TIFF files of {layout.bits}-bit palette indices cannot be read. Save it as RGB."
        )
    indices = np.ascontiguousarray(samples[..., 0], dtype=np.uint8)
    entries = np.zeros((256, 3), dtype=np.uint8)
    # [TIFF6.0] has 16 bits an entry, of which programs write the upper 8 twice.
    given = (np.array(layout.colour_map).reshape(3, -1).T >> 8).astype(np.uint8)
    entries[: len(given)] = given
    notices = ("Further channels of the TIFF file are left out.",)
    return _Picture(
        codes=entries[indices],
        native=Native(NativeKind.PALETTE, indices, given.tobytes()),
        alpha=None,
        notices=notices if samples.shape[2] > 1 else (),
    )


def _alpha(extra: Codes, meanings: tuple[int, ...]) -> Alpha | None:
    """Of the further channels the first that says it is coverage."""
    for index, meaning in enumerate(meanings[: extra.shape[2]]):
        if meaning in {1, 2}:
            alpha_kind = AlphaKind.PREMULTIPLIED if meaning == 1 else AlphaKind.STRAIGHT
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
    # A rational of denominator 0 is infinite, or no number.
    if not (0 < across[0] < math.inf and 0 < down[0] < math.inf):
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
