"""Convolving light with filters: the one way in which anything spreads it over pixels.

``out = direct * light + veil * mean light + deviated light``

The direct light never enters a transform. What is smooth is convolved on cells (see `cells`), the
rest pixel by pixel, and both by the cosine transforms of a frame among its mirror images (see
`cosines`). In the dark the same is done on a frame padded with zeros; a filter that is neither
smooth nor near is divided into a smooth part, which may leave the frame, and a sharp one, which
cannot get far.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.choices import Surround
from frontglass.convolution.blocks import ROWS_AT_ONCE, in_pieces, precision_for
from frontglass.convolution.cells import REACH, CellAxis, cell_width_px
from frontglass.convolution.cosines import filtered
from frontglass.convolution.filters import Filter, Planes
from frontglass.convolution.parts import FilterOnCells, SharpPart, SmoothPart, planes_in_the_dark

Float32 = NDArray[np.float32]

NOTHING = 1e-12
"""Less light than this is rounding."""


def convolve(light: Float32, filters: Sequence[Filter], boundary: Surround) -> Float32:
    """Light after a filter per channel.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light, finite.
    filters : sequence of 3 Filter
        One per channel.
    boundary : Surround
        What lies outside the frame.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        Within 1e-3 of the local value plus 1e-4 of white of the sum over every pair of pixels.
    """
    light = np.ascontiguousarray(light)
    out = _without_deviated_light(light, filters)
    if all(f.direct + f.veil >= 1 - NOTHING for f in filters):
        return out
    shortest_px = min(light.shape[:2])
    cell_px = min(cell_width_px(f, shortest_px) for f in set(filters))
    if cell_px > 1:
        _add_over_cells(out, light, filters, boundary, cell_px)
    elif boundary is Surround.DARK and all(f.is_round for f in filters):
        smooth = [SmoothPart(f) for f in filters]
        _add_over_cells(out, light, smooth, boundary, ACCURACY.smooth_cell_px)
        _add_over_pixels(out, light, [SharpPart(f) for f in filters], boundary)
    else:
        _add_over_pixels(out, light, filters, boundary)
    return out


def _without_deviated_light(light: Float32, filters: Sequence[Filter]) -> Float32:
    """Direct light and veils."""
    height, width, _ = light.shape
    means = cv2.mean(light)  # summed in double precision
    veils = [f.veil * mean for f, mean in zip(filters, means, strict=False)]
    direct = np.tile(np.array([f.direct for f in filters], dtype=np.float32), width)
    veil = np.tile(np.array(veils, dtype=np.float32), width)
    out = np.empty_like(light)
    flat_light, flat_out = light.reshape(height, width * 3), out.reshape(height, width * 3)

    def some(rows: slice) -> None:
        np.multiply(flat_light[rows], direct, out=flat_out[rows])
        if any(veils):
            flat_out[rows] += veil

    in_pieces(some, height, ROWS_AT_ONCE)
    return out


def _add_over_pixels(
    out: Float32, light: Float32, filters: Sequence[Filter], boundary: Surround
) -> None:
    """Add deviated light pixel by pixel, one channel at a time to hold memory down."""
    shape = (light.shape[0], light.shape[1])
    dtype = precision_for(light, max(1 - f.direct for f in filters))
    for channels, planes in _planes_of(filters, shape, dtype, boundary, _planes_on_pixels):
        for channel in channels:
            out[..., channel] += filtered(light[..., channel], planes)


def _planes_of(
    filters: Sequence[Filter],
    shape: tuple[int, int],
    dtype: np.dtype[Any],
    boundary: Surround,
    kept: Callable[..., Planes],
) -> Iterator[tuple[list[int], Planes]]:
    """Channels that share a filter, and its planes, one filter at a time to hold memory down."""
    is_small = shape[0] * shape[1] <= ACCURACY.kept_in_the_dark_px
    keeps = boundary is Surround.MIRROR or is_small
    make = kept if keeps else _planes
    for filter_ in dict.fromkeys(filters):
        channels = [channel for channel, own in enumerate(filters) if own == filter_]
        yield channels, make(filter_, shape, dtype, boundary)


def _planes(
    filter_: Filter, shape: tuple[int, int], dtype: np.dtype[Any], boundary: Surround
) -> Planes:
    """Planes of a filter."""
    if boundary is Surround.MIRROR:
        return filter_.cosine_planes(shape, dtype)
    return planes_in_the_dark(filter_, shape, dtype)


# Kept for the next still of a scene. Planes on pixels are as large as the picture, those on cells
# are small: looks that take turns must not throw each other's out.
_planes_on_pixels = lru_cache(maxsize=3)(_planes)
_planes_on_cells = lru_cache(maxsize=12)(_planes)


def _add_over_cells(
    out: Float32, light: Float32, filters: Sequence[Filter], boundary: Surround, cell_px: float
) -> None:
    """Gather light into cells, filter them, and add them to the pixels."""
    height, width, _ = light.shape
    margin = 0 if boundary is Surround.MIRROR else REACH
    rows, columns = (
        CellAxis(length_px=length, count=max(1, round(length / cell_px)), margin=margin)
        for length in (height, width)
    )
    shape = (rows.total, columns.total)
    tall = rows.gather(light.reshape(height, width * 3)).reshape(rows.total, width, 3)
    cells = columns.gather(tall.transpose(1, 0, 2).reshape(width, rows.total * 3))
    cells = cells.reshape(columns.total, rows.total, 3)
    on_cells = [FilterOnCells(f, rows, columns) for f in filters]
    dtype = np.dtype(np.float64)
    for channels, planes in _planes_of(on_cells, shape, dtype, boundary, _planes_on_cells):
        for channel in channels:
            cells[..., channel] = filtered(cells[..., channel].T, planes).T
    wide = np.zeros((width, rows.total * 3), dtype=np.float32)
    columns.add(cells.reshape(columns.total, rows.total * 3), wide)
    tall = np.ascontiguousarray(wide.reshape(width, rows.total, 3).transpose(1, 0, 2))
    rows.add(tall.reshape(rows.total, width * 3), out.reshape(height, width * 3))
