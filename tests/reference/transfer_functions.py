"""Transfer functions of masks at one wavelength, in closed form: what nets are held to."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frontglass.optics.bands import Band
from frontglass.optics.gratings import Grating, triangle_through_gaussian
from frontglass.optics.masks import CrossedGratings, CrossedMask, PupilMask
from frontglass.optics.tulle import HexagonalNet

Array = NDArray[np.float64]

_NORMALS = np.radians([0.0, 60.0, 120.0])
_TABLE_SIDE = 512


def correlation(grating: Grating, shift_m: ArrayLike) -> Array:
    """Transfer function of a grating at shifts wavelength x frequency [m]; 1 at 0."""
    shift = np.abs(np.asarray(shift_m, dtype=np.float64))
    if not grating.width_m:
        return np.ones_like(shift)
    if not (grating.jitter_m or grating.drift_m):
        away = np.abs(shift - grating.pitch_m * np.rint(shift / grating.pitch_m))
        lost = np.minimum(away, grating.width_m) / grating.pitch_m
        return np.asarray(1 - grating.contrast / grating.transmittance * lost)
    # A band without width: a few wavelengths' worth of shift at one frequency.
    narrow = Band(centre_m=540e-9, fwhm_m=1e-16)
    return grating.band_transfer(shift / narrow.centre_m, narrow)


def mask_otf(
    mask: PupilMask | CrossedGratings, fx: ArrayLike, fy: ArrayLike, wavelength_m: float
) -> Array:
    """Transfer function at (fx, fy) [cycles/rad], 1 at the origin."""
    if isinstance(mask, HexagonalNet):
        return hexagonal_otf(mask, fx, fy, wavelength_m)
    assert isinstance(mask, CrossedMask | CrossedGratings)
    crossed = mask.crossed if isinstance(mask, CrossedMask) else mask
    total = np.ones(np.broadcast_shapes(np.shape(fx), np.shape(fy)))
    for grating, angle in zip(crossed.gratings, crossed.across_rad, strict=True):
        across = math.cos(angle) * np.asarray(fx) + math.sin(angle) * np.asarray(fy)
        total *= correlation(grating, wavelength_m * across)
    return total


def hexagonal_otf(net: HexagonalNet, fx: ArrayLike, fy: ArrayLike, wavelength_m: float) -> Array:
    """Transfer function of tulle: overlaps of its holes, jitter as a factor of its orders."""
    c, s = math.cos(net.angle_rad), math.sin(net.angle_rad)
    x, y = (wavelength_m * np.asarray(f, dtype=np.float64) for f in (fx, fy))
    u, v = np.broadcast_arrays(c * x + s * y, c * y - s * x)
    if not net.width_m:
        return np.ones(u.shape)
    if not net.jitter_m:
        return perfect_overlap(net, u, v)
    table = jittered_table(net)
    zero = np.zeros(1)
    own = float((1 - table[0, 0]) / own_pairs(net, zero, zero)[0])
    return _from_cell(table, u / net.pitch_m, v / net.pitch_m) + own * own_pairs(net, u, v)


def perfect_overlap(net: HexagonalNet, u_m: Array, v_m: Array) -> Array:
    """Overlap of the holes with themselves, shifted, over their area."""
    side = (net.pitch_m - net.width_m) / net.pitch_m
    x, y = _to_nearest_hole(u_m / net.pitch_m, v_m / net.pitch_m)
    total = _hexagon_overlap(x, y, side)
    for a in np.radians([0, 60, 120, 180, 240, 300]):
        total += _hexagon_overlap(x - math.cos(a), y - math.sin(a), side)
    return total / (math.sqrt(3) / 2 * side**2)


def jittered_table(net: HexagonalNet) -> Array:
    """Transfer function of the orders alone over one cell of the grid, first kind jitter."""
    t = np.arange(_TABLE_SIDE) / _TABLE_SIDE
    i, j = np.meshgrid(t, t)
    x, y = i + j / 2, j * math.sqrt(3) / 2
    table = perfect_overlap(net, x * net.pitch_m, y * net.pitch_m)
    k = np.fft.fftfreq(_TABLE_SIDE, 1 / _TABLE_SIDE)
    nu_x, nu_y = reciprocal(net, *np.meshgrid(k, k))
    return np.asarray(np.fft.ifft2(np.fft.fft2(table) * net.debye_waller(nu_x, nu_y)).real)


def reciprocal(net: HexagonalNet, i: Array, j: Array) -> tuple[Array, Array]:
    """Frequencies [cycles/m] of the orders (i, j), in the net's own directions."""
    return i / net.pitch_m, (2 * j - i) / (math.sqrt(3) * net.pitch_m)


def own_pairs(net: HexagonalNet, u_m: Array, v_m: Array) -> Array:
    """Overlap of pieces of thread with themselves [m2], less the same blurred by jitter.

    Pieces that move each on its own stay where they are to themselves only.
    """
    still, moved = np.array(0.0), np.array(math.sqrt(2) * net.jitter_m)
    total = np.zeros(np.shape(u_m))
    for a in _NORMALS:
        across = u_m * math.cos(a) + v_m * math.sin(a)
        along = v_m * math.cos(a) - u_m * math.sin(a)
        for sigma, sign in ((still, 1.0), (moved, -1.0)):
            total += (
                sign
                * triangle_through_gaussian(across, net.width_m, sigma)
                * triangle_through_gaussian(along, net.thread_length_m, sigma)
            )
    return total


def _to_nearest_hole(x: Array, y: Array) -> tuple[Array, Array]:
    """Shift by whole steps of the hexagonal grid of pitch 1, to within its cell or next to it."""
    j = np.rint(y / (math.sqrt(3) / 2))
    y = y - j * (math.sqrt(3) / 2)
    x = x - j / 2
    x = x - np.rint(x)
    return x, y


def _hexagon_overlap(x: Array, y: Array, side: float) -> Array:
    """Area that two regular hexagons, `side` from flat to flat, share at a shift (x, y).

    It is where three strips cross, centred half way: |r . n_k| <= h_k. Two of them cross in a
    parallelogram, of which the third cuts two corners; it is no wider than the strip through both.
    """
    h = [np.maximum(side - np.abs(x * math.cos(a) + y * math.sin(a)), 0.0) / 2 for a in _NORMALS]
    # With a = r . n_0 and b = r . n_1, r . n_2 = b - a.
    corner = np.maximum(h[0] + h[1] - h[2], 0.0) ** 2
    corner -= np.maximum(h[1] - h[0] - h[2], 0.0) ** 2
    corner -= np.maximum(h[0] - h[1] - h[2], 0.0) ** 2
    area = (4 * h[0] * h[1] - corner) / math.sin(math.pi / 3)
    return np.asarray(np.maximum(area, 0.0))


def _from_cell(table: Array, x: Array, y: Array) -> Array:
    """Value of a table over one cell of the grid of pitch 1, linear between its nodes."""
    from scipy.ndimage import map_coordinates

    j = y / (math.sqrt(3) / 2)
    i = x - j / 2
    at = np.stack([np.ravel(j % 1.0), np.ravel(i % 1.0)]) * _TABLE_SIDE
    found = map_coordinates(table, at, order=1, mode="grid-wrap")
    return np.asarray(found.reshape(np.shape(x)))
