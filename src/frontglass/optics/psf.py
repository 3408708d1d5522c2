"""Point spread functions: where light goes, as functions of field angle."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frontglass.checks import check_number
from frontglass.errors import ParameterError
from frontglass.optics.hankel import density_from_transform, encircled_from_transform

FloatArray = NDArray[np.float64]

# Shares that are written as decimals and summed miss 1 by a few units of 2**-53.
FLUX_TOLERANCE = 1e-12


class Psf(ABC):
    """Direct light plus deviated light, per unit of light that enters.

    `direct` is the part that passes undeviated, `density` [1/sr] says where the rest
    goes; there is no delta function anywhere. Angles are small: a solid angle is
    dx dy in radians.
    """

    __slots__ = ()

    @property
    @abstractmethod
    def flux(self) -> float:
        """All light that leaves over light that enters. [1], in (0, 1]."""

    @property
    @abstractmethod
    def direct(self) -> float:
        """Undeviated light over light that enters. [1], in [0, flux]."""

    @abstractmethod
    def density(self, x_rad: ArrayLike, y_rad: ArrayLike) -> FloatArray:
        """Deviated light per solid angle [1/sr] at (x, y) [rad]; integral: flux - direct."""

    @abstractmethod
    def otf(self, fx: ArrayLike, fy: ArrayLike) -> FloatArray:
        """Optical transfer function at (fx, fy) [cycles/rad], 1 at the origin."""

    @abstractmethod
    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the flux within a radius [rad], direct light included; in [0, 1]."""

    def encircled_radius_rad(self, share: float) -> float:
        """Radius [rad] of the circle that holds a share of the flux.

        Parameters
        ----------
        share : float
            Share of the flux. [1], in [0, 1).

        Returns
        -------
        float
            The radius; 0 where the direct light alone is more than the share.

        Raises
        ------
        ParameterError
            If the share is outside [0, 1).
        """
        wanted = check_encircled_share(share)
        if wanted * self.flux <= self.direct:
            return 0.0
        # Many radii at a time, because a call costs about the same for one as for a
        # hundred where the encircled flux comes from a numeric transform.
        low, high = math.log(1e-15), math.log(1e15)
        for _ in range(7):
            grid = np.linspace(low, high, 129)
            above = np.flatnonzero(self.encircled_flux(np.exp(grid)) >= wanted)
            if not above.size:
                raise ParameterError("share", "within reach of 1e15 rad", share)
            low, high = float(grid[max(int(above[0]) - 1, 0)]), float(grid[above[0]])
        return float(np.exp((low + high) / 2))

    @property
    def half_energy_radius_rad(self) -> float:
        """Radius [rad] of the circle that holds half of the flux."""
        return self.encircled_radius_rad(0.5)


class RadialPsf(Psf):
    """A PSF that is the same all round, known by its radial functions.

    Round PSFs add (light splits between two ways), multiply by a transmittance (light
    is lost) and follow one another in a `Cascade`.
    """

    __slots__ = ()

    @abstractmethod
    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Deviated light per solid angle [1/sr] at an angle r >= 0 [rad]."""

    @abstractmethod
    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function along any radius, at f >= 0 [cycles/rad]; 1 at f = 0."""

    def density(self, x_rad: ArrayLike, y_rad: ArrayLike) -> FloatArray:
        """Deviated light per solid angle [1/sr] at (x, y) [rad]."""
        return self.radial_density(np.hypot(x_rad, y_rad))

    def otf(self, fx: ArrayLike, fy: ArrayLike) -> FloatArray:
        """Optical transfer function at (fx, fy) [cycles/rad]; real, as the PSF is even."""
        return self.transform(np.hypot(fx, fy))

    def __add__(self, other: RadialPsf) -> Split:
        if not isinstance(other, RadialPsf):
            return NotImplemented
        return Split(parts=(*_parts_of(self), *_parts_of(other)))

    def __mul__(self, transmittance: float) -> Dimmed:
        return Dimmed(psf=self, transmittance=transmittance)

    def __rmul__(self, transmittance: float) -> Dimmed:
        return Dimmed(psf=self, transmittance=transmittance)


@dataclass(frozen=True, slots=True)
class Undeviated(RadialPsf):
    """Nothing in the way: all light passes straight on."""

    @property
    def flux(self) -> float:
        """1."""
        return 1.0

    @property
    def direct(self) -> float:
        """1."""
        return 1.0

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Zero everywhere: no light is deviated."""
        return np.zeros(np.shape(r_rad))

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """1 at every frequency."""
        return np.ones(np.shape(f_per_rad))

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """1 at every radius."""
        return np.ones(np.shape(radius_rad))


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimmed(RadialPsf):
    """A round PSF some of whose light is lost, wherever it goes.

    Parameters
    ----------
    psf : RadialPsf
        The way the remaining light spreads.
    transmittance : float
        Light kept. [1], in (0, 1].

    Raises
    ------
    ParameterError
        If the transmittance is outside (0, 1].
    """

    psf: RadialPsf
    transmittance: float

    def __post_init__(self) -> None:
        number = check_number("transmittance", self.transmittance)
        if not 0 < number <= 1:
            raise ParameterError("transmittance", "in (0, 1]", self.transmittance)

    @property
    def flux(self) -> float:
        """All light that leaves over light that enters."""
        return self.transmittance * self.psf.flux

    @property
    def direct(self) -> float:
        """Undeviated light over light that enters."""
        return self.transmittance * self.psf.direct

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Deviated light per solid angle [1/sr] at an angle r [rad]."""
        return self.transmittance * self.psf.radial_density(r_rad)

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]; light lost does not change it."""
        return self.psf.transform(f_per_rad)

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the flux within a radius [rad]; light lost does not change it."""
        return self.psf.encircled_flux(radius_rad)


