"""Bands of wavelengths: what one colour channel sees of a spectrum."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from frontglass.checks import check_positive
from frontglass.errors import ParameterError
from frontglass.optics.psf import FloatArray
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM

# What a Gaussian holds beyond five standard deviations is 6e-7 of it; 6e-5 beyond four would show
# beside a lamp.
REACH_SIGMAS = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Light of a colour channel: a Gaussian in wavelength.

    Parameters
    ----------
    centre_m : float
        Middle wavelength. [m], > 0.
    fwhm_m : float
        Full width at half maximum. [m], > 0, at most half of the middle wavelength.

    Raises
    ------
    ParameterError
        If a value is out of range.
    """

    centre_m: float
    fwhm_m: float

    def __post_init__(self) -> None:
        check_positive("centre_m", self.centre_m)
        if not check_positive("fwhm_m", self.fwhm_m) <= self.centre_m / 2:
            rule = f"at most half of the middle wavelength, {self.centre_m / 2:g}"
            raise ParameterError("fwhm_m", rule, self.fwhm_m)

    @property
    def sigma_m(self) -> float:
        """Standard deviation [m]."""
        return self.fwhm_m / math.sqrt(8 * math.log(2))

    def wavelengths(self, largest_step_m: float) -> tuple[FloatArray, FloatArray]:
        """Evenly spaced wavelengths that stand for the band.

        Parameters
        ----------
        largest_step_m : float
            Between neighbours, at most. [m], > 0.

        Returns
        -------
        wavelengths_m, shares : ndarray, shape (N,)
            N odd, at least 9; the shares of light sum to 1.
        """
        check_positive("largest_step_m", largest_step_m)
        half = max(4, math.ceil(REACH_SIGMAS * self.sigma_m / largest_step_m))
        z = np.linspace(-REACH_SIGMAS, REACH_SIGMAS, 2 * half + 1)
        shares = np.exp(-(z**2) / 2)
        return self.centre_m + self.sigma_m * z, shares / shares.sum()


CHANNEL_BANDS: tuple[Band, Band, Band] = (
    Band(centre_m=CHANNEL_WAVELENGTHS_NM[0] * 1e-9, fwhm_m=90e-9),
    Band(centre_m=CHANNEL_WAVELENGTHS_NM[1] * 1e-9, fwhm_m=90e-9),
    Band(centre_m=CHANNEL_WAVELENGTHS_NM[2] * 1e-9, fwhm_m=90e-9),
)
"""Red, green and blue as a sensor sees them: a measured one's are as wide to 12 nm [Colour0.4]."""
