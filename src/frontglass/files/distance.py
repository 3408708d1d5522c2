"""Reading distance maps: 16-bit PNG and TIFF, float TIFF, OpenEXR, NPY."""

from __future__ import annotations

import io
import math
import warnings
from pathlib import Path
from tokenize import TokenError
from typing import NamedTuple

import numpy as np
import numpy.lib.format as npy
from numpy.typing import NDArray

from frontglass.checks import check_positive
from frontglass.choices import Choice
from frontglass.errors import PictureFileError
from frontglass.files import exr, png
from frontglass.files.limits import check_size
from frontglass.files.tiff import read_tiff

NPY_SIGNATURE = b"\x93NUMPY"
TIFF_SIGNATURES = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
RAY_CHANNELS = ("distance", "dist", "d")
DEPTH_CHANNELS = ("Z", "depth", "z")


class DistanceKind(Choice):
    """What the numbers of a distance map are.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Space(depth="maps", depth_kind="ray").depth_kind
    <DistanceKind.RAY: 'ray'>
    """

    RAY = "ray"
    """Distance from the lens, along each pixel's ray."""
    DEPTH = "depth"
    """Depth along the axis of the lens, as a z-buffer and a stereo pair have it."""


class DistanceFile(NamedTuple):
    """Numbers of a distance file in metres, shape (H, W), and what they are.

    The kind is None where the file does not say.
    """

    metres: NDArray[np.float32]
    kind: DistanceKind | None


def read_distance(path: str | Path, *, scale_m: float | None = None) -> DistanceFile:
    """Distances that a file holds.

    Parameters
    ----------
    path : path
        A PNG or TIFF of 16 bits, a float TIFF, OpenEXR or NPY; its content decides.
    scale_m : float or None
        What one of the file's numbers is worth. [m], > 0; None is 1 for floats, and an error
        for whole numbers.

    Returns
    -------
    DistanceFile
        inf is sky; NaN, 0 and what is below are holes, as are the largest whole numbers, which
        stand for "too far".

    Raises
    ------
    PictureFileError
        If the file is missing, damaged, or holds no single plane of numbers.
    """
    where = Path(path)
    if scale_m is not None:
        check_positive("scale_m", scale_m)
    try:
        data = where.read_bytes()
    except OSError as error:
        raise PictureFileError(f"{where}: cannot be read: {error.strerror}.") from None
    try:
        plane, kind = _plane(data)
        return DistanceFile(_metres(plane, scale_m), kind)
    except PictureFileError as error:
        raise PictureFileError(f"{where}: {error}") from None
    except (ValueError, IndexError, KeyError, TypeError, EOFError, OSError) as error:
        raise PictureFileError(f"{where}: the file is damaged: {error}.") from error
    except MemoryError:
        raise PictureFileError(f"{where}: there is not enough memory to read it.") from None


def _plane(data: bytes) -> tuple[NDArray[np.generic], DistanceKind | None]:
    if data.startswith(exr.SIGNATURE):
        return _exr_plane(data)
    if data.startswith(NPY_SIGNATURE):
        values = _npy(data)
    elif data.startswith(png.SIGNATURE):
        values = png.read_png(data).codes
    elif data.startswith(TIFF_SIGNATURES):
        still = read_tiff(data)
        if still.bits is not None:
            raise PictureFileError(
                f"distances of {still.bits} bits cannot be read; save the map with 16 or as float."
            )
        values = still.codes
    else:
        raise PictureFileError("a distance map is a PNG, TIFF, OpenEXR or NPY file.")
    if values.ndim == 3 and values.shape[2] == 3:
        # Some programs write a grey map three times over.
        if not (values == values[..., :1]).all():
            raise PictureFileError("a distance map has one channel; this is a picture in colour.")
        values = values[..., :1]
    if values.ndim == 3 and values.shape[2] == 1:
        values = values[..., 0]
    if values.ndim != 2 or values.dtype.kind not in "uif" or not values.size:
        raise PictureFileError(
            f"a distance map is one plane of numbers, not {values.shape} of {values.dtype}."
        )
    check_size(values.shape[1], values.shape[0])
    return values, None


