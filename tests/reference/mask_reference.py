"""Slow reference of nets and lines at any angle, in float64, from transfer functions alone."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.elements import Lines, Net
from frontglass.optics.bands import CHANNEL_BANDS, Band
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedMask, Orders, PupilMask
from frontglass.optics.tulle import HexagonalNet
from tests.reference.transfer_functions import correlation, hexagonal_otf, own_pairs

Array = NDArray[np.float64]
Rest = Callable[[Array, Array], Array]

ALIASES = 48
STRIP_ALIASES = 400
LEAST_WEIGHT = 1e-5
WAVELENGTHS = 256
TULLE_ORDERS = 20
"""Orders of tulle within this many cycles to a pitch are laid out one by one."""
TULLE_NODES = 4096
"""Straight lines between 1024 of them blunt far orders: the bound, 2000 px per radian."""
FINEST_PX = 0.02
_OWN_PITCHES = 1.5
"""Pieces of thread are shorter, and overlap themselves no farther."""
_CHUNK = 1 << 15


class _Samples(NamedTuple):
    """Frequencies of a frame and their aliases [cycles/px], what they weigh, and whose they are."""

    fx: Array
    fy: Array
    weight: Array
    place: NDArray[np.intp]


class _Arm(NamedTuple):
    """What one grating deviates: direction across its threads, and the others' direct share."""

    across_rad: float
    share: float
    grating: Grating


def mask_reference(
    plane: Array,
    mesh: Net | Lines,
    channel: int,
    px_per_rad: float,
    *,
    least_weight: float = LEAST_WEIGHT,
    wavelengths: int = WAVELENGTHS,
    aliases: int = ALIASES,
) -> Array:
    """One channel's light behind a mesh, mirrored for ever at the frame's edges.

    Nothing comes from the engine, nor from a mask's dots. The frame is laid out with its
    mirror images, a period of twice its height and width. What averaging over the sending and the
    receiving pixel leaves of the transfer function at a frequency of that period is a sum over
    aliases, weighted by sinc(fx)**2 sinc(fy)**2, which sum to 1. Their tail is long, so that three
    parts are summed apart: the direct share, alike at all; what one grating deviates, whose mean
    over the band is in closed form and fades within a dozen periods; and the small rest,
    wavelength by wavelength, at aliases of at least `least_weight`. Of tulle, whose arms are rows
    of orders side by side, the first orders are laid out one by one instead.
    """
    height, width = plane.shape
    big = np.block([[plane, plane[:, ::-1]], [plane[::-1], plane[::-1, ::-1]]])
    mask = mesh.mask() if isinstance(mesh, Net) else mesh.mask(channel)
    transfer = mask_transfer(
        mask,
        CHANNEL_BANDS[channel],
        px_per_rad,
        big.shape,
        least_weight=least_weight,
        wavelengths=wavelengths,
        aliases=aliases,
    )
    return np.fft.irfft2(np.fft.rfft2(big) * transfer, s=big.shape)[:height, :width]


def mask_transfer(
    mask: PupilMask,
    band: Band,
    px_per_rad: float,
    shape: tuple[int, int],
    *,
    least_weight: float,
    wavelengths: int,
    aliases: int = ALIASES,
) -> Array:
    """Transfer function of a mask and two averages over pixels, at `rfft2`'s frequencies."""
    height, width = shape
    fx, fy = np.fft.rfftfreq(width), np.fft.fftfreq(height)
    size = fy.size * fx.size
    largest_m = 2 * aliases * px_per_rad * band.centre_m
    back = 0.0
    if isinstance(mask, HexagonalNet):
        rest, arms = _tulle(mask), list[_Arm]()
        transfer = mask.direct + _low_orders(mask, band, px_per_rad, shape).ravel()
    else:
        rest, arms = _crossed(mask, largest_m)
        back = _led_back(mask)
        transfer = np.full(size, mask.direct + back)
    for arm in arms:
        half_width = 12 * arm.grating.pitch_m / band.centre_m / px_per_rad
        for strip in _strip(fx, fy, arm.across_rad, half_width):
            u = math.cos(arm.across_rad) * strip.fx + math.sin(arm.across_rad) * strip.fy
            values = arm.grating.band_transfer(px_per_rad * u, band) - arm.grating.direct
            transfer += arm.share * _summed(strip, values, size)
    near = _joined(_aliases(fx, fy, least_weight, aliases))
    values = _mean(rest, near, band, px_per_rad, wavelengths) - back
    transfer += _summed(near, values, size)
    return transfer.reshape(fy.size, fx.size)


