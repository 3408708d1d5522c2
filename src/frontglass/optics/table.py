"""A shape of a halo that was measured: densities at angles."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_not_negative, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.even_spline import EvenSpline
from frontglass.optics.hankel import density_from_transform
from frontglass.optics.profiles import Profile
from frontglass.optics.psf import FloatArray

if TYPE_CHECKING:
    from scipy.interpolate import PPoly

MOST_ROWS = 256
"""Rows of a table: a row per percent of angle over more than one decade, or 25 per decade."""
_TABLE_STEP = 0.01
_TABLE_REACH = 12.0
"""The transform is tabulated at this step of ln f, this far to either side of its scale."""


class _Curve(NamedTuple):
    """Light per unit of ln r, ``2 pi r^2 d(r)``, its integral, and what lies within the first."""

    per_log: PPoly
    up_to: PPoly
    within_first: float
    whole: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Table(Profile):
    """Profile that is known at some angles.

    Parameters
    ----------
    angles_rad : tuple of float
        Rising; two to 256. [rad], > 0.
    densities : tuple of float
        Light per solid angle at each, up to a common factor; the last is 0. [1], >= 0.

    Raises
    ------
    ParameterError
        If the numbers of both differ, angles do not rise, or there is no light.

    Notes
    -----
    Within the first angle the density is even, beyond the last there is none. Between, light per
    unit of ln r, ``2 pi r**2 d(r)``, is the monotone cubic through the values [FritschCarlson1980]:
    smooth, nowhere negative, and close to a power law where the values follow one.

    References
    ----------
    [FritschCarlson1980]; [Hamilton2000] for the transform.
    """

    angles_rad: tuple[float, ...]
    densities: tuple[float, ...]

    def __post_init__(self) -> None:
        check_rising("angles_rad", self.angles_rad)
        check_densities("densities", self.densities, len(self.angles_rad))

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Light per solid angle [1/sr] at an angle r [rad]."""
        curve = _curve(self)
        r = np.asarray(r_rad, dtype=np.float64)
        low, high = self.angles_rad[0], self.angles_rad[-1]
        held = np.clip(r, low, high)
        density = np.maximum(curve.per_log(np.log(held)), 0) / (2 * np.pi * held**2 * curve.whole)
        return np.where(r > high, 0.0, density)

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]."""
        low, at = _transform_table(self)
        f = np.asarray(f_per_rad, dtype=np.float64)
        # Below the table the transform is 1 to rounding; beyond it, 0.
        seen = at(np.log(np.clip(f, low, low * math.exp(2 * _TABLE_REACH))))
        return np.where(f > low * math.exp(2 * _TABLE_REACH), 0.0, np.where(f < low, 1.0, seen))

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad]."""
        curve = _curve(self)
        r = np.asarray(radius_rad, dtype=np.float64)
        low, high = self.angles_rad[0], self.angles_rad[-1]
        rest = curve.up_to(np.log(np.clip(r, low, high)))
        within = curve.within_first * np.minimum(r / low, 1.0) ** 2 + rest
        return np.asarray(np.minimum(within / curve.whole, 1.0), dtype=np.float64)

    def scaled(self, ratio: float) -> Self:
        """Return the same shape, `ratio` times as wide."""
        return replace(self, angles_rad=tuple(angle * ratio for angle in self.angles_rad))


def check_rising(name: str, angles: object) -> None:
    """Raise ParameterError unless these are two angles or more, rising from above zero."""
    if not isinstance(angles, tuple) or not 2 <= len(angles) <= MOST_ROWS:
        raise ParameterError(name, f"a tuple of 2 to {MOST_ROWS} angles", angles)
    for before, after in zip((0.0, *angles[:-1]), angles, strict=True):
        if not check_positive(name, after) > before:
            raise ParameterError(name, "rising", after, f"It comes after {before:g}.")


def check_densities(name: str, densities: object, count: int) -> None:
    """Raise ParameterError unless these are as many densities, of which the last is 0."""
    if not isinstance(densities, tuple) or len(densities) != count:
        got = len(densities) if isinstance(densities, tuple) else densities
        raise ParameterError(name, f"one for each of the {count} angles", got)
    for density in densities:
        check_not_negative(name, density)
    if densities[-1] != 0:
        hint = "Beyond the last angle there is no light; a step would be seen as an edge."
        raise ParameterError(name, "0 at the last angle", densities[-1], hint)
    if not max(densities) > 0:
        raise ParameterError(name, "above 0 somewhere", 0)


@lru_cache(maxsize=64)
def _curve(table: Table) -> _Curve:
    from scipy.interpolate import PchipInterpolator

    angles = np.array(table.angles_rad) / table.angles_rad[0]
    # Relative to the first angle and the largest value: no square under- or overflows.
    density = np.array(table.densities) / max(table.densities)
    light = 2 * np.pi * angles**2 * density
    per_log = PchipInterpolator(np.log(table.angles_rad), light)
    up_to = per_log.antiderivative()
    within_first = float(light[0]) / 2
    whole = within_first + float(up_to(math.log(table.angles_rad[-1])))
    return _Curve(per_log, up_to, within_first, whole)


@lru_cache(maxsize=64)
def _transform_table(table: Table) -> tuple[float, Callable[[FloatArray], FloatArray]]:
    """Lowest frequency [cycles/rad] of the table, and the transform as a function of ln f."""
    scale = 1 / (2 * np.pi * table.half_energy_radius_rad)
    # A transform of two dimensions is its own inverse: density and transform change places.
    log_f = math.log(scale) + np.arange(-_TABLE_REACH, _TABLE_REACH, _TABLE_STEP)
    values = density_from_transform(table.radial_density, np.exp(log_f), scale_rad=scale)
    values /= values[0]
    return math.exp(log_f[0]), EvenSpline(log_f[0], log_f[-1], values)
