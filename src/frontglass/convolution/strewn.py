"""Light that two uneven families of threads strew one after the other, between their orders.

It is smooth, so that its density at the middles of pixels tells it, where points would have to lie
three to a pixel and each be blurred along a line.
"""

from __future__ import annotations

import math

import numpy as np
import scipy

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.blocks import ROWS_AT_ONCE
from frontglass.optics.bands import Band
from frontglass.optics.masks import CrossedGratings
from frontglass.threads import end_if_unwanted, in_pieces


def is_smooth(mask: CrossedGratings, members: tuple[int, ...], first_px: float) -> bool:
    """Whether pixels tell what some families strew; the nearest first order is so far away."""
    if len(members) != 2 or first_px < ACCURACY.strewn_on_pixels[0]:
        return False
    one, other = (mask.across_rad[member] for member in members)
    return abs(math.sin(other - one)) >= ACCURACY.strewn_on_pixels[1]


def strewn_by_two(
    mask: CrossedGratings,
    members: tuple[int, ...],
    band: Band,
    px_per_rad: float,
    *,
    end: float,
    side: int,
) -> Float64:
    """Transform of it on a square that repeats, about a lamp at its origin, (side, side / 2 + 1).

    Light is counted up to the order `end` of each.
    """
    gratings = [mask.gratings[member] for member in members]
    angles = [mask.across_rad[member] for member in members]
    first_px = np.array([band.centre_m / g.pitch_m * px_per_rad for g in gratings])
    to_orders = np.linalg.inv(np.array([np.cos(angles), np.sin(angles)]) * first_px)
    steps = ACCURACY.strewn_steps
    number = np.arange(math.ceil(end * steps) + 2) / steps
    tables = [np.where(number < end, grating.strewn(number), 0.0) for grating in gratings]
    # A place passes so many lobes of both as wavelengths go by.
    lobes = 1.5 * end * sum(grating.cover for grating in gratings)
    wavelengths, weights = band.wavelengths(band.centre_m / (lobes + ACCURACY.strewn_wavelengths))
    ratios = wavelengths / band.centre_m
    half = side // 2
    light = np.zeros((side, side))

    def add(rows: slice) -> None:
        end_if_unwanted()
        y, x = np.arange(rows.start, rows.stop)[:, np.newaxis], scipy.fft.fftfreq(side, 1 / side)
        at = [np.abs(along_x * x + along_y * y) * steps for along_x, along_y in to_orders]
        for ratio, weight in zip(ratios, weights / ratios**2, strict=True):
            one, other = (
                _at(table, where / ratio) for table, where in zip(tables, at, strict=True)
            )
            one *= other
            one *= weight
            light[rows] += one

    in_pieces(add, half + 1, ROWS_AT_ONCE)
    # Opposite places are alike.
    light[half + 1 :] = light[half - 1 : 0 : -1, -np.arange(side)]
    light *= 4 * math.prod(grating.strewn_within(end) for grating in gratings) / light.sum()
    response = [np.sinc(f) ** 2 for f in (scipy.fft.fftfreq(side), scipy.fft.rfftfreq(side))]
    transformed = np.asarray(scipy.fft.rfft2(light, workers=-1).real)
    transformed *= response[0][:, np.newaxis]
    transformed *= response[1]
    return transformed


def _at(table: Float64, place: Float64) -> Float64:
    """Values of a table on straight lines between its places; beyond its end its last."""
    below = np.minimum(place.astype(np.int32), table.size - 2)
    part = np.minimum(place - below, 1.0)
    low = table.take(below)
    return np.asarray(low + part * (table.take(below + 1) - low))