def _aliases(fx: Array, fy: Array, least: float, most: int) -> Iterator[_Samples]:
    """Samples of a weight; the outermost aliases stand for all beyond them."""
    numbers = np.arange(-most, most + 1)
    down, right = (np.sinc(f + numbers[:, np.newaxis]) ** 2 for f in (fy, fx))
    for weights in (down, right):
        weights[[0, -1]] += (1 - weights.sum(axis=0)) / 2
    for k, of_row in zip(numbers, down, strict=True):
        for m, of_column in zip(numbers, right, strict=True):
            if of_row.max() * of_column.max() >= least:
                weight = np.outer(of_row, of_column).ravel()
                (place,) = np.nonzero(weight >= least)
                rows, columns = np.divmod(place, fx.size)
                yield _Samples(fx[columns] + m, fy[rows] + k, weight[place], place)


def _strip(fx: Array, fy: Array, across_rad: float, half_width: float) -> Iterator[_Samples]:
    """Samples no farther than a half width from the line through 0 across a direction.

    Along that line nothing fades, and a strip askew to the frame takes other aliases at every turn;
    the outermost, which stand for all beyond them, must be far away.
    """
    c, s = math.cos(across_rad), math.sin(across_rad)
    numbers = np.arange(-STRIP_ALIASES, STRIP_ALIASES + 1)
    touched = half_width + (abs(c) + abs(s)) / 2
    down, right = (np.sinc(f + numbers[:, np.newaxis]) ** 2 for f in (fy, fx))
    for weights in (down, right):
        weights[[0, -1]] += (1 - weights.sum(axis=0)) / 2
    for k, of_row in zip(numbers, down, strict=True):
        parts = []
        for m in numbers[np.abs(c * numbers + s * k) <= touched]:
            weight = np.outer(of_row, right[m + STRIP_ALIASES])
            inside = np.abs(np.add.outer(s * (fy + k), c * (fx + m))) <= half_width
            rows, columns = np.nonzero(inside & (weight >= LEAST_WEIGHT / 1000))
            place = rows * fx.size + columns
            parts.append(_Samples(fx[columns] + m, fy[rows] + k, weight[rows, columns], place))
        if parts:
            yield _joined(parts)


