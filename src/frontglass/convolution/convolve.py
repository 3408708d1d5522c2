"""Convolving light with filters: the one way in which anything spreads it over pixels.

``out = direct * light + veil * mean light + deviated light``

The direct light never enters a transform. What is smooth is convolved on cells (see `cells`), the
rest pixel by pixel, and both by the cosine transforms of a frame among its mirror images (see
`cosines`). In the dark the same is done on a frame padded with zeros; a filter that is neither
smooth nor near is divided into a smooth part, which may leave the frame, and a sharp one, which
cannot get far. Lamps without mirror images are convolved beside the rest: in the dark on cells,
which costs next to nothing, and on pixels with sines (see `sines`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.choices import Surround
from frontglass.convolution.blocks import ROWS_AT_ONCE, precision_for
from frontglass.convolution.cells import REACH, CellAxis, cell_width_px
from frontglass.convolution.cosines import filtered
from frontglass.convolution.filters import Filter, Planes
from frontglass.convolution.kept import KeptPlanes
from frontglass.convolution.lamps import LampPixels, lamp_pixels
from frontglass.convolution.parts import (
    FilterOnCells,
    SharpPart,
    SmoothPart,
    padded,
    planes_in_the_dark,
    planes_of_images,
)
from frontglass.convolution.sines import (
    LampRows,
    Twins,
    filtered_without_twins,
    go_beyond,
    twins_that_show,
)
from frontglass.threads import in_pieces

Float32 = NDArray[np.float32]

NOTHING = 1e-12
"""Less light than this is rounding."""


class _Outside(NamedTuple):
    """What lies outside the frame: its mirror image or nothing, and lamps that have no image."""

    boundary: Surround
    lamps: LampPixels | None = None


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
    return _convolved(light, filters, boundary, np.empty_like(light))


def convolve_over(light: Float32, filters: Sequence[Filter], boundary: Surround) -> Float32:
    """Return the same as `convolve`, and lose the light: a frame less is held and written."""
    light = np.ascontiguousarray(light)
    return _convolved(light, filters, boundary, light)


def _convolved(
    light: Float32, filters: Sequence[Filter], boundary: Surround, out: Float32
) -> Float32:
    """Light after filters, laid into `out`, which may be the light itself."""
    outside = _Outside(boundary)
    is_all_direct = all(f.direct + f.veil >= 1 - NOTHING for f in filters)
    if boundary is Surround.LAMPLESS and not is_all_direct:
        outside = _Outside(Surround.MIRROR, lamp_pixels(light))
    shortest_px = min(light.shape[:2])
    cell_px = min(cell_width_px(f, shortest_px) for f in set(filters))
    if is_all_direct:
        _without_deviated_light(light, filters, out)
    elif cell_px > 1:
        cells, axes = _on_cells(light, filters, outside, cell_px)
        _without_deviated_light(light, filters, out)
        _add_cells(out, cells, axes)
    else:
        light = light.copy() if out is light else light
        _without_deviated_light(light, filters, out)
        _add_deviated(out, light, filters, outside)
    return out


def _add_deviated(
    out: Float32, light: Float32, filters: Sequence[Filter], outside: _Outside
) -> None:
    """Add deviated light that is not smooth, the way that suits filters and surround."""
    if outside.boundary is Surround.DARK and all(f.is_round for f in filters):
        smooth = [SmoothPart(f) for f in filters]
        _add_cells(out, *_on_cells(light, smooth, outside, ACCURACY.smooth_cell_px))
        _add_over_pixels(out, light, [SharpPart(f) for f in filters], outside)
    elif outside.lamps is not None and _come_round(outside.lamps, light, filters):
        lamps, rest = outside.lamps.over(light.shape), outside.lamps.taken_from(light)
        _add_deviated(out, lamps, filters, _Outside(Surround.DARK))
        _add_over_pixels(out, rest, filters, _Outside(Surround.MIRROR))
    else:
        _add_over_pixels(out, light, filters, outside)


def _come_round(lamps: LampPixels, light: Float32, filters: Sequence[Filter]) -> bool:
    """Whether light of lamps would come in again from two frames away, for all that is done."""
    shape = light.shape[:2]
    if not any(f.beyond_the_frame for f in filters):
        return False
    if not _is_small(shape) and all(_is_laid_among_round(f) for f in filters):
        return False
    dtype = precision_for(light, max(1 - f.direct for f in filters))
    return any(
        go_beyond(_rows_of(lamps, channel, shape[1]), planes)
        for channels, planes in _planes_of(
            filters, shape, dtype, Surround.MIRROR, _planes_on_pixels
        )
        for channel in channels
    )


def _is_laid_among_round(filter_: Filter) -> bool:
    """Whether `_planes_within` can do without what goes farther than a frame is long."""
    return filter_.is_laid and all(part.is_round for part in filter_.beyond_the_frame)


def _without_deviated_light(light: Float32, filters: Sequence[Filter], out: Float32) -> None:
    """Direct light and veils, laid into `out`, which may be the light itself."""
    height, width, _ = light.shape
    veils = [f.veil for f in filters]
    if any(veils):
        means = cv2.mean(light)  # summed in double precision
        veils = [own * mean for own, mean in zip(veils, means, strict=False)]
    direct = np.tile(np.array([f.direct for f in filters], dtype=np.float32), width)
    veil = np.tile(np.array(veils, dtype=np.float32), width)
    flat_light, flat_out = light.reshape(height, width * 3), out.reshape(height, width * 3)

    def some(rows: slice) -> None:
        np.multiply(flat_light[rows], direct, out=flat_out[rows])
        if any(veils):
            flat_out[rows] += veil

    in_pieces(some, height, ROWS_AT_ONCE)


def _add_over_pixels(
    out: Float32, light: Float32, filters: Sequence[Filter], outside: _Outside
) -> None:
    """Add deviated light pixel by pixel, one channel at a time to hold memory down."""
    boundary, lamps = outside
    shape = (light.shape[0], light.shape[1])
    dtype = precision_for(light, max(1 - f.direct for f in filters))
    for channels, planes in _planes_of(filters, shape, dtype, boundary, _planes_on_pixels):
        for channel in channels:
            own = light[..., channel]
            if lamps is not None:
                shining = _rows_of(lamps, channel, shape[1])
                is_round = filters[channel].is_round
                twins = twins_that_show(shining, planes, shape, is_round=is_round)
                if any(twins) and filters[channel].is_laid and go_beyond(shining, planes):
                    out[..., channel] += _lamps_within(shining, filters[channel], shape, dtype)
                    own = own.copy()
                    own[shining.rows] -= shining.light
                elif any(twins):
                    out[..., channel] += filtered_without_twins(own, shining, planes, twins)
                    continue
            out[..., channel] += filtered(own, planes)


def _lamps_within(
    lamps: LampRows, filter_: Filter, shape: tuple[int, int], dtype: np.dtype[Any]
) -> Float32:
    """Deviated light of lamps in the dark, of what goes no farther than the frame is long.

    Where all ends there exactly, nothing comes round. A glow smears that end: it gets a margin.
    """
    margin = ACCURACY.least_reach_px if filter_.beyond_the_frame else 0
    height, width = padded(shape, (margin, margin)) if margin else shape
    alone = np.zeros((height, width), np.float32)
    alone[lamps.rows, : shape[1]] = lamps.light
    planes = _planes_within(filter_, (height, width), dtype)
    shining = LampRows(lamps.rows, alone[lamps.rows])
    both = Twins(beside=True, above=True)
    return filtered_without_twins(alone, shining, planes, both)[: shape[0], : shape[1]]


def _rows_of(lamps: LampPixels, channel: int, width: int) -> LampRows:
    rows, place = np.unique(lamps.rows, return_inverse=True)
    light = np.zeros((len(rows), width), np.float32)
    light[place, lamps.columns] = lamps.light[:, channel]
    return LampRows(rows, light)


def _planes_of(
    filters: Sequence[Filter],
    shape: tuple[int, int],
    dtype: np.dtype[Any],
    boundary: Surround,
    kept: Callable[..., Planes],
) -> Iterator[tuple[list[int], Planes]]:
    """Channels that share a filter, and its planes, one filter at a time to hold memory down."""
    make = kept if boundary is Surround.MIRROR or _is_small(shape) else _planes
    for filter_ in dict.fromkeys(filters):
        channels = [channel for channel, own in enumerate(filters) if own == filter_]
        yield channels, make(filter_, shape, dtype, boundary)


def _is_small(shape: tuple[int, int]) -> bool:
    """Whether planes of a frame four times as large, as the dark takes, are kept."""
    return shape[0] * shape[1] <= ACCURACY.kept_in_the_dark_px


def _planes(
    filter_: Filter, shape: tuple[int, int], dtype: np.dtype[Any], boundary: Surround
) -> Planes:
    """Planes of a filter."""
    if boundary is Surround.MIRROR:
        return filter_.cosine_planes(shape, dtype)
    return planes_in_the_dark(filter_, shape, dtype)


@lru_cache(maxsize=3)
def _planes_within(filter_: Filter, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
    """Planes of what of a filter goes no farther than the frame is long."""
    planes = filter_.without_mirrors().cosine_planes(shape, dtype)
    for part in filter_.beyond_the_frame:
        images = planes_of_images(part, shape)
        planes.even[: images.shape[0], : images.shape[1]] -= images
    return planes


# Kept for the next still of a scene. Planes on pixels are as large as the picture, those on cells
# are small: looks that take turns must not throw each other's out.
_planes_on_pixels = KeptPlanes(_planes, fewest=3)
_planes_on_cells = lru_cache(maxsize=12)(_planes)


def _on_cells(
    light: Float32, filters: Sequence[Filter], outside: _Outside, cell_px: float
) -> tuple[Float32, tuple[CellAxis, CellAxis]]:
    """Light gathered into cells and filtered there, and their axes."""
    boundary, lamps = outside
    height, width, _ = light.shape
    axes = _axes(height, width, cell_px, 0 if boundary is Surround.MIRROR else REACH)
    cells = _gathered(light, axes)
    planes = _planes_on(axes, filters, boundary)
    if lamps is None:
        _filter_cells(cells, planes)
    else:
        beyond = _axes(height, width, cell_px, REACH)
        tall = beyond[0].gather_some(lamps.rows, lamps.columns, lamps.light, width)
        of_lamps = _across(tall, beyond)
        folded = _folded(_folded(of_lamps).swapaxes(0, 1)).swapaxes(0, 1)
        if _twins_show(folded, planes, filters):
            cells -= folded
            _filter_cells(cells, planes)
            _filter_cells(of_lamps, _planes_on(beyond, filters, Surround.DARK))
            margin = (REACH, REACH)
            cells = np.pad(cells, (margin, margin, (0, 0)), mode="symmetric")
            cells += of_lamps
            axes = beyond
        else:
            _filter_cells(cells, planes)
    return cells, axes


def _add_cells(out: Float32, cells: Float32, axes: tuple[CellAxis, CellAxis]) -> None:
    """Spread the light of cells over pixels."""
    rows, columns = axes
    height, width, _ = out.shape
    wide = np.zeros((width, rows.total * 3), dtype=np.float32)
    columns.add(cells.reshape(columns.total, rows.total * 3), wide)
    tall = np.ascontiguousarray(wide.reshape(width, rows.total, 3).transpose(1, 0, 2))
    rows.add(tall.reshape(rows.total, width * 3), out.reshape(height, width * 3))


def _axes(height: int, width: int, cell_px: float, margin: int) -> tuple[CellAxis, CellAxis]:
    rows, columns = (
        CellAxis(length_px=length, count=max(1, round(length / cell_px)), margin=margin)
        for length in (height, width)
    )
    return rows, columns


def _gathered(light: Float32, axes: tuple[CellAxis, CellAxis]) -> Float32:
    """Cells of light, shape (columns, rows, 3)."""
    return _across(axes[0].gather(light.reshape(len(light), -1)), axes)


def _across(tall: Float32, axes: tuple[CellAxis, CellAxis]) -> Float32:
    """Cells of light that has been gathered down the frame, shape (rows, 3 width)."""
    rows, columns = axes
    wide = tall.reshape(rows.total, -1, 3).transpose(1, 0, 2)
    cells = columns.gather(wide.reshape(len(wide), rows.total * 3))
    return cells.reshape(columns.total, rows.total, 3)


def _folded(cells: Float32) -> Float32:
    """Cells with a margin along the first axis, and what lies there folded back as by a mirror."""
    inner = cells[REACH:-REACH].copy()
    inner[:REACH] += cells[REACH - 1 :: -1]
    inner[-REACH:] += cells[: -REACH - 1 : -1]
    return inner


def _planes_on(
    axes: tuple[CellAxis, CellAxis], filters: Sequence[Filter], boundary: Surround
) -> list[tuple[list[int], Planes]]:
    rows, columns = axes
    shape = (rows.total, columns.total)
    on_cells = [FilterOnCells(f, rows, columns) for f in filters]
    dtype = np.dtype(np.float64)
    return list(_planes_of(on_cells, shape, dtype, boundary, _planes_on_cells))


def _filter_cells(cells: Float32, planes: list[tuple[list[int], Planes]]) -> None:
    """Filter cells in place."""
    for channels, own in planes:
        for channel in channels:
            cells[..., channel] = filtered(cells[..., channel].T, own).T


def _twins_show(
    lamps: Float32, planes: list[tuple[list[int], Planes]], filters: Sequence[Filter]
) -> bool:
    """Whether mirror images of lamps, on cells, send light into a frame to speak of."""
    count = np.arange(lamps.shape[1])
    return any(
        any(
            twins_that_show(
                LampRows(count, lamps[..., channel].T),
                own,
                lamps.shape[1::-1],
                is_round=filters[channel].is_round,
            )
        )
        for channels, own in planes
        for channel in channels
    )
