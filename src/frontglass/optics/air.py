"""Air with droplets in it: what it takes away, what it adds, and how a lamp glows in it.

Everything here holds for air that is the same everywhere and for light scattered once. That is
the right model for a room, whose optical depth stays below about 0.3; beyond 1 most of the light
round a lamp has been scattered several times, and these formulas give too little of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_not_negative, check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.psf import FloatArray

OPTICAL_RANGE_CONTRAST = 0.05
"""Share of light left at the meteorological optical range."""
DROPLET_EXTINCTION_M2_PER_G = 4.98
"""Extinction of the default droplet per mass: glycol mist, refractive index 1.44, 1.05 g/cm3, mass
median diameter 1 um, geometric standard deviation 1.5, at 550 nm. By Mie theory."""


def transmittance(extinction_per_m: float, distance_m: ArrayLike) -> FloatArray:
    """Share of light that crosses air without being scattered or absorbed.

    Parameters
    ----------
    extinction_per_m : float
        [1/m], >= 0.
    distance_m : array_like, any shape
        [m], >= 0; inf gives 0 in air that is not clear.

    Returns
    -------
    ndarray
        exp(-extinction distance). [1], in [0, 1].
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    if extinction_per_m == 0:
        return np.ones_like(distance)
    return np.asarray(np.exp(-extinction_per_m * distance))


def optical_range_m(extinction_per_m: float) -> float:
    """Meteorological optical range of air [m]: where 5 % of a light is left.

    References
    ----------
    [CIE17] term 17-31-018.

    Examples
    --------
    >>> round(optical_range_m(0.02), 1)
    149.8
    """
    if extinction_per_m == 0:
        return math.inf
    return -math.log(OPTICAL_RANGE_CONTRAST) / extinction_per_m


def extinction_from_optical_range(range_m: float) -> float:
    """Extinction [1/m] of air with a meteorological optical range [m], > 0."""
    return -math.log(OPTICAL_RANGE_CONTRAST) / range_m


def droplet_load_mg_per_m3(extinction_per_m: float) -> float:
    """Mass of the default droplet in air of an extinction [mg/m3]; other mists differ widely."""
    return 1000 * extinction_per_m / DROPLET_EXTINCTION_M2_PER_G


