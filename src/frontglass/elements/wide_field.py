"""Spreading light over a wide field, where angles are not small.

A rectilinear frame stretches towards its corners, and with it any halo: at the corners of 84
degrees by more than twice outwards. So light that is to be spread goes onto a chart (see `charts`),
is convolved there, and comes back. Light that goes straight on is never resampled.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32
from frontglass.choices import Surround
from frontglass.convolution.cells import cell_width_px
from frontglass.convolution.convolve import convolve
from frontglass.convolution.films import FilmFilter
from frontglass.convolution.filters import Filter, ScatterFilter, VeilFilter
from frontglass.convolution.nets import CrossedFilter
from frontglass.convolution.product import Product, in_turn
from frontglass.convolution.tulle import TulleFilter
from frontglass.elements.charts import Canvas, Chart
from frontglass.optics.camera import Camera
from frontglass.threads import in_pieces
from frontglass.units import deg_from_rad

Filters = tuple[Filter, ...]

WIDE_DEG = 60.0
"""Field along the long side of a frame beyond which its angles are not taken as small."""
ROWS_AT_ONCE = 32
NOTHING = 1e-12


def is_wide(camera: Camera, shape: tuple[int, ...]) -> bool:
    """Whether halos differ in size over a frame of some rows and columns."""
    half = max(shape[:2]) / 2 * camera.rad_per_px(shape[1])
    return deg_from_rad(2 * math.atan(half)) > WIDE_DEG


def spread_wide(
    light: Float32, filters: Sequence[Filter], px_per_rad: float, surround: Surround
) -> Float32:
    """Light after a filter per channel, over a wide field.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    filters : sequence of 3 Filter
        One per channel, made for that scale.
    px_per_rad : float
        Pixels per radian in the middle of the frame.
    surround : Surround
        What lies outside the frame.

    Notes
    -----
    What turns light by angles comes first, then what is flat. An angle counts as its chord,
    2 sin(angle / 2): then solid angles are areas, and a kernel that is whole on the plane is whole
    on the sphere.
    """
    members = [_members(one) for one in filters]
    if not all(_scaled(member, 1.0) for own in members for member in own):
        return convolve(light, filters, surround)  # nobody knows how it would look elsewhere
    for chart in (Chart.STEREOGRAPHIC, Chart.COSINES):
        parts = [[m for m in own if _chart_of(m) is chart] for own in members]
        if all(parts):
            light = _spread(light, tuple(map(in_turn, parts)), px_per_rad, surround, chart)
    return light


def _members(filter_: Filter) -> tuple[Filter, ...]:
    return filter_.members if isinstance(filter_, Product) else (filter_,)


def _chart_of(member: Filter) -> Chart:
    is_turned = isinstance(member, ScatterFilter | VeilFilter)
    return Chart.STEREOGRAPHIC if is_turned else Chart.COSINES


def _scaled(filter_: Filter, ratio: float) -> Filter | None:
    """Return the same filter where pixels are so much finer; None if it does not tell."""
    match filter_:
        case ScatterFilter() | CrossedFilter() | TulleFilter():
            return replace(filter_, px_per_rad=filter_.px_per_rad * ratio)
        case FilmFilter():
            return replace(filter_, across_px=tuple(ratio * px for px in filter_.across_px))
        case VeilFilter():
            return filter_
        case Product():
            parts = [_scaled(member, ratio) for member in filter_.members]
            return Product(tuple(part for part in parts if part)) if all(parts) else None
    return None


def _at(filters: Filters, ratio: float) -> Filters:
    scaled = (_scaled(one, ratio) for one in filters)
    return tuple(one for one in scaled if one is not None)


def _spread(
    light: Float32, filters: Filters, px_per_rad: float, surround: Surround, chart: Chart
) -> Float32:
    """Light after filters that belong on one chart."""
    if all(f.direct + f.veil >= 1 - NOTHING for f in filters):
        return convolve(light, filters, surround)
    out = _straight_on(light, filters)
    shortest = min(light.shape[:2])
    cell_px = min(cell_width_px(f, shortest) for f in filters)
    is_small = light.shape[0] * light.shape[1] <= ACCURACY.chart_blended_twice_px
    per_cell, finer = ACCURACY.chart_of_small if is_small else ACCURACY.chart_of_large
    frame, laid = _coarser(light, max(1.0, cell_px / per_cell))
    canvas = Canvas.over(chart, frame, px_per_rad, light.shape[:2], finer)
    on_chart = canvas.take(laid, surround)
    own = _at(filters, canvas.px_per_rad / px_per_rad)
    if chart is Chart.COSINES:
        got = convolve(on_chart, own, surround)
        got -= _straight_on(on_chart, own)
    else:
        got = _turned(on_chart, own, canvas, surround)
    back = canvas.give(got)
    if back.shape != out.shape:
        size = out.shape[1], out.shape[0]
        back = np.asarray(cv2.resize(back, size, interpolation=cv2.INTER_CUBIC))
    cv2.add(out, back, dst=out)
    return out


def _coarser(light: Float32, ratio: float) -> tuple[tuple[int, int], Float32]:
    """Return the size of a frame of coarser pixels, and its light."""
    height, width = (math.ceil(side / ratio) for side in light.shape[:2])
    if ratio > 1:
        light = np.asarray(cv2.resize(light, (width, height), interpolation=cv2.INTER_AREA))
    return (height, width), light


def _straight_on(light: Float32, filters: Filters) -> Float32:
    """Direct light and veils."""
    height, width, _ = light.shape
    direct = np.tile(np.array([f.direct for f in filters], np.float32), width)
    means = cv2.mean(light)
    veils = [f.veil * mean for f, mean in zip(filters, means, strict=False)]
    veil = np.tile(np.array(veils, np.float32), width)
    out = np.empty(light.shape, np.float32)

    def some(rows: slice) -> None:
        np.multiply(
            light[rows].reshape(-1, 3 * width), direct, out=out[rows].reshape(-1, 3 * width)
        )
        if any(veils):
            out[rows].reshape(-1, 3 * width)[:] += veil

    in_pieces(some, height, ROWS_AT_ONCE)
    return out


def _turned(light: Float32, filters: Filters, canvas: Canvas, surround: Surround) -> Float32:
    """Light deviated by angles, on the stereographic chart."""
    # What blending two scales does to an even field is undone. It is found first: the filters that
    # are kept for the next still are then the large ones.
    even = _of_an_even_field(filters, canvas.coarser(ACCURACY.chart_response_px), canvas)
    got = _between_scales(light, filters, canvas, surround)
    size = light.shape[1], light.shape[0]
    cv2.divide(got, cv2.resize(even, size, interpolation=cv2.INTER_LINEAR), dst=got)
    return got


def _between_scales(
    light: Float32, filters: Filters, canvas: Canvas, surround: Surround
) -> Float32:
    """Light deviated by the filters at the scales of the middle and of the corners, blended.

    With c the cosine squared of half the field angle, light goes from a to b as
    ``K(chord) c_a / c_b``, and its chord is that on the chart times ``sqrt(c_a c_b)``. So what
    counts is the mean of the logarithms of c at both ends: half of the weight is taken where light
    comes from, half where it lands. On many pixels that takes too long. There the blend goes by
    c_a alone: right near a lamp; far from it a tail that falls as the third power, as nearly all
    do, needs the root of ``c_a / c_b`` once more.
    """
    shrinking = canvas.shrinking()
    least = float(shrinking.min())
    inner = 1 - np.log(shrinking) / np.float32(math.log(least))
    is_large = canvas.shape[0] * canvas.shape[1] > ACCURACY.chart_blended_twice_px
    uneven = shrinking * np.sqrt(shrinking) if is_large else shrinking
    source = _times(light, uneven)
    near = _times(source, inner)
    far = source - near
    at_corners = _at(filters, 1 / least)
    got = convolve(near, filters, surround)
    got += convolve(far, at_corners, surround)
    if not is_large:
        landed = _times(convolve(source, filters, surround), inner)
        landed += _times(convolve(source, at_corners, surround), 1 - inner)
        got += landed
        got *= np.float32(0.5)
    got -= _straight_on(source, filters)
    return _times(got, 1 / uneven)


def _times(light: Float32, weight: NDArray[np.floating]) -> Float32:
    """Light times a weight of each pixel."""
    return np.asarray(cv2.multiply(light, cv2.merge([weight] * 3)), dtype=np.float32)


@lru_cache(maxsize=8)
def _of_an_even_field(filters: Filters, coarse: Canvas, canvas: Canvas) -> Float32:
    """Return what becomes of an even field over what should: smooth, and found on few pixels."""
    ratio = coarse.px_per_rad / canvas.px_per_rad
    one = np.ones((*coarse.shape, 3), np.float32)
    got = _between_scales(one, _at(filters, ratio), coarse, Surround.MIRROR)
    share = np.array([1 - f.direct - f.veil for f in filters], np.float32)
    return np.where(share > NOTHING, got / np.maximum(share, NOTHING), 1).astype(np.float32)
