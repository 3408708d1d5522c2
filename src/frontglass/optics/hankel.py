"""Radial density and encircled flux from a radial transform, by a numeric Hankel transform."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frontglass.optics.even_spline import EvenSpline

FloatArray = NDArray[np.float64]

# A step of 0.004 in log f resolves transforms that ring, such as a cone's, until they
# have fallen below 1e-6; 2**14 steps reach 14 decades to either side of the scale, so
# that the periodic copies that a logarithmic transform implies carry no light.
_STEP = 0.004
_STEPS = 2**14
# Radii are answered within 8.7 decades of the scale, away from the ends of the grid; what
# a heavy tail holds beyond them counts as held at once.
_REACH = 20.0


def density_from_transform(
    transform: Callable[[FloatArray], FloatArray], r_rad: ArrayLike, *, scale_rad: float
) -> FloatArray:
    """Light per solid angle [1/sr] whose radial transform is given.

    Parameters
    ----------
    transform : callable
        Transform of frequency [cycles/rad], falling to 0 faster than f**-2.
    r_rad : array_like
        Angles [rad], >= 0.
    scale_rad : float
        A radius of the order of the density's [rad], > 0.

    Returns
    -------
    ndarray, shape of `r_rad`
        2 pi int transform(f) J0(2 pi f r) f df.

    References
    ----------
    [Hamilton2000], for the transform on a logarithmic grid.
    """
    log_r, frequency, offset = _grids(scale_rad, order=0, bias=0.0)
    from scipy.fft import fht

    table = fht(transform(frequency) * frequency, _STEP, 0, offset=offset, bias=0.0)
    # fht gives int a(f) J0(k f) k df; with k = 2 pi r a factor r is left over.
    return _at(r_rad, log_r, table / np.exp(log_r), beyond=0.0)


def encircled_from_transform(
    transform: Callable[[FloatArray], FloatArray], radius_rad: ArrayLike, *, scale_rad: float
) -> FloatArray:
    """Light within a radius, from the radial transform of its density.

    Parameters
    ----------
    transform : callable
        Transform of frequency [cycles/rad], falling to 0 faster than f**-1.
    radius_rad : array_like
        Radii [rad], >= 0.
    scale_rad : float
        A radius of the order of the density's [rad], > 0.

    Returns
    -------
    ndarray, shape of `radius_rad`
        2 pi r int transform(f) J1(2 pi f r) df.

    References
    ----------
    [Hamilton2000], for the transform on a logarithmic grid.
    """
    bias = -1.0  # the transform is flat at f -> 0, the answer at r -> inf: tilt both down
    log_r, frequency, offset = _grids(scale_rad, order=1, bias=bias)
    from scipy.fft import fht

    table = fht(transform(frequency), _STEP, 1, offset=offset, bias=bias)
    total = float(transform(np.zeros(1))[0])
    within = _at(radius_rad, log_r, table, beyond=total)
    return np.where(np.asarray(radius_rad) > 0, within, 0.0)


def _grids(scale_rad: float, *, order: int, bias: float) -> tuple[FloatArray, FloatArray, float]:
    """Logarithms of radii, frequencies, and the offset that ties the two grids."""
    from scipy.fft import fhtoffset

    steps = (np.arange(_STEPS) - (_STEPS - 1) / 2) * _STEP
    offset = float(fhtoffset(_STEP, order, bias=bias))
    centre = -np.log(2 * np.pi * scale_rad)
    frequency = np.exp(centre + steps)
    # Centres obey k_c f_c = exp(offset), with k = 2 pi r.
    log_r = offset - centre - np.log(2 * np.pi) + steps
    return log_r, frequency, offset


def _at(r_rad: ArrayLike, log_r: FloatArray, table: FloatArray, *, beyond: float) -> FloatArray:
    """Table at radii, held below its reach and `beyond` it."""
    middle = log_r[log_r.size // 2]
    inner = np.abs(log_r - middle) <= _REACH
    low, high = np.exp(middle - _REACH), np.exp(middle + _REACH)
    r = np.asarray(r_rad, dtype=np.float64)
    own = log_r[inner]
    spline = EvenSpline(own[0], own[-1], table[inner])
    return np.where(r > high, beyond, spline(np.log(np.clip(r, low, high))))