def henyey_greenstein(cosine: ArrayLike, asymmetry: float) -> FloatArray:
    """Share of scattered light per solid angle [1/sr].

    Parameters
    ----------
    cosine : array_like
        Of the angle by which light is turned: 1 is straight on. [1], in [-1, 1].
    asymmetry : float
        Mean cosine. [1], in (-1, 1).

    Notes
    -----
    (1 - g**2) / (4 pi (1 + g**2 - 2 g cosine)**1.5): its integral over all directions is 1.

    References
    ----------
    [HenyeyGreenstein1941].
    """
    g = asymmetry
    below = 1 + g * g - 2 * g * np.asarray(cosine, dtype=np.float64)
    return np.asarray((1 - g * g) / (4 * math.pi * below * np.sqrt(below)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """Air with droplets in it, the same everywhere.

    Parameters
    ----------
    extinction_per_m : float
        Light taken from a ray per metre. [1/m], >= 0.
    albedo : float
        Share of that which is scattered, not absorbed. [1], in (0, 1].
    asymmetry : float
        Mean cosine of the angle of scattering. [1], in (-1, 1).
    """

    extinction_per_m: float
    albedo: float = 1.0
    asymmetry: float = 0.0

    def __post_init__(self) -> None:
        check_not_negative("extinction_per_m", self.extinction_per_m)
        if not 0 < check_number("albedo", self.albedo) <= 1:
            raise ParameterError("albedo", "in (0, 1]", self.albedo)
        if not -1 < check_number("asymmetry", self.asymmetry) < 1:
            raise ParameterError("asymmetry", "in (-1, 1)", self.asymmetry)

    @property
    def scattering_per_m(self) -> float:
        """Light scattered out of a ray per metre [1/m]."""
        return self.extinction_per_m * self.albedo


def angle_at_lamp_rad(lamp_m: float, angle_rad: ArrayLike, surface_m: ArrayLike) -> FloatArray:
    """Angle [rad], at a lamp, from the lens to the surface that a view ray meets."""
    angle, surface = np.asarray(angle_rad, np.float64), np.asarray(surface_m, np.float64)
    far = np.isinf(surface)
    near = np.where(far, 1.0, surface)
    met = np.arctan2(near * np.sin(angle), lamp_m - near * np.cos(angle))
    return np.asarray(np.where(far, math.pi - angle, met))


def turned_share(air: Air, lamp_m: float, angle_rad: FloatArray, u_rad: FloatArray) -> FloatArray:
    """Share of a lamp's light turned into the lens per angle at the lamp, and not lost on its way.

    Notes
    -----
    A point of the ray is named by the angle u at the lamp, between it and the lens. By the law of
    sines dx / r**2 is du / (lamp sin angle), and light there is turned by angle + u: the pole at
    the lamp is gone, and the integrand is smooth in u. It is the phase function at angle + u, times
    the transmittance of the way from the lamp to the point and on to the lens.
    """
    # (sin a + sin u) / sin(a + u) = cos((a - u) / 2) / cos((a + u) / 2), without 0 / 0.
    half = np.maximum(np.cos((angle_rad + u_rad) / 2), 1e-300)
    way_m = lamp_m * np.cos((angle_rad - u_rad) / 2) / half
    share = henyey_greenstein(np.cos(angle_rad + u_rad), air.asymmetry)
    return np.asarray(share * np.exp(-air.extinction_per_m * way_m))


class LampGlow:
    """Light that air adds to view rays beside a lamp that shines evenly, scattered once.

    Parameters
    ----------
    air : Air
        The air.
    lamp_m : float
        From the lens to the lamp. [m], > 0.
    widest_rad : float
        Largest angle from the lamp asked for. [rad], in (0, pi).

    Notes
    -----
    The integral of `turned_share` over u is tabulated over the angle from the lamp and the share of
    the way to u = pi - angle, both even. Straight interpolation between is right within 2e-4.
    """

    __slots__ = ("_level", "_table", "_widest", "lamp_m")

    ANGLES, PARTS = 160, 320

    def __init__(self, air: Air, lamp_m: float, widest_rad: float) -> None:
        check_positive("lamp_m", lamp_m)
        self.lamp_m = lamp_m
        self._widest = widest_rad
        self._level = air.scattering_per_m / lamp_m
        angle = np.linspace(0, widest_rad, self.ANGLES)[:, None, None]
        nodes, weights = np.polynomial.legendre.leggauss(3)
        part = (np.arange(self.PARTS)[:, None] + (nodes + 1) / 2) / self.PARTS
        u = (math.pi - angle) * part
        pieces = turned_share(air, lamp_m, angle, u) @ weights
        pieces *= (math.pi - angle[..., 0]) / (2 * self.PARTS)
        whole = np.cumsum(pieces, axis=1)
        self._table = np.concatenate([np.zeros_like(whole[:, :1]), whole], axis=1).ravel()

    def __call__(self, angle_rad: FloatArray, surface_m: FloatArray) -> FloatArray:
        """Radiance per intensity [1/m2] of rays at these angles > 0, up to these distances."""
        u = angle_at_lamp_rad(self.lamp_m, angle_rad, surface_m)
        row = angle_rad * ((self.ANGLES - 1) / self._widest)
        part = u * (self.PARTS / (math.pi - angle_rad))
        i = np.clip(row.astype(np.intp), 0, self.ANGLES - 2)
        j = np.clip(part.astype(np.intp), 0, self.PARTS - 1)
        row -= i
        part -= j
        at = i * (self.PARTS + 1) + j
        one, table = self.PARTS + 1, self._table
        near = table[at] + part * (table[at + 1] - table[at])
        at += one
        far = table[at] + part * (table[at + 1] - table[at])
        return np.asarray((near + row * (far - near)) * (self._level / np.sin(angle_rad)))
