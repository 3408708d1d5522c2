"""Light that air adds to a view ray: the published closed form, and one plain quadrature.

Nothing here comes from `frontglass.optics.air` but the numbers of an `Air`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frontglass.optics.air import Air

Array = NDArray[np.float64]


def hazed_radiance(radiance: ArrayLike, airlight: ArrayLike, kept: ArrayLike) -> Array:
    """Light of a surface seen through evenly lit air [Koschmieder1924].

    `kept` is the transmittance of the air before the surface, `airlight` the radiance of air
    without end.
    """
    share = np.asarray(kept, dtype=np.float64)
    return np.asarray(np.asarray(radiance) * share + np.asarray(airlight) * (1 - share))


def airlight_integral(depth: ArrayLike, angle_rad: ArrayLike) -> Array:
    """F(u, v): the integral of exp(-u tan x) over x from 0 to v.

    [Sun2005] eq. 10; tabulated there, by quadrature here.
    """
    u, v = np.asarray(depth, np.float64)[..., None], np.asarray(angle_rad, np.float64)[..., None]
    x, weight = np.polynomial.legendre.leggauss(128)
    return np.asarray((np.exp(-u * np.tan(v * (x + 1) / 2)) * weight).sum(-1) * v[..., 0] / 2)


def isotropic_lamp_airlight(
    air: Air, *, lamp_m: float, angle_rad: ArrayLike, surface_m: ArrayLike
) -> Array:
    """Radiance per intensity [1/m2] beside a lamp in air that scatters evenly, by closed form.

    [Sun2005] eq. 8-11, with one half before the arc tangent, as quadrature has it.
    """
    angle, surface = np.asarray(angle_rad, np.float64), np.asarray(surface_m, np.float64)
    depth = air.extinction_per_m * lamp_m
    across, along = np.sin(angle), np.cos(angle)
    level = air.scattering_per_m * np.exp(-depth * along) / (2 * math.pi * lamp_m * across)
    end = math.pi / 4 + np.arctan((surface / lamp_m - along) / across) / 2
    integral = airlight_integral(depth * across, end)
    return np.asarray(level * (integral - airlight_integral(depth * across, angle / 2)))


def lamp_airlight(
    air: Air, *, lamp_m: float, angle_rad: ArrayLike, surface_m: ArrayLike, steps: int = 64
) -> Array:
    """Radiance per intensity [1/m2] beside a lamp that shines evenly, scattered once.

    A sum over points of the ray, each at the angle b off the foot of the perpendicular from the
    lamp: x = foot + apart tan b, r = apart / cos b, so that dx / r**2 = db / apart.
    """
    angle, surface = np.broadcast_arrays(
        np.asarray(angle_rad, np.float64), np.asarray(surface_m, np.float64)
    )
    foot, apart = lamp_m * np.cos(angle), lamp_m * np.sin(angle)
    first, last = np.arctan2(-foot, apart), np.arctan((surface - foot) / apart)
    nodes, weights = np.polynomial.legendre.leggauss(steps)
    half = (last - first) / 2
    b = ((first + last) / 2)[..., None] + half[..., None] * nodes
    way_m = (foot[..., None] + apart[..., None] * np.tan(b)) + apart[..., None] / np.cos(b)
    # Light runs from the lamp to the point and turns against the ray: the cosine is -sin b.
    g = air.asymmetry
    phase = (1 - g * g) / (4 * math.pi * (1 + g * g + 2 * g * np.sin(b)) ** 1.5)
    light = (phase * np.exp(-air.extinction_per_m * way_m)) @ weights
    return np.asarray(air.scattering_per_m * light * half / apart)
