"""Thin scatterers: light is deviated never, once, or several times, at random."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_not_negative, check_number, check_positive
from frontglass.optics.hankel import density_from_transform, encircled_from_transform
from frontglass.optics.profiles import Exponential, Gaussian, Profile
from frontglass.optics.psf import FloatArray, Psf

CHANNEL_WAVELENGTHS_NM = (600.0, 540.0, 465.0)
"""Middle of the red, green and blue channel [nm]; within 12 of a measured sensor's [Colour0.4]."""

REFERENCE_WAVELENGTH_NM = CHANNEL_WAVELENGTHS_NM[1]

DEEPEST_EXPM1 = 600.0
"""Optical depth up to which exp(tau) - 1 is a float; it overflows from 710 on."""


def optical_depth_at_wavelength(
    optical_depth: float, wavelength_nm: float, *, exponent: float
) -> float:
    """Optical depth at a wavelength, from the one at 540 nm.

    Parameters
    ----------
    optical_depth : float
        At 540 nm. [1], >= 0.
    wavelength_nm : float
        [nm], > 0.
    exponent : float
        Angstrom exponent: 4 for particles far smaller than the wavelength, 0 for ones
        far larger. [1].

    References
    ----------
    [Angstrom1929].
    """
    check_not_negative("optical_depth", optical_depth)
    ratio = _wavelength_ratio(wavelength_nm)
    return float(optical_depth * ratio ** -check_number("exponent", exponent))


def deviated_share(
    exponent: FloatArray, optical_depth: float, out: FloatArray | None = None
) -> FloatArray:
    """Transform of all deviated light: exp(-tau) (exp(sum tau_i K_i) - 1).

    Parameters
    ----------
    exponent : ndarray, any shape
        sum tau_i K_i, at most tau. [1].
    optical_depth : float
        tau, all of it. [1], >= 0.
    out : ndarray of the same shape or None
        Where it may be written.

    Examples
    --------
    >>> import numpy as np
    >>> [round(float(deviated_share(np.array(tau), tau)), 6) for tau in (0.5, 768.0)]
    [0.393469, 1.0]
    """
    if optical_depth <= DEEPEST_EXPM1:
        share = np.expm1(exponent, out=out)
        share *= math.exp(-optical_depth)
        return np.asarray(share)
    # Next to no light goes straight on, so nothing is lost by leaving it in until the end.
    share = np.exp(exponent - optical_depth, out=out)
    share -= math.exp(-optical_depth)
    return np.asarray(share)


def width_ratio_at_wavelength(wavelength_nm: float, *, exponent: float) -> float:
    """Width of a halo over its width at 540 nm.

    Parameters
    ----------
    wavelength_nm : float
        [nm], > 0.
    exponent : float
        1 for diffraction (red spreads wider), 0 for refraction. [1].
    """
    return float(_wavelength_ratio(wavelength_nm) ** check_number("exponent", exponent))


@dataclass(frozen=True, slots=True, kw_only=True)
class CompoundScatter(Psf):
    """A thin layer in which every deviation follows one profile.

    Parameters
    ----------
    optical_depth : float
        Mean number of deviations tau. [1], >= 0; depths of stacked layers add.
    profile : Profile
        Angles of one deviation, K.

    Raises
    ------
    ParameterError
        If the optical depth is negative or not finite.

    Notes
    -----
    OTF = exp(-tau (1 - transform of K)). The PSF is a compound Poisson sum, exp(-tau)
    tau**n / n! times K convolved n times with itself.

    References
    ----------
    [Wells1969]; [Ishimaru1978].
    """

    optical_depth: float
    profile: Profile

    def __post_init__(self) -> None:
        check_not_negative("optical_depth", self.optical_depth)

    @property
    def direct(self) -> float:
        """Share that passes undeviated."""
        return math.exp(-self.optical_depth)

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]."""
        return np.exp(-self.optical_depth * (1 - self.profile.transform(f_per_rad)))

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Deviated light per solid angle [1/sr] at an angle r [rad]."""
        if isinstance(self.profile, Gaussian | Exponential):
            total = np.zeros(np.shape(r_rad))
            for times, share in _poisson_terms(self.optical_depth):
                total += share * self.profile.repeated(times).radial_density(r_rad)
            return total
        once = self._single * self.profile.radial_density(r_rad)
        if not self._single:
            return once
        multiple = density_from_transform(self._multiple, r_rad, scale_rad=self._scale_rad)
        # Where no light goes the transform leaves rounding of either sign.
        return np.maximum(once + multiple, 0.0)

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad], direct light included."""
        within = np.full(np.shape(radius_rad), self.direct)
        if isinstance(self.profile, Gaussian | Exponential):
            for times, share in _poisson_terms(self.optical_depth):
                within += share * self.profile.repeated(times).encircled_flux(radius_rad)
            return within
        within += self._single * self.profile.encircled_flux(radius_rad)
        if self._single:
            within += encircled_from_transform(
                self._multiple, radius_rad, scale_rad=self._scale_rad
            )
        return np.asarray(np.clip(within, 0.0, 1.0), dtype=np.float64)

    @property
    def _single(self) -> float:
        return self.optical_depth * self.direct

    def _multiple(self, f_per_rad: FloatArray) -> FloatArray:
        """Transform of the light deviated twice or more.

        Only this needs a numeric route: single scatter, with all the cusps and edges of
        the profile, is known in closed form.
        """
        x = self.optical_depth * self.profile.transform(f_per_rad)
        # exp(x) - 1 - x cancels at small x.
        series = x**2 / 2 * (1 + x / 3 * (1 + x / 4 * (1 + x / 5 * (1 + x / 6))))
        full = np.exp(x - self.optical_depth) - self.direct * (1 + x)
        return np.where(np.abs(x) < 1e-2, self.direct * series, full)

    @property
    def _scale_rad(self) -> float:
        return self.profile.half_energy_radius_rad


def _poisson_terms(mean: float) -> Iterator[tuple[int, float]]:
    """Numbers n >= 1 with their Poisson probabilities, until the rest is below 1e-17."""
    if not mean:
        return
    last = math.ceil(mean + 12 * math.sqrt(mean) + 24)
    for times in range(1, last + 1):
        yield times, math.exp(times * math.log(mean) - mean - math.lgamma(times + 1))


def _wavelength_ratio(wavelength_nm: float) -> float:
    return check_positive("wavelength_nm", wavelength_nm) / REFERENCE_WAVELENGTH_NM
