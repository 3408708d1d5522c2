"""Structure in a halo: the needles that a finite pupil leaves of a filter's flecks.

A halo is smooth only on average. Through a finite pupil the flecks of one footprint interfere, and
a lamp's halo is speckle, drawn out into needles by the band of wavelengths. When the camera moves,
the pupil slides over other flecks and the needles boil.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frontglass.checks import check_not_negative, check_positive
from frontglass.optics.psf import FloatArray

Complex = NDArray[np.complex128]

PUPIL_CELLS = 128
"""Diameter of the pupil in cells of the mask."""
MASK_CELLS = 1024
PATTERN_CELLS = 384
"""Side of a pattern; three samples a needle's width."""


def halo_correlation(shift_in_pupils: ArrayLike) -> FloatArray:
    """Correlation of a halo's structure before and after the pupil has moved. [1], in [0, 1].

    Parameters
    ----------
    shift_in_pupils : array_like
        How far the footprint moved over its diameter. [1]

    Notes
    -----
    The square of the share of the footprint that both have in common, the transfer function of a
    round pupil.

    References
    ----------
    [Goodman2007] sec. 5.2, on speckle when a rough surface moves across a spot.

    Examples
    --------
    >>> [round(float(c), 3) for c in halo_correlation([0.125, 0.25, 1.0])]
    [0.708, 0.469, 0.0]
    """
    v = np.clip(np.abs(np.asarray(shift_in_pupils, dtype=np.float64)), 0.0, 1.0)
    overlap = 2 / math.pi * (np.arccos(v) - v * np.sqrt(1 - v**2))
    return np.asarray(overlap**2)


def needle_contrast(
    angle_rad: ArrayLike,
    *,
    pupil_m: float,
    wavelength_m: float,
    band_m: float,
    pixel_rad: float,
    source_rad: float = 0.0,
) -> FloatArray:
    """Contrast of a halo's structure: its standard deviation over its mean. [1], in (0, 1].

    Parameters
    ----------
    angle_rad : array_like
        From the lamp. [rad], >= 0.
    pupil_m, wavelength_m, band_m : float
        Diameter of the pupil, middle of the band, its width. [m], > 0.
    pixel_rad : float
        Angle of a pixel. [rad], > 0.
    source_rad : float
        Angle of the lamp. [rad], >= 0.

    Notes
    -----
    ``1 / sqrt(M)`` with M the number of patterns averaged: over wavelengths ``1 + angle pupil
    band / wavelength**2``, over a pixel and over the lamp ``1 + (width pupil / wavelength)**2``
    each. An order of magnitude, not a measurement.
    """
    grain = check_positive("wavelength_m", wavelength_m) / check_positive("pupil_m", pupil_m)
    stretched = np.abs(np.asarray(angle_rad)) * check_not_negative("band_m", band_m)
    colours = 1 + stretched / (grain * wavelength_m)
    pixels = 1 + (check_positive("pixel_rad", pixel_rad) / grain) ** 2
    lamp = 1 + (check_not_negative("source_rad", source_rad) / grain) ** 2
    return np.asarray(1 / np.sqrt(colours * pixels * lamp))


@dataclass(frozen=True, slots=True)
class FleckedFilter:
    """A filter strewn with fine random flecks, and the pattern that each footprint on it makes.

    Parameters
    ----------
    seed : int
        The same number is the same filter.
    """

    seed: int
    _mask: Complex = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        parts = rng.standard_normal((2, MASK_CELLS, MASK_CELLS))
        object.__setattr__(self, "_mask", parts[0] + 1j * parts[1])

    def pattern(self, right_in_pupils: float, down_in_pupils: float) -> FloatArray:
        """Light of a lamp's halo in one wavelength, over its mean, seen through one footprint.

        Parameters
        ----------
        right_in_pupils, down_in_pupils : float
            Middle of the footprint on the filter, in diameters of the pupil. [1]

        Returns
        -------
        ndarray, shape (384, 384)
            Mean 1; the lamp's direction is in the middle and three samples are wavelength / pupil.
        """
        n = PUPIL_CELLS
        at = np.arange(n)
        columns = (round(right_in_pupils * n) + at) % MASK_CELLS
        rows = (round(down_in_pupils * n) + at) % MASK_CELLS
        away = (at - (n - 1) / 2) / (n / 2)
        pupil = np.hypot(away[:, np.newaxis], away) <= 1
        seen = np.zeros((PATTERN_CELLS, PATTERN_CELLS), dtype=np.complex128)
        seen[:n, :n] = np.where(pupil, self._mask[np.ix_(rows, columns)], 0)
        light = np.abs(np.fft.fftshift(np.fft.fft2(seen))) ** 2
        return np.asarray(light / light.mean())


SAMPLES_PER_GRAIN = PATTERN_CELLS / PUPIL_CELLS
