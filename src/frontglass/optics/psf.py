"""Point spread functions: where light goes, as functions of field angle."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frontglass.checks import check_number
from frontglass.errors import ParameterError

FloatArray = NDArray[np.float64]

# Shares that are written as decimals and summed miss 1 by a few units of 2**-53.
FLUX_TOLERANCE = 1e-12


class Psf(ABC):
    """Direct light plus deviated light, the same all round; no light is lost.

    `direct` is the part that passes undeviated, `radial_density` [1/sr] says where the rest
    goes; there is no delta function anywhere. Angles are small: a solid angle is
    dx dy in radians.
    """

    __slots__ = ()

    @property
    @abstractmethod
    def direct(self) -> float:
        """Undeviated light over light that enters. [1], in [0, 1]."""

    @abstractmethod
    def radial_density(self, r_rad: ArrayLike) -> FloatArray:
        """Deviated light per solid angle [1/sr] at an angle r >= 0 [rad]; integral: 1 - direct."""

    @abstractmethod
    def transform(self, f_per_rad: ArrayLike) -> FloatArray:
        """Optical transfer function along any radius, at f >= 0 [cycles/rad]; 1 at f = 0."""

    @abstractmethod
    def encircled_flux(self, radius_rad: ArrayLike) -> FloatArray:
        """Share of the light within a radius [rad], direct light included; in [0, 1]."""

    def encircled_radius_rad(self, share: float) -> float:
        """Radius [rad] of the circle that holds a share of the light.

        Parameters
        ----------
        share : float
            Share of the light. [1], in [0, 1).

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
        if wanted <= self.direct:
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
        """Radius [rad] of the circle that holds half of the light."""
        return self.encircled_radius_rad(0.5)


def deviated_radius_rad(psf: Psf) -> float:
    """Radius [rad] of the circle that holds half of the deviated light of a PSF."""
    return psf.encircled_radius_rad(psf.direct + (1 - psf.direct) / 2)


def check_encircled_share(share: float) -> float:
    """Return `share` as a float in [0, 1), else raise ParameterError."""
    number = check_number("share", share)
    if not 0 <= number < 1:
        raise ParameterError("share", "in [0, 1)", share)
    return number
