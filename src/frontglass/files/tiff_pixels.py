"""TIFF pixels: strips and tiles unpacked by libtiff through Pillow [TIFF6.0].

Pillow reduces 16-bit colour to 8 bits and OpenCV multiplies colour by alpha. So the
pixels are described to Pillow as plain bytes (a grey picture as wide as a row of bytes),
which it decompresses whatever they mean, and what they mean is settled elsewhere.
"""

from __future__ import annotations

import io
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import PictureFileError
from frontglass.files import tiff_names as names
from frontglass.files.tags import LONG, SHORT, Directory, Header, Tag, tag_of, tree_bytes
from frontglass.picture.encoding import Codes

_PILLOW_LIMIT_LOCK = threading.Lock()


def pillow_codes(data: bytes) -> tuple[str, Codes, bytes]:
    """Mode, codes and palette of a file as Pillow decodes it.

    Raises
    ------
    PictureFileError
        If it cannot.
    """
    from PIL import TiffImagePlugin

    try:
        with _no_limit_of_pillows(), TiffImagePlugin.TiffImageFile(io.BytesIO(data)) as still:
            palette = bytes(still.getpalette() or ())
            return still.mode, np.array(still), palette
    except (OSError, SyntaxError, ValueError, TypeError, KeyError, struct.error) as error:
        raise PictureFileError(f"The TIFF file is damaged: {error}.") from error


@contextmanager
def _no_limit_of_pillows() -> Iterator[None]:
    """Lift Pillow's limit on pixels: it would count bytes here, and our own was checked.

    The limit is a global of Pillow's; the lock keeps two readers from restoring it wrongly.
    """
    from PIL import Image

    with _PILLOW_LIMIT_LOCK:
        limit = Image.MAX_IMAGE_PIXELS
        Image.MAX_IMAGE_PIXELS = None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = limit


def described(data: bytes, header: Header, tree: dict[int, Tag]) -> bytes:
    """Return the file with a directory of these tags in place of its own."""
    # A classic header takes the place of the first 8 bytes, in BigTIFF too: offsets stay.
    at = len(data) + len(data) % 2
    start = (b"II" if header.order == "<" else b"MM") + struct.pack(f"{header.order}HI", 42, at)
    return start + data[8:] + b"\0" * (len(data) % 2) + tree_bytes(tree, header.order, at)


def samples_of(data: bytes, header: Header, directory: Directory, bits: set[int]) -> Codes:
    """(H, W, C) samples in native byte order, predictor undone."""
    dtype = _sample_type(directory, bits)
    channels = one_number(directory, names.CHANNELS, 1)
    if one_number(directory, names.FILL_ORDER, 1) != 1:
        raise PictureFileError("TIFF files with reversed bits cannot be read.")
    is_planar = one_number(directory, names.PLANAR, 1) == 2 and channels > 1
    planes = [
        _plane(data, header, directory, dtype, plane if is_planar else None)
        for plane in range(channels if is_planar else 1)
    ]
    return np.concatenate(planes, axis=-1) if is_planar else planes[0]


def _sample_type(directory: Directory, bits: set[int]) -> np.dtype[np.generic]:
    formats = set(directory.integers(names.SAMPLE_FORMAT) or (1,))
    types = {(8, 1): "u1", (16, 1): "u2", (16, 3): "f2", (32, 3): "f4", (64, 3): "f8"}
    name = types.get((min(bits), min(formats))) if len(bits) == len(formats) == 1 else None
    if name is None:
        raise PictureFileError(
            f"TIFF files of {_listed(bits)}-bit samples of format {_listed(formats)} cannot be "
            "read. Save it with 8, 16 or float 32 bits."
        )
    return np.dtype(directory.order + name)


def _listed(numbers: set[int]) -> str:
    return ", ".join(str(number) for number in sorted(numbers))


def _plane(
    data: bytes,
    header: Header,
    directory: Directory,
    dtype: np.dtype[np.generic],
    plane: int | None,
) -> Codes:
    width, height = one_number(directory, names.WIDTH), one_number(directory, names.HEIGHT)
    channels = one_number(directory, names.CHANNELS, 1) if plane is None else 1
    pixel_bytes = channels * dtype.itemsize
    order = directory.order
    tile_width = one_number(directory, names.TILE_WIDTH, 0)
    tree: dict[int, Tag] = {
        names.WIDTH: tag_of(order, LONG, width * pixel_bytes),
        names.HEIGHT: tag_of(order, LONG, height),
        names.BITS: tag_of(order, SHORT, 8),
        names.COMPRESSION: tag_of(order, SHORT, one_number(directory, names.COMPRESSION, 1)),
        names.PHOTOMETRIC: tag_of(order, SHORT, names.BLACK_IS_ZERO),
        names.CHANNELS: tag_of(order, SHORT, 1),
    }
    pair = (
        (names.TILE_OFFSETS, names.TILE_BYTES)
        if tile_width
        else (names.STRIP_OFFSETS, names.STRIP_BYTES)
    )
    for code in pair:
        values = directory.integers(code)
        if plane is not None:
            each = len(values) // one_number(directory, names.CHANNELS, 1)
            values = values[plane * each : (plane + 1) * each]
        if max(values) > 0xFFFFFFFF:
            raise PictureFileError("TIFF files larger than 4 GB cannot be read.")
        tree[code] = tag_of(order, LONG, *values)
    if tile_width:
        tree[names.TILE_WIDTH] = tag_of(order, LONG, tile_width * pixel_bytes)
        tree[names.TILE_HEIGHT] = tag_of(order, LONG, one_number(directory, names.TILE_HEIGHT))
    else:
        tree[names.ROWS_PER_STRIP] = tag_of(
            order, LONG, min(height, one_number(directory, names.ROWS_PER_STRIP, height))
        )
    rows = _unpacked(data, header, tree, (height, width * pixel_bytes))
    # Baseline readers ignore a predictor beside no compression; so do we.
    is_packed = one_number(directory, names.COMPRESSION, 1) != 1
    predictor = one_number(directory, names.PREDICTOR, 1) if is_packed else 1
    return _unpredicted(rows, predictor, dtype, channels, tile_width or width)


def _unpacked(
    data: bytes, header: Header, tree: dict[int, Tag], shape: tuple[int, int]
) -> NDArray[np.uint8]:
    mode, rows, _ = pillow_codes(described(data, header, tree))
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


def one_number(directory: Directory, code: int, default: int | None = None) -> int:
    """First value of a tag, or `default`.

    Raises
    ------
    PictureFileError
        If the tag is missing and has no default.
    """
    values = directory.integers(code)
    if values:
        return values[0]
    if default is None:
        raise PictureFileError(f"The TIFF file is damaged: tag {code} is missing.")
    return default
