"""Light spread pixel by pixel, of a large frame one channel at a time: that holds memory down.

What a channel needs beside the picture is its own light, which transforms are written over, and
the planes of its filter, which go before the next one's are made.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32
from frontglass.convolution.blocks import ROWS_AT_ONCE, precision_for, precision_of_planes
from frontglass.convolution.cosines import filtered
from frontglass.convolution.filters import Filter, Planes, frequencies
from frontglass.convolution.kept import Kept, is_small, side_by_side
from frontglass.convolution.parts import padded, planes_in_the_dark, planes_of_images
from frontglass.convolution.sines import (
    LampRows,
    Twins,
    filtered_without_twins,
    go_beyond,
    lamps_without_twins,
    twins_that_show,
)
from frontglass.heap import give_freed_memory_back
from frontglass.lit_pixels import LitPixels
from frontglass.threads import in_pieces

Plane = NDArray[Any]
Shape = tuple[int, int]


class Source(NamedTuple):
    """Light of a frame, of which each channel is handed out once.

    Parameters
    ----------
    shape : (int, int)
        Of the frame.
    mean_square : float
        Of its light.
    plane : callable (channel, dtype) -> ndarray, shape (H, W)
        Light of a channel, in memory of its own.
    """

    shape: Shape
    mean_square: float
    plane: Callable[[int, np.dtype[Any]], Plane]


def of_light(
    light: Float32, filters: Sequence[Filter], out: Float32, less: LitPixels | None = None
) -> Source:
    """Light of a frame, less some of it.

    What of all the light goes straight on, and veils, are laid into `out` as channels are handed
    out; it may be the light itself.
    """
    means = cv2.mean(light)  # summed in double precision
    squares = cv2.norm(light, cv2.NORM_L2SQR)
    if less is not None:
        whole = light[less.at].astype(np.float64)
        squares += float(np.square(whole - less.light).sum() - np.square(whole).sum())

    def plane(channel: int, dtype: np.dtype[Any]) -> Plane:
        own = np.empty(light.shape[:2], dtype)
        direct, veil = filters[channel].direct, filters[channel].veil * means[channel]

        def some(rows: slice) -> None:
            own[rows] = light[rows, :, channel]
            straight = light[rows, :, channel] * np.float32(direct)
            if veil:
                straight += np.float32(veil)
            out[rows, :, channel] = straight

        in_pieces(some, len(own), ROWS_AT_ONCE)
        if less is not None:
            own[less.at] -= less.light[:, channel]
        return own

    return Source(_shape(light), max(squares, 0.0) / light.size, plane)


def of_lit(
    lit: LitPixels,
    filters: Sequence[Filter] = (),
    out: Float32 | None = None,
    less: LitPixels | None = None,
) -> Source:
    """Light of some pixels, less some of it.

    What of it does not go straight on is taken out of `out`, if there is such, as channels are
    handed out. None of it may be veil.
    """

    def plane(channel: int, dtype: np.dtype[Any]) -> Plane:
        own = np.zeros(_shape(lit), dtype)
        own[lit.at] = lit.light[:, channel]
        if out is not None:
            lost = np.float32(1 - filters[channel].direct)
            out[..., channel][lit.at] -= lost * lit.light[:, channel]
        if less is not None:
            own[less.at] -= less.light[:, channel]
        return own

    squares = float(np.square(lit.light, dtype=np.float64).sum())
    return Source(_shape(lit), squares / math.prod(lit.shape), plane)


def add_spread(
    out: Float32, source: Source, filters: Sequence[Filter], *, is_dark: bool = False
) -> None:
    """Add deviated light of a frame, among its mirror images or in the dark."""
    dtype = _precision(source, filters)

    def spread(of: _OfFilter) -> None:
        filter_, channels = of
        planes = _planes(filter_, source.shape, is_dark=is_dark)
        for channel in channels:
            are_lost = channel == channels[-1]
            out[..., channel] += filtered(source.plane(channel, dtype), planes, are_lost=are_lost)

    side_by_side(spread, by_filter(filters), source.shape)


def add_spread_without_images(
    out: Float32, source: Source, filters: Sequence[Filter], lamps: LitPixels
) -> None:
    """Add deviated light of a frame among its mirror images, of which its lamps have none."""
    shape, dtype = source.shape, _precision(source, filters)
    rest_dtype = _precision(_without(source, lamps), filters)
    rows_of = _by_rows(lamps)

    def spread(of: _OfFilter) -> None:
        filter_, channels = of
        planes = _planes(filter_, shape)
        ways = [_way_of(rows_of(channel), filter_, planes, shape) for channel in channels]
        for channel, way in zip(channels, ways, strict=True):
            are_lost = channel == channels[-1]
            if way.goes_round:
                rest = source.plane(channel, rest_dtype)
                rest[way.lamps.rows] -= way.lamps.light
                added = filtered(rest, planes, are_lost=are_lost)
                del rest
            elif any(way.twins):
                # Its light is not named, so that it is gone once it has been read.
                added = filtered_without_twins(
                    source.plane(channel, dtype), way.lamps, planes, way.twins, are_lost=are_lost
                )
            else:
                added = filtered(source.plane(channel, dtype), planes, are_lost=are_lost)
            out[..., channel] += added
            del added
        del planes
        for channel, way in zip(channels, ways, strict=True):
            if way.goes_round:
                out[..., channel] += lamps_within(way.lamps, filter_, shape, dtype)

    side_by_side(spread, by_filter(filters), shape)


_OfFilter = tuple[Filter, list[int]]


class _Way(NamedTuple):
    """How lamps of a channel are spared their mirror images."""

    lamps: LampRows
    twins: Twins
    goes_round: bool


def _way_of(lamps: LampRows, filter_: Filter, planes: Planes, shape: Shape) -> _Way:
    twins = twins_that_show(lamps, planes, shape, is_round=filter_.is_round)
    goes_round = any(twins) and filter_.is_laid and go_beyond(lamps, *_edges(planes))
    return _Way(lamps, twins, goes_round)


def _without(source: Source, lamps: LitPixels) -> Source:
    """Return a source with the mean square that is left at most without its lamps."""
    squares = float(np.square(lamps.light, dtype=np.float64).sum())
    left = source.mean_square - squares / math.prod(lamps.shape)
    return source._replace(mean_square=max(left, 0.0))


def come_round(lamps: LitPixels, source: Source, filters: Sequence[Filter]) -> bool:
    """Whether light of lamps would come in again from two frames away, for all that is done."""
    shape = source.shape
    if not any(f.beyond_the_frame for f in filters):
        return False
    if not is_small(shape) and all(_is_laid_among_round(f) for f in filters):
        return False
    rows_of = _by_rows(lamps)
    fy, fx = frequencies(shape, slice(0, shape[1] + 1))

    def ends(filter_: Filter) -> tuple[Plane, Plane]:
        if filter_.is_laid:
            return _edges(_planes(filter_, shape))
        return filter_.on_grid(fx, fy[:1])[0], filter_.on_grid(fx[:1], fy)[:, 0]

    return any(
        go_beyond(rows_of(channel), *along)
        for filter_, channels in by_filter(filters)
        for along in (ends(filter_),)
        for channel in channels
    )


def _edges(planes: Planes) -> tuple[Plane, Plane]:
    return planes.even[0], planes.even[:, 0]


def _is_laid_among_round(filter_: Filter) -> bool:
    """Whether `_planes_within` can do without what goes farther than a frame is long."""
    return filter_.is_laid and all(part.is_round for part in filter_.beyond_the_frame)


def lamps_within(lamps: LampRows, filter_: Filter, shape: Shape, dtype: np.dtype[Any]) -> Float32:
    """Deviated light of lamps in the dark, of what goes no farther than the frame is long.

    Where all ends there exactly, nothing comes round. A glow smears that end: it gets a margin.
    """
    margin = ACCURACY.least_reach_px if filter_.beyond_the_frame else 0
    wide = padded(shape, (margin, margin)) if margin else shape
    light = np.zeros((len(lamps.rows), wide[1]), np.float32)
    light[:, : shape[1]] = lamps.light
    even, odd = _planes_within(filter_, wide, precision_of_planes(shape))
    # Light is written over them: they are as precise, and one goes before the next one comes.
    even = even.astype(dtype, copy=False)
    give_freed_memory_back()
    odd = None if odd is None else odd.astype(dtype, copy=False)
    give_freed_memory_back()
    lamps, planes = LampRows(lamps.rows, light), Planes(even, odd)
    return lamps_without_twins(lamps, planes)[: shape[0], : shape[1]]


def _by_rows(lamps: LitPixels) -> Callable[[int], LampRows]:
    """Return what has the rows of a frame that lamps are in, for a channel."""
    rows, place = np.unique(lamps.at[0], return_inverse=True)

    def of(channel: int) -> LampRows:
        light = np.zeros((len(rows), lamps.shape[1]), np.float32)
        light[place, lamps.at[1]] = lamps.light[:, channel]
        return LampRows(rows, light)

    return of


def by_filter(filters: Sequence[Filter]) -> Iterator[tuple[Filter, list[int]]]:
    """Yield filters, and the channels that share each."""
    for filter_ in dict.fromkeys(filters):
        yield filter_, [channel for channel, own in enumerate(filters) if own == filter_]


def _precision(source: Source, filters: Sequence[Filter]) -> np.dtype[Any]:
    return precision_for(source.mean_square, source.shape, max(1 - f.direct for f in filters))


def _shape(frame: Float32 | LitPixels) -> Shape:
    return frame.shape[0], frame.shape[1]


def _planes(filter_: Filter, shape: Shape, *, is_dark: bool = False) -> Planes:
    """Planes of a filter; those of a large frame in the dark would hold copies of it."""
    dtype = precision_of_planes(shape)
    if not is_dark:
        return _planes_among_mirrors(filter_, shape, dtype)
    make = _planes_in_the_dark if is_small(shape) else planes_in_the_dark
    return make(filter_, shape, dtype)


def _made_within(filter_: Filter, shape: Shape, dtype: np.dtype[Any]) -> Planes:
    """Planes of what of a filter goes no farther than the frame is long."""
    planes = filter_.without_mirrors().cosine_planes(shape, dtype)
    for part in filter_.beyond_the_frame:
        images = planes_of_images(part, shape)
        planes.even[: images.shape[0], : images.shape[1]] -= images
    return planes


def _made_among_mirrors(filter_: Filter, shape: Shape, dtype: np.dtype[Any]) -> Planes:
    return filter_.cosine_planes(shape, dtype)


_planes_among_mirrors = Kept(_made_among_mirrors, 3)
_planes_in_the_dark = Kept(planes_in_the_dark, 3)
_planes_within = Kept(_made_within, 3)