@dataclass(frozen=True, slots=True, kw_only=True)
class Split(RadialPsf):
    """Light that goes several ways at once; what none of them takes is lost.

    Parameters
    ----------
    parts : tuple of RadialPsf
        The ways, each with the flux that takes it; at least one, sum of fluxes <= 1.

    Raises
    ------
    ParameterError
        If there is no part, or more light would leave than enters.
    """

    parts: tuple[RadialPsf, ...]

    def __post_init__(self) -> None:
        if not self.parts:
            raise ParameterError("parts", "at least one PSF", self.parts)
        if self.flux > 1 + FLUX_TOLERANCE:
            hint = "Dim each way by its share: 0.8 * Undeviated() + 0.2 * halo."
            raise ParameterError("sum of fluxes", "<= 1", self.flux, hint)

    @property
    def flux(self) -> float:
        """All light that leaves over light that enters."""
        return sum(part.flux for part in self.parts)

    @property
    def direct(self) -> float:
        """Undeviated light over light that enters."""
        return sum(part.direct for part in self.parts)

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Deviated light per solid angle [1/sr] at an angle r [rad]."""
        return _total([part.radial_density(r_rad) for part in self.parts])

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]: mean of the parts by flux."""
        return _total([part.flux * part.transform(f_per_rad) for part in self.parts]) / self.flux

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the flux within a radius [rad]: mean of the parts by flux."""
        shares = [part.flux * part.encircled_flux(radius_rad) for part in self.parts]
        return _total(shares) / self.flux


@dataclass(frozen=True, slots=True, kw_only=True)
class Cascade(RadialPsf):
    """One round PSF after another: the light that leaves the first enters the second.

    Parameters
    ----------
    first, second : RadialPsf
        In either order; round PSFs commute.

    Notes
    -----
    With s and t the parts' deviated light, the deviated light of the cascade is
    direct_1 t + direct_2 s + s * t. Only the convolution s * t needs a numeric
    transform, and it is the smoothest of the three.
    """

    first: RadialPsf
    second: RadialPsf

    @property
    def flux(self) -> float:
        """All light that leaves over light that enters."""
        return self.first.flux * self.second.flux

    @property
    def direct(self) -> float:
        """Undeviated light over light that enters."""
        return self.first.direct * self.second.direct

    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Deviated light per solid angle [1/sr] at an angle r [rad]."""
        once = self.first.direct * self.second.radial_density(
            r_rad
        ) + self.second.direct * self.first.radial_density(r_rad)
        if not self._twice_flux:
            return once
        twice = density_from_transform(self._twice, r_rad, scale_rad=self._scale_rad)
        # Where no light goes the transform leaves rounding of either sign.
        return np.maximum(once + twice, 0.0)

    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Transfer function at f [cycles/rad]: product of the two."""
        return self.first.transform(f_per_rad) * self.second.transform(f_per_rad)

    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the flux within a radius [rad]."""
        first, second = self.first, self.second
        # Encircled flux counts direct light, so the product of the direct shares would
        # be counted twice.
        within = (
            first.direct * second.flux * second.encircled_flux(radius_rad)
            + second.direct * first.flux * first.encircled_flux(radius_rad)
            - self.direct
        )
        if self._twice_flux:
            within = within + encircled_from_transform(
                self._twice, radius_rad, scale_rad=self._scale_rad
            )
        return np.clip(within / self.flux, 0.0, 1.0)

    @property
    def _twice_flux(self) -> float:
        """Light deviated by both."""
        first, second = self.first, self.second
        return (first.flux - first.direct) * (second.flux - second.direct)

    def _twice(self, f_per_rad: FloatArray) -> FloatArray:
        """Transform of the light deviated by both; its flux at f = 0."""
        first, second = self.first, self.second
        once = first.flux * first.transform(f_per_rad) - first.direct
        return once * (second.flux * second.transform(f_per_rad) - second.direct)

    @property
    def _scale_rad(self) -> float:
        """A radius of the order of the halo's."""
        return max(deviated_radius_rad(self.first), deviated_radius_rad(self.second))


def deviated_radius_rad(psf: Psf) -> float:
    """Radius [rad] of the circle that holds half of the deviated light of a PSF."""
    direct_share = psf.direct / psf.flux
    return psf.encircled_radius_rad(direct_share + (1 - direct_share) / 2)


def check_encircled_share(share: float) -> float:
    """Return `share` as a float in [0, 1), else raise ParameterError."""
    number = check_number("share", share)
    if not 0 <= number < 1:
        raise ParameterError("share", "in [0, 1)", share)
    return number


def _parts_of(psf: RadialPsf) -> tuple[RadialPsf, ...]:
    return psf.parts if isinstance(psf, Split) else (psf,)


def _total(terms: list[FloatArray]) -> FloatArray:
    return np.asarray(np.sum(terms, axis=0), dtype=np.float64)