def _npy(data: bytes) -> NDArray[np.generic]:
    """Return what an NPY file holds; its head is a Python expression, of which any may stand there.

    Raises
    ------
    PictureFileError
        If it is damaged.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # what a head of old Python is read as, and says
            file = io.BytesIO(data)
            if npy.read_magic(file) == (1, 0):  # any other is of fields, and refused as such
                shape, _, dtype = npy.read_array_header_1_0(file)
                claimed, held = math.prod(shape) * dtype.itemsize, len(data) - file.tell()
                if claimed > held:  # asked before memory is taken
                    raise ValueError(f"it says {shape} of {dtype}, and {held} bytes are there")
            return np.asarray(np.load(io.BytesIO(data), allow_pickle=False))
    except (Warning, SyntaxError, TokenError, RecursionError, MemoryError, OverflowError) as error:
        raise PictureFileError(f"the file is damaged: its head is none ({error}).") from error


def _exr_plane(data: bytes) -> tuple[NDArray[np.generic], DistanceKind]:
    have = []
    for part in exr.exr_parts(data):
        have += list(part.channels)
        for names, kind in ((RAY_CHANNELS, DistanceKind.RAY), (DEPTH_CHANNELS, DistanceKind.DEPTH)):
            for name, channel in part.channels.items():
                if name.rpartition(".")[2] in names:
                    pixels = np.asarray(channel.pixels)
                    return _in_display(pixels, dict(part.header)), kind
    raise PictureFileError(
        "The OpenEXR file has no channel of distances (distance) or depths (Z); "
        f"it has {', '.join(sorted(have)[:12])}."
    )


def _in_display(pixels: NDArray[np.generic], header: dict[str, object]) -> NDArray[np.generic]:
    """Pixels of the data window laid into the display window; what is missing is a hole."""
    (left, top), _ = _corners(header["dataWindow"])
    (x0, y0), (x1, y1) = _corners(header["displayWindow"])
    check_size(x1 - x0 + 1, y1 - y0 + 1)
    whole = np.full((y1 - y0 + 1, x1 - x0 + 1), np.nan, np.float32)
    rows, columns = pixels.shape
    first_y, first_x = max(top, y0), max(left, x0)
    last_y, last_x = min(top + rows, y1 + 1), min(left + columns, x1 + 1)
    if last_y > first_y and last_x > first_x:
        whole[first_y - y0 : last_y - y0, first_x - x0 : last_x - x0] = pixels[
            first_y - top : last_y - top, first_x - left : last_x - left
        ]
    return whole


def _corners(window: object) -> tuple[tuple[int, int], tuple[int, int]]:
    (left, top), (right, bottom) = np.asarray(window, dtype=int).tolist()
    return (left, top), (right, bottom)


def _metres(plane: NDArray[np.generic], scale_m: float | None) -> NDArray[np.float32]:
    if plane.dtype.kind == "f":
        values = plane.astype(np.float32)
        with np.errstate(invalid="ignore", over="ignore"):  # what is no distance is told later
            return values if scale_m is None else values * np.float32(scale_m)
    if plane.dtype.itemsize == 1:
        raise PictureFileError(
            "8 bits are too few for distances; save the map with 16 or as float."
        )
    if scale_m is None:
        raise PictureFileError(
            "it holds whole numbers: say what one is worth in metres, such as 0.001 for "
            "millimetres (--depth-scale)."
        )
    too_far = plane == (2 ** (8 * plane.dtype.itemsize - (plane.dtype.kind == "i")) - 1)
    values = plane.astype(np.float32) * np.float32(scale_m)
    values[too_far] = np.nan
    return np.asarray(values)
