"""Light spread by a kernel of any shape that reaches a limited way, such as a slanting smear.

The picture is cut into tiles, each read with as much of its surroundings as the kernel reaches,
transformed, multiplied and cut back (overlap-save). A tile is computed in single precision unless
a lamp in it is so bright that rounding would show in its dark parts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.choices import Surround
from frontglass.convolution.blocks import BRIGHTEST_IN_SINGLE, available_cores

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

LARGEST_TILE_PX = 4096


class Tile(NamedTuple):
    """Rows and columns of the picture that a tile answers for."""

    rows: slice
    columns: slice


def spread_by_kernels(light: Float32, kernels: Sequence[Float64], *, surround: Surround) -> Float32:
    """Light of a still convolved with a kernel per channel.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    kernels : sequence of 3 ndarray, shape (2 R + 1, 2 C + 1)
        All of one shape; the middle is no shift.
    surround : Surround
        What lies outside the frame.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        The deviated light alone.
    """
    reach = (kernels[0].shape[0] // 2, kernels[0].shape[1] // 2)
    if surround is Surround.MIRROR and (reach[0] >= light.shape[0] or reach[1] >= light.shape[1]):
        return _spread_among_mirrors(light, kernels, reach)
    tile_shape = _tile_shape((light.shape[0], light.shape[1]), reach)
    workers = available_cores()
    double = np.stack([_kernel_transform(kernel, tile_shape, workers) for kernel in kernels])
    single = double.astype(np.complex64)
    out = np.empty_like(light)
    for tile in _tiles(light.shape, tile_shape, reach):
        around = _with_surroundings(light, tile, reach, surround)
        dim = float(np.abs(around).max()) <= BRIGHTEST_IN_SINGLE
        planes = around.transpose(2, 0, 1).astype(np.float32 if dim else np.float64)
        planes = _filtered(planes, single if dim else double, tile_shape, workers)
        height = tile.rows.stop - tile.rows.start
        width = tile.columns.stop - tile.columns.start
        inner = planes[:, 2 * reach[0] :, 2 * reach[1] :][:, :height, :width]
        out[tile.rows, tile.columns] = inner.transpose(1, 2, 0)
    return out


def _spread_among_mirrors(
    light: Float32, kernels: Sequence[Float64], reach: tuple[int, int]
) -> Float32:
    """Where a kernel reaches across the frame: the frame and its mirror images repeat for ever."""
    height, width, _ = light.shape
    shape = (2 * height, 2 * width)
    workers = available_cores()
    everything = Tile(slice(0, shape[0]), slice(0, shape[1]))
    around = _with_surroundings(light, everything, (0, 0), Surround.MIRROR)
    rows, columns = (np.mod(np.arange(-r, r + 1), n) for r, n in zip(reach, shape, strict=True))
    folded = np.zeros((len(kernels), *shape))
    for plane, kernel in zip(folded, kernels, strict=True):
        np.add.at(plane, np.ix_(rows, columns), kernel)
    transforms = np.asarray(fft.rfft2(folded, workers=workers))
    planes = _filtered(around.transpose(2, 0, 1).astype(np.float64), transforms, shape, workers)
    return np.ascontiguousarray(planes[:, :height, :width].transpose(1, 2, 0), dtype=np.float32)


def _filtered(
    planes: NDArray[Any], transfer: NDArray[Any], shape: tuple[int, int], workers: int
) -> NDArray[Any]:
    spectrum = fft.rfft2(planes, s=shape, workers=workers, overwrite_x=True)
    spectrum *= transfer
    return np.asarray(fft.irfft2(spectrum, s=shape, workers=workers, overwrite_x=True))


def _kernel_transform(
    kernel: Float64, shape: tuple[int, int], workers: int
) -> NDArray[np.complex128]:
    return np.asarray(fft.rfft2(kernel, s=shape, workers=workers), dtype=np.complex128)


def _tile_shape(picture: tuple[int, int], reach: tuple[int, int]) -> tuple[int, int]:
    """Size of the transforms that costs least per pixel, along each axis by itself."""
    rows, columns = (
        min(_candidates(length, r), key=lambda size: _cost(size, length, r))
        for length, r in zip(picture, reach, strict=True)
    )
    return rows, columns


def _candidates(length: int, reach: int) -> list[int]:
    whole = fft.next_fast_len(length + 2 * reach, real=True)
    powers = (fft.next_fast_len(2 * reach + 2**k, real=True) for k in range(6, 13))
    return [whole, *(size for size in powers if size < min(whole, LARGEST_TILE_PX))]


def _cost(size: int, length: int, reach: int) -> float:
    return math.ceil(length / (size - 2 * reach)) * size * (8 + math.log2(size))


def _tiles(
    picture: tuple[int, ...], shape: tuple[int, int], reach: tuple[int, int]
) -> Iterator[Tile]:
    steps = (shape[0] - 2 * reach[0], shape[1] - 2 * reach[1])
    for top in range(0, picture[0], steps[0]):
        for left in range(0, picture[1], steps[1]):
            yield Tile(
                slice(top, min(top + steps[0], picture[0])),
                slice(left, min(left + steps[1], picture[1])),
            )


def _with_surroundings(
    light: Float32, tile: Tile, reach: tuple[int, int], surround: Surround
) -> Float32:
    rows = np.arange(tile.rows.start - reach[0], tile.rows.stop + reach[0])
    columns = np.arange(tile.columns.start - reach[1], tile.columns.stop + reach[1])
    inside = light[_mirrored(rows, light.shape[0])][:, _mirrored(columns, light.shape[1])]
    if surround is Surround.DARK:
        inside[(rows < 0) | (rows >= light.shape[0])] = 0
        inside[:, (columns < 0) | (columns >= light.shape[1])] = 0
    return np.asarray(inside)


def _mirrored(index: NDArray[np.intp], length: int) -> NDArray[np.intp]:
    folded = np.mod(index, 2 * length)
    return np.where(folded >= length, 2 * length - 1 - folded, folded)
