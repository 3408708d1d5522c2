"""Grease on a clear filter: a film of uneven height, and how it was wiped."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_not_negative, check_number, check_positive, check_share
from frontglass.choices import Choice
from frontglass.errors import ParameterError
from frontglass.optics.profiles import Gaussian, Mixture
from frontglass.optics.psf import FLUX_TOLERANCE, FloatArray

PETROLATUM_INDEX = 1.47
"""Refractive index of petrolatum; from memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GreaseFilm:
    """A clear film whose height varies at random.

    Parameters
    ----------
    rms_height_m : float
        Standard deviation of the height. [m], >= 0.
    textures_m : tuple of float
        Lengths over which the height varies, across the stroke. [m], > 0.
    shares : tuple of float
        Of the height's variance, one for each texture. [1], >= 0, sum 1.
    streak_ratio : float
        How much longer a texture is along the stroke than across. [1], >= 1; 1 is no stroke.
    stroke_rad : float
        Direction of the stroke, from x towards y. [rad]
    clear_share : float
        Share of the area without any film. [1], in [0, 1].
    index : float
        Refractive index. [1], > 1.

    Raises
    ------
    ParameterError
        If a value is out of range.

    Notes
    -----
    The height has the correlation rho(s) = sum of share exp(-s**2 / 2 texture**2). For a normal
    distribution of heights OTF = exp(-tau (1 - rho(wavelength f))), with tau = (2 pi (index - 1)
    rms height / wavelength)**2: a compound scatterer. At tau below 1 a sharp core stays in a halo
    of angles wavelength / (2 pi texture); at tau far above 1 there is no core, and the angles are
    those of the slopes, (index - 1) rms height / texture along each axis, for every wavelength.

    References
    ----------
    [Goodman2005] sec. 8.6 for random screens; [Ishimaru1978].
    """

    rms_height_m: float
    textures_m: tuple[float, ...]
    shares: tuple[float, ...] = (1.0,)
    streak_ratio: float = 1.0
    stroke_rad: float = 0.0
    clear_share: float = 0.0
    index: float = PETROLATUM_INDEX

    def __post_init__(self) -> None:
        check_not_negative("rms_height_m", self.rms_height_m)
        for texture in self.textures_m:
            check_positive("textures_m", texture)
        if not self.textures_m or len(self.shares) != len(self.textures_m):
            rule = f"one for each of the {len(self.textures_m)} textures, at least one"
            raise ParameterError("shares", rule, self.shares)
        for share in self.shares:
            check_not_negative("shares", share)
        if abs(math.fsum(self.shares) - 1) > FLUX_TOLERANCE:
            raise ParameterError("shares", "1 in sum", self.shares)
        if not check_number("streak_ratio", self.streak_ratio) >= 1:
            raise ParameterError("streak_ratio", ">= 1", self.streak_ratio)
        check_number("stroke_rad", self.stroke_rad)
        check_share("clear_share", self.clear_share)
        if not check_number("index", self.index) > 1:
            raise ParameterError("index", "> 1", self.index)

    def at_strength(self, strength: float) -> Self:
        """Return a film with `strength` times the variance of height."""
        ratio = math.sqrt(check_not_negative("strength", strength))
        return replace(self, rms_height_m=self.rms_height_m * ratio)

    def optical_depth(self, wavelength_m: float) -> float:
        """Tau of the film at a wavelength [1]."""
        check_positive("wavelength_m", wavelength_m)
        return (2 * math.pi * (self.index - 1) * self.rms_height_m / wavelength_m) ** 2

    def direct(self, wavelength_m: float) -> float:
        """Undeviated light over all light at a wavelength. [1], in [0, 1]."""
        clear = self.clear_share
        return clear + (1 - clear) * math.exp(-self.optical_depth(wavelength_m))

    @property
    def rms_angle_rad(self) -> float:
        """Standard deviation of deviation across the stroke [rad], where there is film."""
        slope = math.sqrt(
            sum(s / length**2 for s, length in zip(self.shares, self.textures_m, strict=True))
        )
        return (self.index - 1) * self.rms_height_m * slope

    def profile(self, wavelength_m: float) -> Mixture:
        """Angles of one deviation, for a film without strokes.

        With `optical_depth` they make a `CompoundScatter` whose OTF is that of the film, clear
        parts apart.

        Raises
        ------
        ParameterError
            If the film is streaked.
        """
        check_positive("wavelength_m", wavelength_m)
        if self.streak_ratio != 1:
            hint = "A streaked film is not round; use its otf."
            raise ParameterError("streak_ratio", "1 for a round profile", self.streak_ratio, hint)
        sigmas = (wavelength_m / (2 * math.pi * length) for length in self.textures_m)
        return Mixture(
            shares=self.shares, profiles=tuple(Gaussian(sigma_rad=sigma) for sigma in sigmas)
        )

    def height_correlation(self, x_m: ArrayLike, y_m: ArrayLike) -> FloatArray:
        """Correlation rho of the height at a shift (x, y) [m]; 1 at the origin."""
        c, s = math.cos(self.stroke_rad), math.sin(self.stroke_rad)
        x, y = np.asarray(x_m, dtype=np.float64), np.asarray(y_m, dtype=np.float64)
        along, across = c * x + s * y, c * y - s * x
        squared = across**2 + (along / self.streak_ratio) ** 2
        total = np.zeros(squared.shape)
        for share, length in zip(self.shares, self.textures_m, strict=True):
            total += share * np.exp(-squared / (2 * length**2))
        return total

    def otf(self, fx: ArrayLike, fy: ArrayLike, wavelength_m: float) -> FloatArray:
        """Transfer function at (fx, fy) [cycles/rad], 1 at the origin; real."""
        depth = self.optical_depth(wavelength_m)
        rho = self.height_correlation(
            wavelength_m * np.asarray(fx, dtype=np.float64),
            wavelength_m * np.asarray(fy, dtype=np.float64),
        )
        return np.asarray(self.clear_share + (1 - self.clear_share) * np.exp(-depth * (1 - rho)))


