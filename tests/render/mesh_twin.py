"""A slow twin of nets and lines at any angle, in float64, from their transfer functions alone."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.elements import Lines, Net
from frontglass.optics.bands import CHANNEL_BANDS, Band
from frontglass.optics.gratings import Grating
from frontglass.optics.tulle import HexagonalNet

Array = NDArray[np.float64]
Rest = Callable[[Array, Array], Array]

ALIASES = 24
LEAST_WEIGHT = 1e-5
WAVELENGTHS = 64
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


def mesh_twin(
    plane: Array,
    mesh: Net | Lines,
    channel: int,
    px_per_rad: float,
    *,
    least_weight: float = LEAST_WEIGHT,
    wavelengths: int = WAVELENGTHS,
) -> Array:
    """One channel's light behind a mesh, mirrored for ever at the frame's edges.

    Nothing comes from `frontglass.render`, nor from a mask's dots. The frame is laid out with its
    mirror images, a period of twice its height and width. What averaging over the sending and the
    receiving pixel leaves of the transfer function at a frequency of that period is a sum over
    aliases, weighted by sinc(fx)**2 sinc(fy)**2, which sum to 1. Their tail is long, so that three
    parts are summed apart: the direct share, alike at all; what one grating deviates, whose mean
    over the band is in closed form and fades within a dozen periods; and the small rest,
    wavelength by wavelength, at aliases of at least `least_weight`.
    """
    mask = mesh.mask() if isinstance(mesh, Net) else mesh.mask(channel)
    band = CHANNEL_BANDS[channel]
    height, width = plane.shape
    big = np.block([[plane, plane[:, ::-1]], [plane[::-1], plane[::-1, ::-1]]])
    fx, fy = np.fft.rfftfreq(2 * width), np.fft.fftfreq(2 * height)
    size = fy.size * fx.size
    largest_m = 2 * ALIASES * px_per_rad * band.centre_m
    rest, arms = _tulle(mask) if isinstance(mask, HexagonalNet) else _crossed(mask, largest_m)
    transfer = np.full(size, mask.direct)
    for arm in arms:
        strip = _strip(fx, fy, arm, 12 * arm.grating.pitch_m / band.centre_m / px_per_rad)
        u = math.cos(arm.across_rad) * strip.fx + math.sin(arm.across_rad) * strip.fy
        values = arm.grating.band_transfer(px_per_rad * u, band) - arm.grating.direct
        transfer += arm.share * _summed(strip, values, size)
    near = _joined(_aliases(fx, fy, least_weight))
    values = _mean(rest, near, band, px_per_rad, wavelengths)
    transfer += _summed(near, values, size)
    spectrum = np.fft.rfft2(big) * transfer.reshape(fy.size, fx.size)
    return np.fft.irfft2(spectrum, s=big.shape)[:height, :width]


def _aliases(fx: Array, fy: Array, least: float) -> Iterator[_Samples]:
    """Samples of a weight; the outermost aliases stand for all beyond them."""
    numbers = np.arange(-ALIASES, ALIASES + 1)
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


def _strip(fx: Array, fy: Array, arm: _Arm, half_width: float) -> _Samples:
    c, s = math.cos(arm.across_rad), math.sin(arm.across_rad)
    parts = []
    for samples in _aliases(fx, fy, LEAST_WEIGHT / 1000):
        inside = np.abs(c * samples.fx + s * samples.fy) <= half_width
        if inside.any():
            parts.append(_Samples(*(column[inside] for column in samples)))
    return _joined(parts)


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


def _crossed(mask, largest_m: float) -> tuple[Rest, list[_Arm]]:
    """Split the product of several gratings' transfer functions."""
    crossed = mask._crossed
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


def _tulle(mask: HexagonalNet) -> tuple[Rest, list[_Arm]]:
    def rest(x_m: Array, y_m: Array) -> Array:
        return mask.otf(x_m, y_m, 1.0) - mask.direct

    return rest, []


def tabulated(grating: Grating, largest_m: float) -> Callable[[Array], Array]:
    """Return a grating's correlation; if it is irregular, by a table of a 64th of a thread."""
    if not (grating.jitter_m or grating.drift_m):
        return grating.correlation
    step = grating.width_m / 64
    table = grating.correlation(np.arange(math.ceil(largest_m / step) + 2) * step)
    slopes = np.diff(table)

    def found(shift_m: Array) -> Array:
        at = np.abs(shift_m) / step
        node = at.astype(np.intp)
        return table[node] + slopes[node] * (at - node)

    return found
