"""Shapes of a halo: PSFs that deviate all light, in closed form."""

from __future__ import annotations

import math
from abc import abstractmethod
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
import scipy
from numpy.typing import ArrayLike

from frontglass.checks import check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.psf import FLUX_TOLERANCE, FloatArray, Psf, check_encircled_share

LARGEST_BETA = 50.0
# Beyond these arguments the functions are 0 or 1 to double precision, and beyond them
# too the special functions lose their arguments.
_HUGE = 1e8
_LARGEST_EXPONENT = 700.0


class Profile(Psf):
    """A PSF that deviates all light."""

    __slots__ = ()

    @property
    def direct(self) -> float:
        """0: all light is deviated."""
        return 0.0

    @abstractmethod
    def scaled(self, ratio: float) -> Self:
        """Return the same shape, `ratio` times as wide. [1], > 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaussian(Profile):
    """Normal distribution of angles: no tail.

    Parameters
    ----------
    sigma_rad : float
        Standard deviation along one axis. [rad], > 0.

    Notes
    -----
    density = exp(-r**2 / 2 sigma**2) / (2 pi sigma**2);
    transform = exp(-2 (pi sigma f)**2).
    """

    sigma_rad: float

    def __post_init__(self) -> None:
        check_positive("sigma_rad", self.sigma_rad)

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Light per solid angle [1/sr] at an angle r [rad]."""
        x = _ratio(r_rad, self.sigma_rad)
        return np.exp(-(x**2) / 2) / (2 * np.pi * self.sigma_rad**2)

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]."""
        return np.exp(-(_product(f_per_rad, 2 * np.pi * self.sigma_rad) ** 2) / 2)

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad]."""
        return -np.expm1(-(_ratio(radius_rad, self.sigma_rad) ** 2) / 2)

    def repeated(self, times: int) -> Gaussian:
        """Return what `times` deviations in a row give: variances add."""
        return Gaussian(sigma_rad=self.sigma_rad * math.sqrt(times))

    def scaled(self, ratio: float) -> Self:
        """Return the same shape, `ratio` times as wide."""
        return replace(self, sigma_rad=self.sigma_rad * ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exponential(Profile):
    """Profile whose transfer function is a plain exponential: a tail like r**-3.

    Parameters
    ----------
    scale_rad : float
        Core radius a. [rad], > 0.

    Notes
    -----
    density = (1 + r**2 / a**2)**-1.5 / (2 pi a**2); transform = exp(-2 pi a f).
    Computed transfer functions of scattering water follow this law [ZaneveldBeardsley1969].
    """

    scale_rad: float

    def __post_init__(self) -> None:
        check_positive("scale_rad", self.scale_rad)

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Light per solid angle [1/sr] at an angle r [rad]."""
        inverse = 1 / np.hypot(1.0, _ratio(r_rad, self.scale_rad))
        return inverse**3 / (2 * np.pi * self.scale_rad**2)

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]."""
        return np.exp(-_product(f_per_rad, 2 * np.pi * self.scale_rad))

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad]."""
        x = _ratio(radius_rad, self.scale_rad)
        h = np.hypot(1.0, x)
        within: FloatArray = (x / h) * (x / (1 + h))  # 1 - 1/h, without its cancellation near 0
        return within

    def repeated(self, times: int) -> Exponential:
        """Return what `times` deviations in a row give: scales add."""
        return Exponential(scale_rad=self.scale_rad * times)

    def scaled(self, ratio: float) -> Self:
        """Return the same shape, `ratio` times as wide."""
        return replace(self, scale_rad=self.scale_rad * ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moffat(Profile):
    """Core with a power-law tail, r**(-2 beta).

    Parameters
    ----------
    core_rad : float
        Core radius a. [rad], > 0.
    beta : float
        Half the exponent of the tail. [1], in (1, 50].

    Raises
    ------
    ParameterError
        If the tail would hold infinite flux, or is too steep to differ from a Gaussian.

    Notes
    -----
    density = (beta - 1) / (pi a**2) (1 + r**2 / a**2)**-beta;
    transform = 2 / Gamma(v) (x/2)**v K_v(x), with x = 2 pi a f and v = beta - 1.

    References
    ----------
    [Moffat1969].
    """

    core_rad: float
    beta: float

    def __post_init__(self) -> None:
        check_positive("core_rad", self.core_rad)
        check_number("beta", self.beta)
        if not self.beta > 1:
            hint = "At beta <= 1 the tail holds infinite flux."
            raise ParameterError("beta", f"in (1, {LARGEST_BETA:g}]", self.beta, hint)
        if self.beta > LARGEST_BETA:
            hint = "So steep a tail is a Gaussian."
            raise ParameterError("beta", f"in (1, {LARGEST_BETA:g}]", self.beta, hint)

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Light per solid angle [1/sr] at an angle r [rad]."""
        x = _ratio(r_rad, self.core_rad)
        peak = (self.beta - 1) / (np.pi * self.core_rad**2)
        return peak * np.exp(-self.beta * np.log1p(x**2))

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]."""
        order = self.beta - 1
        x = np.minimum(_product(f_per_rad, 2 * np.pi * self.core_rad), _LARGEST_EXPONENT)
        # In logarithms: K_v overflows where x**v underflows, long before their product does.
        safe = np.where(x > 0, x, 1.0)
        log_bessel = np.log(scipy.special.kve(order, safe)) - safe
        log_rest = (1 - order) * math.log(2) - math.lgamma(order) + order * np.log(safe)
        # Where even K_v alone overflows the transform is 1 to within 2e-12.
        known = (x > 0) & np.isfinite(log_bessel)
        return np.where(known, np.exp(np.where(known, log_bessel + log_rest, 0.0)), 1.0)

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad]."""
        x = _ratio(radius_rad, self.core_rad)
        return -np.expm1((1 - self.beta) * np.log1p(x**2))

    def encircled_radius_rad(self, share: float) -> float:
        """Radius [rad] of the circle that holds a share of the light, [1], in [0, 1)."""
        # Closed form, because near beta = 1 the radius is beyond any search.
        exponent = -math.log1p(-check_encircled_share(share)) / (self.beta - 1)
        return self.core_rad * math.sqrt(math.expm1(min(exponent, _LARGEST_EXPONENT)))

    def scaled(self, ratio: float) -> Self:
        """Return the same shape, `ratio` times as wide."""
        return replace(self, core_rad=self.core_rad * ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Airy(Profile):
    """Airy pattern: diffraction by round flecks of one size.

    Parameters
    ----------
    lambda_over_d_rad : float
        Wavelength over the diameter of a fleck. [rad], > 0.

    Notes
    -----
    density = pi / (4 L**2) (2 J1(x) / x)**2, with x = pi r / L and L = lambda / d;
    transform = (2/pi) (arccos v - v sqrt(1 - v**2)), with v = L f; 0 at v > 1.

    References
    ----------
    [BornWolf1999] sec. 8.5.2; [Goodman2005] sec. 6.3 for the transform.
    """

    lambda_over_d_rad: float

    def __post_init__(self) -> None:
        check_positive("lambda_over_d_rad", self.lambda_over_d_rad)

    @classmethod
    def from_diameter(cls, diameter_um: float, *, wavelength_nm: float = 540.0) -> Self:
        """Flecks of a diameter [um], at a wavelength [nm]."""
        check_positive("diameter_um", diameter_um)
        check_positive("wavelength_nm", wavelength_nm)
        return cls(lambda_over_d_rad=wavelength_nm * 1e-3 / diameter_um)

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Light per solid angle [1/sr] at an angle r [rad]."""
        x = np.pi * _ratio(r_rad, self.lambda_over_d_rad)
        # x is divided by as it is, so that the rings fade even where J1 is held still.
        safe = np.where(x > 0, np.minimum(x, _HUGE), 1.0)
        amplitude = np.where(x > 0, 2 * scipy.special.j1(safe) / np.where(x > 0, x, 1.0), 1.0)
        return np.pi / 4 / self.lambda_over_d_rad**2 * amplitude**2

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]."""
        v = np.minimum(_product(f_per_rad, self.lambda_over_d_rad), 1.0)
        overlap = np.arccos(v) - v * np.sqrt((1 - v) * (1 + v))
        return np.asarray(2 / np.pi * overlap, dtype=np.float64)

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad]."""
        x = np.pi * _ratio(radius_rad, self.lambda_over_d_rad)
        safe, small = np.minimum(x, _HUGE), np.minimum(x, 1e-3)
        beyond = scipy.special.j0(safe) ** 2 + scipy.special.j1(safe) ** 2
        # 1 - J0**2 - J1**2 cancels near 0.
        return np.where(x < 1e-3, small**2 / 4 * (1 - small**2 / 8), 1 - beyond)

    def scaled(self, ratio: float) -> Self:
        """Return the same shape, `ratio` times as wide."""
        return replace(self, lambda_over_d_rad=self.lambda_over_d_rad * ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cone(Profile):
    """Halo that falls in a straight line from its middle to nothing at a radius.

    Parameters
    ----------
    radius_rad : float
        Where it ends. [rad], > 0.

    Notes
    -----
    density = 3 / (pi R**2) (1 - r/R); share within r: 3 (r/R)**2 - 2 (r/R)**3;
    transform = 6 (int_0^q J0 / q**3 - J0(q) / q**2), with q = 2 pi R f, which equals
    3 pi / q**2 (J1(q) H0(q) - J0(q) H1(q)) with the Struve functions H.
    """

    radius_rad: float

    def __post_init__(self) -> None:
        check_positive("radius_rad", self.radius_rad)

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Light per solid angle [1/sr] at an angle r [rad]."""
        x = _ratio(r_rad, self.radius_rad)
        return 3 / (np.pi * self.radius_rad**2) * np.maximum(1 - x, 0.0)

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]."""
        q = _product(f_per_rad, 2 * np.pi * self.radius_rad)
        near, far = q < 3.0, q > _HUGE
        safe = np.where(near | far, 3.0, q)
        # By the integral of J0 rather than by Struve functions, which say the same 60 times
        # slower; its error of 2e-9 in the integral is below 3e-11 here.
        integral, _ = scipy.special.itj0y0(safe)
        middle = 6 * (integral / safe**3 - scipy.special.j0(safe) / safe**2)
        # Below _HUGE**-2.5, far under the rounding of anything it is added to.
        middle = np.where(far, 0.0, middle)
        return np.where(near, _cone_series(np.where(near, q, 0.0)), middle)

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad]."""
        x = np.minimum(_ratio(radius_rad, self.radius_rad), 1.0)
        return np.asarray(x**2 * (3 - 2 * x), dtype=np.float64)

    def scaled(self, ratio: float) -> Self:
        """Return the same shape, `ratio` times as wide."""
        return replace(self, radius_rad=self.radius_rad * ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture(Profile):
    """Several shapes at once, each with its share of the light.

    Parameters
    ----------
    shares : tuple of float
        Share of each profile. [1], >= 0, sum 1.
    profiles : tuple of Profile
        As many as shares.

    Raises
    ------
    ParameterError
        If numbers differ, a share is negative, or they do not sum to 1.
    """

    shares: tuple[float, ...]
    profiles: tuple[Profile, ...]

    def __post_init__(self) -> None:
        if not self.profiles or len(self.shares) != len(self.profiles):
            rule = f"one for each of the {len(self.profiles)} profiles, at least one"
            raise ParameterError("shares", rule, self.shares)
        for share in self.shares:
            if check_number("shares", share) < 0:
                raise ParameterError("shares", ">= 0 each", self.shares)
        if abs(math.fsum(self.shares) - 1) > FLUX_TOLERANCE:
            raise ParameterError("shares", "1 in sum", self.shares)

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Light per solid angle [1/sr] at an angle r [rad]."""
        return self._mean([profile.radial_density(r_rad) for profile in self.profiles])

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]."""
        return self._mean([profile.transform(f_per_rad) for profile in self.profiles])

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad]."""
        return self._mean([profile.encircled_flux(radius_rad) for profile in self.profiles])

    def scaled(self, ratio: float) -> Self:
        """Return the same shape, `ratio` times as wide."""
        return replace(self, profiles=tuple(profile.scaled(ratio) for profile in self.profiles))

    def _mean(self, values: list[FloatArray]) -> FloatArray:
        total = np.zeros(np.shape(values[0]))
        for share, value in zip(self.shares, values, strict=True):
            total += share * value
        return total


def _ratio(angle_rad: ArrayLike, unit_rad: float) -> FloatArray:
    # 1e150 squared is still finite, and as far as infinity for every profile.
    return np.minimum(np.asarray(angle_rad, dtype=np.float64) / unit_rad, 1e150)


def _product(f_per_rad: ArrayLike, unit_rad: float) -> FloatArray:
    return np.minimum(np.asarray(f_per_rad, dtype=np.float64) * unit_rad, 1e150)


def _cone_series(q: FloatArray) -> FloatArray:
    """Power series of the cone's transform; 20 terms end below 1e-17 at q = 3."""
    total = np.zeros_like(q)
    power = np.ones_like(q)
    for k in range(20):
        total += power * (6 / ((2 * k + 2) * (2 * k + 3)))
        power *= -(q**2) / 4 / (k + 1) ** 2
    return total
