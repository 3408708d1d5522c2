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

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, NamedTuple

import cv2
import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32
from frontglass.choices import Surround
from frontglass.convolution.blocks import ROWS_AT_ONCE
from frontglass.convolution.cells import (
    REACH,
    CellAxis,
    Work,
    add_cells,
    axes_of,
    cell_width_px,
    folded_back,
    gathered,
    nothing,
)
from frontglass.convolution.cosines import filtered
from frontglass.convolution.filters import Filter, Planes
from frontglass.convolution.kept import Kept, both, is_small, side_by_side
from frontglass.convolution.lamps import lamp_pixels
from frontglass.convolution.over_pixels import (
    Source,
    add_spread,
    add_spread_without_images,
    by_filter,
    come_round,
    of_light,
    of_lit,
)
from frontglass.convolution.parts import FilterOnCells, SharpPart, SmoothPart, planes_in_the_dark
from frontglass.convolution.sines import LampRows, twins_that_show
from frontglass.lit_pixels import LitPixels
from frontglass.threads import in_pieces

Share = Callable[[slice], Float32]

NOTHING = 1e-12
"""Less light than this is rounding."""


class MixedPart(NamedTuple):
    """A part of light: its share in some rows, shape (rows, W), and filters; None of what has none.

    Filters are one per channel.
    """

    share: Share
    filters: Sequence[Filter] | None

    def of(self, share: Share) -> MixedPart:
        """Return it as a part of what is a share of the light itself."""
        return self._replace(share=lambda rows: share(rows) * self.share(rows))


class _Outside(NamedTuple):
    """What lies outside the frame: its mirror image or nothing, and lamps that have no image."""

    boundary: Surround
    lamps: LitPixels | None = None

    def of_channel(self, channel: int) -> _Outside:
        """Return the same for a frame of one channel."""
        return _Outside(self.boundary, self.lamps and self.lamps.channel(channel))


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
    return _convolved(light, filters, _outside(light, boundary), np.empty_like(light))


def convolve_over(light: Float32, filters: Sequence[Filter], boundary: Surround) -> Float32:
    """Return the same as `convolve`, and lose the light: a frame less is held and written."""
    light = np.ascontiguousarray(light)
    return _convolved(light, filters, _outside(light, boundary), light)


def add_what_spreads(
    out: Float32, lit: LitPixels, filters: Sequence[Filter], boundary: Surround
) -> None:
    """Add what filters make of the light of some pixels to light that holds it, in place of it.

    Filters without veils; shapes and units are those of `convolve`.
    """
    if not all(f.direct >= 1 - NOTHING for f in filters):
        _convolved(lit, filters, _outside(np.asarray(lit), boundary), out)


def convolve_mixed_over(light: Float32, parts: Sequence[MixedPart], boundary: Surround) -> Float32:
    """Light of which parts go through filters of their own.

    Of a large frame one channel at a time, which holds a single one of them beside the light, and
    loses that.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light, finite.
    parts : sequence of MixedPart
        What light is divided into where it leaves.
    boundary : Surround
        What lies outside the frame.
    """
    light = np.ascontiguousarray(light)
    outside = _outside(light, boundary)

    def through(channel: int) -> None:
        lit = light[..., channel : channel + 1]
        if not (lit[::61, ::59].any() or lit.any()):
            return
        own = lit.copy()
        lit[:] = 0
        for part in parts:
            seen = own
            if part.filters is not None:
                lone = outside.of_channel(channel)
                seen = _convolved(own, [part.filters[channel]], lone, np.empty_like(own))
            add_weighed(lit, seen, part.share)
            del seen  # before the next one is made

    side_by_side(through, range(light.shape[2]), light.shape[:2])
    return light


def add_weighed(out: Float32, light: Float32, share: Share) -> None:
    """Add a share of light, shape (H, W, N), to other light."""

    def some(rows: slice) -> None:
        weights = share(rows)
        for channel in range(light.shape[2]):
            out[rows, :, channel] += weights * light[rows, :, channel]

    in_pieces(some, len(out), ROWS_AT_ONCE)


def _outside(light: Float32, boundary: Surround) -> _Outside:
    if boundary is Surround.LAMPLESS:
        return _Outside(Surround.MIRROR, lamp_pixels(light))
    return _Outside(boundary)


def _convolved(
    light: Float32 | LitPixels, filters: Sequence[Filter], outside: _Outside, out: Float32
) -> Float32:
    """Light after filters, laid into `out`, which may be the light itself.

    That of some pixels takes their place in `out`, which holds it.
    """
    shortest_px = min(light.shape[:2])
    cell_px = min(cell_width_px(f, shortest_px) for f in set(filters))
    if _are_direct(filters):
        _without_deviated_light(light, filters, out)
    elif cell_px > 1:
        cells, axes = _on_cells(light, filters, outside, cell_px)
        add_cells(out, cells, axes, _laying_direct_light(light, filters, out))
    elif outside.boundary is Surround.DARK:
        _add_in_the_dark(out, _source(light, filters, out), light, filters)
    elif outside.lamps is None:
        add_spread(out, _source(light, filters, out), filters)
    else:
        _without_images(light, filters, outside.lamps, out)
    return out


def _are_direct(filters: Sequence[Filter]) -> bool:
    return all(f.direct + f.veil >= 1 - NOTHING for f in filters)


def _source(
    light: Float32 | LitPixels,
    filters: Sequence[Filter],
    out: Float32,
    less: LitPixels | None = None,
) -> Source:
    if isinstance(light, LitPixels):
        return of_lit(light, filters, out, less)
    return of_light(light, filters, out, less)


