"""TIFF: tags read here, strips and tiles unpacked by libtiff through Pillow [TIFF6.0].

Pillow reduces 16-bit colour to 8 bits and OpenCV multiplies colour by alpha. So the
pixels are described to Pillow as plain bytes (a grey picture as wide as a row of bytes),
which it decompresses whatever they mean, and what they mean is settled here.
"""

from __future__ import annotations

import io
import struct

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import PictureFileError
from frontglass.files.limits import check_size
from frontglass.files.still import FileStill
from frontglass.files.tags import (
    LONG,
    SHORT,
    Directory,
    Header,
    Order,
    Tag,
    Tree,
    directory_at,
    header_of,
    tag_of,
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

WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC, FILL_ORDER = 256, 257, 258, 259, 262, 266
STRIP_OFFSETS, ORIENTATION, CHANNELS, ROWS_PER_STRIP, STRIP_BYTES = 273, 274, 277, 278, 279
X_RESOLUTION, Y_RESOLUTION, PLANAR, RESOLUTION_UNIT, PREDICTOR = 282, 283, 284, 296, 317
COLOUR_MAP, TILE_WIDTH, TILE_HEIGHT, TILE_OFFSETS, TILE_BYTES = 320, 322, 323, 324, 325
EXTRA_CHANNELS, SAMPLE_FORMAT, XMP, ICC = 338, 339, 700, 34675
_STRUCTURE = {
    254,
    255,
    WIDTH,
    HEIGHT,
    BITS,
    COMPRESSION,
    PHOTOMETRIC,
    263,
    FILL_ORDER,
    STRIP_OFFSETS,
    CHANNELS,
    ROWS_PER_STRIP,
    STRIP_BYTES,
    280,
    281,
    X_RESOLUTION,
    Y_RESOLUTION,
    PLANAR,
    288,
    289,
    292,
    293,
    RESOLUTION_UNIT,
    PREDICTOR,
    318,
    319,
    COLOUR_MAP,
    TILE_WIDTH,
    TILE_HEIGHT,
    TILE_OFFSETS,
    TILE_BYTES,
    330,
    332,
    334,
    EXTRA_CHANNELS,
    SAMPLE_FORMAT,
    340,
    341,
    347,
    512,
    513,
    514,
    529,
    530,
    531,
    532,
    XMP,
    ICC,
}
_PIXEL_TAGS = {
    WIDTH,
    HEIGHT,
    BITS,
    COMPRESSION,
    PHOTOMETRIC,
    FILL_ORDER,
    STRIP_OFFSETS,
    CHANNELS,
    ROWS_PER_STRIP,
    STRIP_BYTES,
    PLANAR,
    292,
    293,
    PREDICTOR,
    COLOUR_MAP,
    TILE_WIDTH,
    TILE_HEIGHT,
    TILE_OFFSETS,
    TILE_BYTES,
    EXTRA_CHANNELS,
    SAMPLE_FORMAT,
    347,
    529,
    530,
    531,
    532,
}
_SINGLE_TAGS = {
    WIDTH, HEIGHT, COMPRESSION, PHOTOMETRIC, FILL_ORDER, CHANNELS, ROWS_PER_STRIP, PLANAR, 292, 293,
    PREDICTOR, TILE_WIDTH, TILE_HEIGHT,
}  # fmt: skip
_CHUNK_TAGS = {STRIP_OFFSETS, STRIP_BYTES, TILE_OFFSETS, TILE_BYTES}
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _PALETTE, _CMYK = 0, 1, 2, 3, 5
_JPEG_COMPRESSIONS = {6, 7}


def read_tiff(data: bytes) -> FileStill:
    """Read the first picture of a TIFF file.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short, too large or of a kind not known here.
    """
    header = header_of(data)
    directory = directory_at(data, header, header.first)
    width, height = _one(directory, WIDTH), _one(directory, HEIGHT)
    check_size(width, height)
    _check_whole(data, directory)
    notices: list[str] = []
    if directory.following:
        notices.append("The TIFF file holds several pictures; the first is used.")
    bits = set(directory.integers(BITS) or (1,))
    photometric = _one(directory, PHOTOMETRIC)
    if (
        bits == {1}
        or photometric == _PALETTE
        or _one(directory, COMPRESSION, 1) in (_JPEG_COMPRESSIONS)
    ):
        codes, native = _through_pillow(data, header, directory)
        alpha = None
    else:
        samples = _samples(data, header, directory, bits)
        codes, native, alpha = _meaning(samples, directory, photometric, notices)
    return FileStill(
        container=Container.TIFF,
        codes=np.ascontiguousarray(codes),
        alpha=alpha,
        native=native,
        metadata=_metadata(data, header, directory),
        orientation=_orientation(directory),
        notices=tuple(notices),
    )


def _one(directory: Directory, code: int, default: int | None = None) -> int:
    values = directory.integers(code)
    if values:
        return values[0]
    if default is None:
        raise PictureFileError(f"The TIFF file is damaged: tag {code} is missing.")
    return default


def _orientation(directory: Directory) -> int:
    value = _one(directory, ORIENTATION, 1)
    return value if value in range(1, 9) else 1


def _check_whole(data: bytes, directory: Directory) -> None:
    """Libraries fill strips beyond the file's end with black, some in silence."""
    for offsets, sizes in ((STRIP_OFFSETS, STRIP_BYTES), (TILE_OFFSETS, TILE_BYTES)):
        starts, counts = directory.integers(offsets), directory.integers(sizes)
        if not starts:
            continue
        if len(counts) != len(starts):
            raise PictureFileError("The TIFF file is damaged: strips without sizes.")
        if any(s + n > len(data) for s, n in zip(starts, counts, strict=True)):
            raise PictureFileError("The TIFF file is cut short.")
        return
    raise PictureFileError("The TIFF file is damaged or cut short: no pixel data.")


def _through_pillow(
    data: bytes, header: Header, directory: Directory
) -> tuple[Codes, Native | None]:
    """Bilevel, palette and JPEG-compressed files."""
    # Without orientation: Pillow would turn the picture, which is done later for all formats.
    tree = {code: tag for code, tag in directory.tags.items() if code in _PIXEL_TAGS}
    for code in set(tree) & _SINGLE_TAGS:
        # One number each, whatever a damaged directory says: Pillow would warn and go on.
        tree[code] = tag_of(directory.order, LONG, _one(directory, code))
    for code in set(tree) & _CHUNK_TAGS:
        # BigTIFF may hold them in 64 bits, which a classic directory has no type for.
        tree[code] = tag_of(directory.order, LONG, *directory.integers(code))
    mode, codes, palette = _pillow_codes(_described(data, header, tree))
    if mode == "1":
        grey = np.where(codes, 255, 0).astype(np.uint8)
        return grey[..., np.newaxis], Native(NativeKind.BILEVEL, grey)
    if mode == "P":
        entries = np.frombuffer(palette.ljust(768, b"\0"), np.uint8).reshape(-1, 3)
        return entries[codes], Native(NativeKind.PALETTE, codes, palette)
    if mode == "CMYK":
        return codes, Native(NativeKind.CMYK, codes)
    if mode == "L":
        return codes[..., np.newaxis], None
    if mode == "RGB":
        return codes, None
    raise PictureFileError(f"TIFF files of kind {mode} cannot be read.")


def _pillow_codes(data: bytes) -> tuple[str, Codes, bytes]:
    from PIL import TiffImagePlugin

    try:
        # The plugin itself: Image.open has a size limit of its own; ours was checked.
        with TiffImagePlugin.TiffImageFile(io.BytesIO(data)) as still:
            palette = bytes(still.getpalette() or ())
            return still.mode, np.array(still), palette
    except (OSError, SyntaxError, ValueError, TypeError, KeyError, struct.error) as error:
        raise PictureFileError(f"The TIFF file is damaged: {error}.") from error


def _samples(data: bytes, header: Header, directory: Directory, bits: set[int]) -> Codes:
    """(H, W, C) samples in native byte order, predictor undone."""
    dtype = _sample_type(directory, bits)
    channels = _one(directory, CHANNELS, 1)
    if _one(directory, FILL_ORDER, 1) != 1:
        raise PictureFileError("TIFF files with reversed bits cannot be read.")
    is_planar = _one(directory, PLANAR, 1) == 2 and channels > 1
    planes = [
        _plane(data, header, directory, dtype, plane if is_planar else None)
        for plane in range(channels if is_planar else 1)
    ]
    return np.concatenate(planes, axis=-1) if is_planar else planes[0]


def _sample_type(directory: Directory, bits: set[int]) -> np.dtype[np.generic]:
    formats = set(directory.integers(SAMPLE_FORMAT) or (1,))
    names = {(8, 1): "u1", (16, 1): "u2", (16, 3): "f2", (32, 3): "f4", (64, 3): "f8"}
    name = names.get((min(bits), min(formats))) if len(bits) == len(formats) == 1 else None
    if name is None:
        raise PictureFileError(
            f"TIFF files of {sorted(bits)}-bit samples in format {sorted(formats)} cannot be "
            "read. Save it with 8, 16 or float 32 bits."
        )
    return np.dtype(directory.order + name)


def _plane(
    data: bytes,
    header: Header,
    directory: Directory,
    dtype: np.dtype[np.generic],
    plane: int | None,
) -> Codes:
    width, height = _one(directory, WIDTH), _one(directory, HEIGHT)
    channels = _one(directory, CHANNELS, 1) if plane is None else 1
    pixel_bytes = channels * dtype.itemsize
    order = directory.order
    tile_width = _one(directory, TILE_WIDTH, 0)
    tree: dict[int, Tag] = {
        WIDTH: tag_of(order, LONG, width * pixel_bytes),
        HEIGHT: tag_of(order, LONG, height),
        BITS: tag_of(order, SHORT, 8),
        COMPRESSION: tag_of(order, SHORT, _one(directory, COMPRESSION, 1)),
        PHOTOMETRIC: tag_of(order, SHORT, _BLACK_IS_ZERO),
        CHANNELS: tag_of(order, SHORT, 1),
    }
    pair = (TILE_OFFSETS, TILE_BYTES) if tile_width else (STRIP_OFFSETS, STRIP_BYTES)
    for code in pair:
        values = directory.integers(code)
        if plane is not None:
            each = len(values) // _one(directory, CHANNELS, 1)
            values = values[plane * each : (plane + 1) * each]
        if max(values) > 0xFFFFFFFF:
            raise PictureFileError("TIFF files larger than 4 GB cannot be read.")
        tree[code] = tag_of(order, LONG, *values)
    if tile_width:
        tree[TILE_WIDTH] = tag_of(order, LONG, tile_width * pixel_bytes)
        tree[TILE_HEIGHT] = tag_of(order, LONG, _one(directory, TILE_HEIGHT))
    else:
        tree[ROWS_PER_STRIP] = tag_of(
            order, LONG, min(height, _one(directory, ROWS_PER_STRIP, height))
        )
    rows = _unpacked(data, header, tree, (height, width * pixel_bytes))
    predictor = _one(directory, PREDICTOR, 1) if _one(directory, COMPRESSION, 1) != 1 else 1
    return _unpredicted(rows, predictor, dtype, channels, tile_width or width)


def _described(data: bytes, header: Header, tree: dict[int, Tag]) -> bytes:
    """Return the file with a directory of these tags in place of its own."""
    # A classic header takes the place of the first 8 bytes, in BigTIFF too: offsets stay.
    at = len(data) + len(data) % 2
    start = (b"II" if header.order == "<" else b"MM") + struct.pack(f"{header.order}HI", 42, at)
    return start + data[8:] + b"\0" * (len(data) % 2) + tree_bytes(tree, header.order, at)


def _unpacked(
    data: bytes, header: Header, tree: dict[int, Tag], shape: tuple[int, int]
) -> NDArray[np.uint8]:
    mode, rows, _ = _pillow_codes(_described(data, header, tree))
    if mode != "L" or rows.shape != shape:
        raise PictureFileError("The TIFF file is damaged: its strips do not fill the picture.")
    return np.asarray(rows, dtype=np.uint8)


def _unpredicted(
    rows: NDArray[np.uint8],
    predictor: int,
    dtype: np.dtype[np.generic],
    channels: int,
    tile_width: int,
) -> Codes:
    """Return samples (H, W, C) of bytes; differences run from left to right within each tile."""
    height = rows.shape[0]
    width = rows.shape[1] // (channels * dtype.itemsize)
    native = dtype.newbyteorder("=")
    if predictor == 1:
        return rows.view(dtype).reshape(height, width, channels).astype(native, copy=False)
    samples = np.empty((height, width, channels), dtype=native)
    for left in range(0, width, tile_width):
        # The last tile is padded to full width; a part of its row is enough for
        # differences, but not for byte planes, which are as long as the whole tile.
        right = min(left + tile_width, width)
        part = rows[:, left * channels * dtype.itemsize : right * channels * dtype.itemsize]
        shape = (height, right - left, channels)
        if predictor == 2:
            steps = np.ascontiguousarray(part).view(dtype).reshape(shape)
            if native.kind != "u":
                raise PictureFileError("TIFF predictor 2 on float samples cannot be read.")
            samples[:, left:right] = np.cumsum(steps, axis=1, dtype=native)
        elif predictor == 3 and native.kind == "f":
            if right - left != tile_width:
                raise PictureFileError(
                    "TIFF float predictor on tiles that overlap the edge cannot be read. "
                    "Save it in strips."
                )
            sums = np.cumsum(part.reshape(height, -1, channels), axis=1, dtype=np.uint8)
            planes = sums.reshape(height, dtype.itemsize, -1)
            big = np.ascontiguousarray(planes.transpose(0, 2, 1)).view(native.newbyteorder(">"))
            samples[:, left:right] = big.reshape(shape)
        else:
            raise PictureFileError(f"TIFF predictor {predictor} cannot be read.")
    return samples


def _meaning(
    samples: Codes, directory: Directory, photometric: int, notices: list[str]
) -> tuple[Codes, Native | None, Alpha | None]:
    if samples.dtype == np.float64:
        samples = samples.astype(np.float32)
        notices.append("64-bit float samples are handled as 32-bit.")
    colours = {_WHITE_IS_ZERO: 1, _BLACK_IS_ZERO: 1, _RGB: 3, _CMYK: 4}.get(photometric)
    if colours is None or samples.shape[2] < colours:
        raise PictureFileError(
            f"TIFF files of photometric interpretation {photometric} with {samples.shape[2]} "
            "channels cannot be read. Save it as grey, RGB or CMYK."
        )
    codes, extra = samples[..., :colours], samples[..., colours:]
    alpha = None
    kinds = directory.integers(EXTRA_CHANNELS)
    for index, kind in enumerate(kinds[: extra.shape[2]]):
        if kind in {1, 2} and alpha is None:
            alpha_kind = AlphaKind.PREMULTIPLIED if kind == 1 else AlphaKind.STRAIGHT
            alpha = Alpha(np.ascontiguousarray(extra[..., index]), alpha_kind)
    if extra.shape[2] > (alpha is not None):
        notices.append("Further channels of the TIFF file are left out.")
    if photometric == _WHITE_IS_ZERO:
        if codes.dtype.kind == "f":
            raise PictureFileError("TIFF float samples with white at zero cannot be read.")
        codes = np.iinfo(codes.dtype).max - codes
        notices.append("White-is-zero grey is written back with black at zero.")
    native = None
    if photometric == _CMYK:
        native = Native(NativeKind.CMYK, np.ascontiguousarray(codes))
    return codes, native, alpha


def _metadata(data: bytes, header: Header, directory: Directory) -> Metadata:
    tree = tree_of(data, header, directory)
    kept = {code: node for code, node in tree.items() if code not in _STRUCTURE}
    exif = None
    beyond_orientation = set(kept) - {ORIENTATION}
    if beyond_orientation:
        mark = b"II*\0" if header.order == "<" else b"MM\0*"
        exif = mark + struct.pack(f"{header.order}I", 8) + tree_bytes(kept, header.order, 8)
    raw = {code: directory.tags[code].raw for code in (ICC, XMP) if code in directory.tags}
    return Metadata(icc=raw.get(ICC), exif=exif, xmp=raw.get(XMP), dpi=_dpi(directory))


def _dpi(directory: Directory) -> tuple[float, float] | None:
    across, down = directory.numbers(X_RESOLUTION), directory.numbers(Y_RESOLUTION)
    unit = _one(directory, RESOLUTION_UNIT, 2)
    scale = {2: 1.0, 3: 2.54}.get(unit)
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
    return header.order, {code: node for code, node in tree.items() if code not in _STRUCTURE}