def _joined(parts: Iterator[_Samples] | list[_Samples]) -> _Samples:
    return _Samples(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _summed(samples: _Samples, values: Array, size: int) -> Array:
    total = np.bincount(samples.place, samples.weight * values, minlength=size)
    return total.astype(np.float64)


def _mean(rest: Rest, samples: _Samples, band: Band, px_per_rad: float, count: int) -> Array:
    """Mean over the band of a function of the shifts wavelength x frequency [m]."""
    values = np.zeros(samples.fx.size)
    for start in range(0, values.size, _CHUNK):
        chunk = slice(start, start + _CHUNK)
        x, y = px_per_rad * samples.fx[chunk], px_per_rad * samples.fy[chunk]
        for wavelength, share in zip(*band.wavelengths(8 * band.sigma_m / count), strict=True):
            values[chunk] += share * rest(wavelength * x, wavelength * y)
    return values


def _crossed(mask: PupilMask, largest_m: float) -> tuple[Rest, list[_Arm]]:
    """Split the product of several gratings' transfer functions."""
    assert isinstance(mask, CrossedMask)
    crossed = mask.crossed
    gratings, directions = crossed.gratings, crossed.across_rad
    direct = [grating.direct for grating in gratings]
    others = [math.prod(direct[:i] + direct[i + 1 :]) for i in range(len(direct))]
    correlations = {grating: tabulated(grating, largest_m) for grating in set(gratings)}

    def rest(x_m: Array, y_m: Array) -> Array:
        product, once = np.ones_like(x_m), np.full_like(x_m, math.prod(direct))
        for i, grating in enumerate(gratings):
            u = math.cos(directions[i]) * x_m + math.sin(directions[i]) * y_m
            found = correlations[grating](u)
            product *= found
            once += others[i] * (found - direct[i])
        return product - once

    return rest, [_Arm(*arm) for arm in zip(directions, others, gratings, strict=True)]


def _led_back(mask: PupilMask) -> float:
    """Light that three even families, 60 degrees apart, deviate one after the other to nowhere.

    Their orders (j, -j, j) and (-j, j, -j) add up to none, at every wavelength, so that what they
    hold never fades, at any alias: it counts with what goes straight on.
    """
    assert isinstance(mask, CrossedMask)
    crossed = mask.crossed
    turns = np.diff(crossed.across_rad)
    if len(crossed.gratings) != 3 or not np.allclose(turns, math.pi / 3):
        return 0.0
    grating = crossed.gratings[0]
    if len(set(crossed.gratings)) > 1 or grating.drift_m:
        return 0.0
    order = np.arange(1, 2000)
    shares = (grating.cover * np.sinc(order * grating.cover)) ** 2
    shares *= grating.contrast / grating.transmittance
    shares *= np.exp(-((2 * np.pi * order * grating.jitter_m / grating.pitch_m) ** 2))
    return float(2 * (shares**3).sum())


def _low_orders(mask: HexagonalNet, band: Band, px_per_rad: float, shape: tuple[int, int]) -> Array:
    """Transform of tulle's first orders, as streaks so fine that a pixel sees a line."""
    orders = _first_orders(mask)
    height, width = shape
    light = np.zeros(height * width)
    for x_per_m, y_per_m, share in zip(*orders, strict=True):
        x, y = (band.centre_m * px_per_rad * at for at in (x_per_m, y_per_m))
        wavelengths, weights = band.wavelengths(band.centre_m * FINEST_PX / math.hypot(x, y))
        ratio = wavelengths / band.centre_m
        for row, low in _two_pixels(y * ratio):
            for column, right in _two_pixels(x * ratio):
                place = row % height * width + column % width
                light += np.bincount(place, share * weights * low * right, minlength=light.size)
    return np.fft.rfft2(light.reshape(shape)).real


def _two_pixels(at: Array) -> Iterator[tuple[NDArray[np.intp], Array]]:
    below = np.floor(at)
    yield below.astype(np.intp), 1 - (at - below)
    yield below.astype(np.intp) + 1, at - below


def _first_orders(mask: HexagonalNet) -> Orders:
    orders = mask.orders(TULLE_ORDERS + 0.1)
    shares = orders.shares * mask.debye_waller(orders.x_per_m, orders.y_per_m)
    x, y = (np.concatenate([at, -at]) for at in (orders.x_per_m, orders.y_per_m))
    return Orders(x, y, np.tile(shares, 2))


def _tulle(mask: HexagonalNet) -> Rest:
    """Return the transfer function less its mean and the first orders."""
    straight = replace(mask, angle_rad=0.0)
    # A cell of the grid of holes: the transfer function of the orders alone repeats on it.
    t = np.arange(TULLE_NODES) / TULLE_NODES
    j, i = np.meshgrid(t, t, indexing="ij")
    x, y = mask.pitch_m * (i + j / 2), mask.pitch_m * j * math.sqrt(3) / 2
    still = replace(straight, jitter_m=0.0)
    spectrum = np.fft.fft2(hexagonal_otf(still, x, y, 1.0))
    m = np.fft.fftfreq(TULLE_NODES, 1 / TULLE_NODES)
    row, column = np.meshgrid(m, m, indexing="ij")
    # Cycles per pitch of the order (row, column).
    away = np.hypot(column, (2 * row - column) / math.sqrt(3))
    spectrum *= np.exp(-((2 * np.pi * mask.jitter_m / mask.pitch_m * away) ** 2))
    whole = np.fft.ifft2(spectrum).real[0, 0]
    spectrum[away < TULLE_ORDERS + 0.1] = 0
    table = np.fft.ifft2(spectrum).real
    own_m = _OWN_PITCHES * mask.pitch_m

    def rest(x_m: Array, y_m: Array) -> Array:
        c, s = math.cos(mask.angle_rad), math.sin(mask.angle_rad)
        u, v = c * x_m + s * y_m, c * y_m - s * x_m
        down = v / mask.pitch_m / (math.sqrt(3) / 2)
        values = _looked_up(table, down, u / mask.pitch_m - down / 2)
        if mask.jitter_m:
            near = np.hypot(u, v) < own_m
            pairs = own_pairs(straight, u[near], v[near])
            values[near] += (1 - whole) * pairs / own_pairs(straight, np.zeros(1), np.zeros(1))
        return values

    return rest


def _looked_up(table: Array, row: Array, column: Array) -> Array:
    """Value of a table that repeats, between its nodes on straight lines."""
    side = len(table)
    values = np.zeros(row.shape)
    for i, low in _two_pixels(row % 1 * side):
        for j, right in _two_pixels(column % 1 * side):
            values += low * right * table[i % side, j % side]
    return values


def tabulated(grating: Grating, largest_m: float) -> Callable[[Array], Array]:
    """Return a grating's correlation; if it is irregular, by a table of a 64th of a thread."""
    if not (grating.jitter_m or grating.drift_m):
        return partial(correlation, grating)
    step = grating.width_m / 64
    table = correlation(grating, np.arange(math.ceil(largest_m / step) + 2) * step)
    slopes = np.diff(table)

    def found(shift_m: Array) -> Array:
        at = np.abs(shift_m) / step
        node = at.astype(np.intp)
        return table[node] + slopes[node] * (at - node)

    return found