def _without_images(
    light: Float32 | LitPixels, filters: Sequence[Filter], lamps: LitPixels, out: Float32
) -> None:
    """Light after filters that are not smooth, whose lamps have no mirror images."""
    source = _source(light, filters, out)
    if come_round(lamps, source, filters):
        add_spread(out, _source(light, filters, out, lamps), filters)
        _add_in_the_dark(out, of_lit(lamps), lamps, filters)
    else:
        add_spread_without_images(out, source, filters, lamps)


def _add_in_the_dark(
    out: Float32, source: Source, light: Float32 | LitPixels, filters: Sequence[Filter]
) -> None:
    """Add deviated light in the dark: of round filters the smooth part on cells."""
    if not all(f.is_round for f in filters):
        add_spread(out, source, filters, is_dark=True)
        return
    smooth = [SmoothPart(f) for f in filters]
    cells, axes = _on_cells(light, smooth, _Outside(Surround.DARK), ACCURACY.smooth_cell_px)
    add_spread(out, source, [SharpPart(f) for f in filters], is_dark=True)
    add_cells(out, cells, axes)


def _without_deviated_light(
    light: Float32 | LitPixels, filters: Sequence[Filter], out: Float32
) -> None:
    """Direct light and veils, laid into `out`, which may be the light itself."""
    in_pieces(_laying_direct_light(light, filters, out), len(out), ROWS_AT_ONCE)


def _laying_direct_light(
    light: Float32 | LitPixels, filters: Sequence[Filter], out: Float32
) -> Work:
    """Return what lays direct light and veils into some rows of `out`."""
    if isinstance(light, LitPixels):
        light.times([f.direct - 1 for f in filters]).added_to(out)
        return nothing
    height, width, channels = light.shape
    veils = [f.veil for f in filters]
    if any(veils):
        means = cv2.mean(light)  # summed in double precision
        veils = [own * mean for own, mean in zip(veils, means, strict=False)]
    direct = np.tile(np.array([f.direct for f in filters], dtype=np.float32), width)
    veil = np.tile(np.array(veils, dtype=np.float32), width)
    flat_light, flat_out = light.reshape(height, -1), out.reshape(height, width * channels)

    def some(rows: slice) -> None:
        np.multiply(flat_light[rows], direct, out=flat_out[rows])
        if any(veils):
            flat_out[rows] += veil

    return some


def _made_on_cells(
    filter_: Filter, shape: tuple[int, int], dtype: np.dtype[Any], boundary: Surround
) -> Planes:
    if boundary is Surround.MIRROR:
        return filter_.cosine_planes(shape, dtype)
    return planes_in_the_dark(filter_, shape, dtype)


# Planes on cells are small, mostly: looks that take turns must not throw each other's out.
_planes_on_cells = Kept(_made_on_cells, 12)


def _on_cells(
    light: Float32 | LitPixels, filters: Sequence[Filter], outside: _Outside, cell_px: float
) -> tuple[Float32, tuple[CellAxis, CellAxis]]:
    """Light gathered into cells and filtered there, and their axes."""
    boundary, lamps = outside
    height, width, _ = light.shape
    axes = axes_of(height, width, cell_px, 0 if boundary is Surround.MIRROR else REACH)
    if lamps is None:
        cells = gathered(light, axes)
        _filter_cells(cells, _planes_on(axes, filters, boundary))
        return cells, axes
    beyond = axes_of(height, width, cell_px, REACH)
    planes = _planes_on(axes, filters, boundary)

    cells, (folded, shining) = both(
        partial(gathered, light, axes),
        partial(_lamps_on_cells, lamps, beyond, planes, filters),
        (axes[0].total, axes[1].total),
    )
    if shining is None:
        _filter_cells(cells, planes)
        return cells, axes
    cells -= folded
    _filter_cells(cells, planes)
    cells = np.pad(cells, ((REACH, REACH), (REACH, REACH), (0, 0)), mode="symmetric")
    cells += shining
    return cells, beyond


def _lamps_on_cells(
    lamps: LitPixels,
    axes: tuple[CellAxis, CellAxis],
    planes: list[tuple[list[int], Planes]],
    filters: Sequence[Filter],
) -> tuple[Float32, Float32 | None]:
    """Lamps on cells as a mirror folds them, and in the dark what filters make of them.

    That is None if no mirror image of theirs would show. Axes have margins; planes are of the frame
    among its mirror images.
    """
    shining = gathered(lamps, axes)
    folded = folded_back(folded_back(shining).swapaxes(0, 1)).swapaxes(0, 1)
    if not _twins_show(folded, planes, filters):
        return folded, None
    _filter_cells(shining, _planes_on(axes, filters, Surround.DARK))
    return folded, shining


def _planes_on(
    axes: tuple[CellAxis, CellAxis], filters: Sequence[Filter], boundary: Surround
) -> list[tuple[list[int], Planes]]:
    rows, columns = axes
    shape = (rows.total, columns.total)
    dtype = np.dtype(np.float64)
    make = _planes_on_cells if boundary is Surround.MIRROR or is_small(shape) else _made_on_cells
    on_cells = [FilterOnCells(f, rows, columns) for f in filters]
    return [(channels, make(own, shape, dtype, boundary)) for own, channels in by_filter(on_cells)]


def _filter_cells(cells: Float32, planes: list[tuple[list[int], Planes]]) -> None:
    """Filter cells in place."""
    own = {channel: filter_planes for channels, filter_planes in planes for channel in channels}

    def through(channel: int) -> None:
        cells[..., channel] = filtered(cells[..., channel].T, own[channel]).T

    side_by_side(through, own, cells.shape[:2])


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