class Strokes(Choice):
    """How a filter was wiped."""

    STRAIGHT = "straight"
    RADIAL = "radial"
    CIRCULAR = "circular"
    RANDOM = "random"


def stroke_direction_rad(
    strokes: Strokes,
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    angle_rad: float = 0.0,
    patch_m: float = 0.01,
    seed: int = 0,
) -> FloatArray:
    """Direction of the stroke at places of a filter.

    Parameters
    ----------
    strokes : Strokes
        How it was wiped.
    x_m, y_m : array_like
        Places from the filter's middle. [m]
    angle_rad : float
        Of straight strokes, from x towards y; a turn added to all the others. [rad]
    patch_m : float
        How far random strokes go before they turn. [m], > 0.
    seed : int
        Of random strokes: the same number wipes the same way. >= 0.

    Returns
    -------
    ndarray
        [rad]; a direction and its opposite are the same stroke. Lights streak across it.
    """
    x, y = np.broadcast_arrays(np.asarray(x_m, np.float64), np.asarray(y_m, np.float64))
    if strokes is Strokes.STRAIGHT:
        return np.full(x.shape, float(angle_rad))
    if strokes is Strokes.RADIAL:
        return np.asarray(np.arctan2(y, x) + angle_rad)
    if strokes is Strokes.CIRCULAR:
        return np.asarray(np.arctan2(y, x) + np.pi / 2 + angle_rad)
    check_positive("patch_m", patch_m)
    # Strokes have no sign: the double angle is what varies smoothly, as the direction of a field
    # of random waves.
    rng = np.random.default_rng(seed)
    wave = rng.normal(0.0, 1 / patch_m, (24, 2))
    phase = rng.uniform(0.0, 2 * np.pi, (24, 2))
    cosine, sine = np.zeros(x.shape), np.zeros(x.shape)
    for (kx, ky), (first, second) in zip(wave, phase, strict=True):
        cosine += np.cos(kx * x + ky * y + first)
        sine += np.cos(kx * x + ky * y + second)
    return np.asarray(np.arctan2(sine, cosine) / 2 + angle_rad)


def variance_weights(variance: ArrayLike, nodes: ArrayLike) -> FloatArray:
    """Weights that divide light between blurs of known variances.

    Parameters
    ----------
    variance : array_like, shape S
        Wanted variance of the blur, in any unit; between the first and the last node.
    nodes : array_like, shape (K,)
        Variances of the blurs at hand, rising.

    Returns
    -------
    ndarray, shape (K, *S)
        >= 0, summing to 1 over K, with the wanted variance for mean: linear in variance between
        neighbours.

    Raises
    ------
    ParameterError
        If nodes do not rise, or a variance lies beyond them.
    """
    known = np.asarray(nodes, dtype=np.float64)
    if known.ndim != 1 or known.size < 2 or not bool(np.all(np.diff(known) > 0)):
        raise ParameterError("nodes", "at least two rising variances", nodes)
    wanted = np.asarray(variance, dtype=np.float64)
    if wanted.size and not (wanted.min() >= known[0] and wanted.max() <= known[-1]):
        rule = f"between the nodes {known[0]:g} and {known[-1]:g}"
        raise ParameterError("variance", rule, (float(wanted.min()), float(wanted.max())))
    below = np.clip(np.searchsorted(known, wanted, side="right") - 1, 0, known.size - 2)
    upper = (wanted - known[below]) / (known[below + 1] - known[below])
    weights = np.zeros((known.size, *wanted.shape))
    for k in range(known.size):
        weights[k] = np.where(below == k, 1 - upper, 0.0) + np.where(below + 1 == k, upper, 0.0)
    return weights
