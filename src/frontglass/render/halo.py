"""Deviated light on a pixel grid: what the spreading engine needs to know of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from frontglass.optics.gaussians import as_gaussians
from frontglass.optics.profiles import Mixture, Profile

Float64 = NDArray[np.float64]

NEGLIGIBLE = 1e-8
MOST_ALIASES = 12
TABLE_NODES = 8192


class Halo(Protocol):
    """A point source seen through something, as a direct share and deviated light."""

    @property
    def direct(self) -> float:
        """Share of the light that stays in its pixel's own direction. [1], in [0, 1]."""
        ...

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """Transfer function of the deviated light alone, shape (len(fy), len(fx)), real."""
        ...

    def along_radius(self, f_per_px: Float64) -> Float64:
        """Return the same along a radius of the frequency plane, pixels taken as points."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class ScatterHalo:
    """Halo of thin scatterers one behind the other.

    Parameters
    ----------
    scatterers : tuple of (float, Profile)
        Optical depth [1], >= 0, and the profile of a single deviation.
    px_per_rad : float
        Scale of the picture, > 0.

    Notes
    -----
    ``OTF = exp(-sum tau_i (1 - K_i))`` with each K_i averaged over the pixel that sends the light
    and the pixel that receives it. Averaging K rather than the whole keeps three things exact on
    the grid: nothing is negative, the energy is 1, and strengths add.
    """

    scatterers: tuple[tuple[float, Profile], ...]
    px_per_rad: float

    @property
    def direct(self) -> float:
        """exp(-total optical depth)."""
        return math.exp(-sum(depth for depth, _ in self.scatterers))

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Halo`."""
        exponent = np.zeros((len(fy_per_px), len(fx_per_px)))
        for depth, profile in self.scatterers:
            exponent += depth * pixel_transform(profile, self.px_per_rad, fx_per_px, fy_per_px)
        np.expm1(exponent, out=exponent)
        exponent *= self.direct
        return exponent

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Halo`."""
        f_per_rad = f_per_px * self.px_per_rad
        exponent = sum(depth * profile.transform(f_per_rad) for depth, profile in self.scatterers)
        return np.asarray(self.direct * np.expm1(exponent), dtype=np.float64)


def pixel_transform(
    profile: Profile, px_per_rad: float, fx_per_px: Float64, fy_per_px: Float64
) -> Float64:
    """Transform of a profile as pixels see it: averaged over the sending and the receiving pixel.

    Parameters
    ----------
    profile : Profile
        A profile without direct light.
    px_per_rad : float
        Scale of the picture, > 0.
    fx_per_px, fy_per_px : ndarray, shapes (W,) and (H,)
        Spatial frequencies [cycles/px].

    Returns
    -------
    ndarray, shape (H, W), float64
        Transform of the kernel on the pixel grid: 1 at the origin; the kernel itself is nowhere
        negative, however narrow the profile.

    Notes
    -----
    The kernel at the pixel offset n is the profile integrated against the unit triangle in x and y,
    so its transform is the alias sum of ``K(f + m) sinc^2(fx + mx) sinc^2(fy + my)``. Profiles that
    are mixtures of Gaussians factor into x and y and take any number of aliases at no cost; a
    sub-pixel core therefore stays exact.
    """
    if isinstance(profile, Mixture):
        parts = zip(profile.shares, profile.profiles, strict=True)
        whole = np.zeros((len(fy_per_px), len(fx_per_px)))
        for share, part in parts:
            whole += share * pixel_transform(part, px_per_rad, fx_per_px, fy_per_px)
        return whole
    # A Gaussian much wider than the longest wave on the grid is nothing but its mean.
    longest_px = 1 / min(_lowest(fx_per_px), _lowest(fy_per_px))
    gaussians = as_gaussians(profile, largest_sigma_rad=2 * longest_px / px_per_rad)
    if gaussians is None:
        return _alias_sum(profile, px_per_rad, fx_per_px, fy_per_px)
    shares, sigmas_px = gaussians.shares, gaussians.sigmas_rad * px_per_rad
    along_x = np.stack([_gaussian_alias_sum(sigma, fx_per_px) for sigma in sigmas_px])
    along_y = np.stack([_gaussian_alias_sum(sigma, fy_per_px) for sigma in sigmas_px])
    return np.asarray((along_y * shares[:, np.newaxis]).T @ along_x, dtype=np.float64)


def _lowest(f_per_px: Float64) -> float:
    above = np.abs(f_per_px[f_per_px != 0])
    return float(above.min()) if above.size else 1.0


def _gaussian_alias_sum(sigma_px: float, f_per_px: Float64) -> Float64:
    # Beyond exp(-40) nothing is left; below 0.01 px the kernel is a point, and its alias sum 1.
    if sigma_px < 1e-2:
        return np.ones_like(f_per_px)
    last = math.ceil(math.sqrt(40 / (2 * math.pi**2)) / sigma_px)
    total = np.zeros_like(f_per_px)
    for m in range(-last, last + 1):
        f = f_per_px + m
        total += np.exp(-2 * (math.pi * sigma_px * f) ** 2) * np.sinc(f) ** 2
    return total


def _alias_sum(
    profile: Profile, px_per_rad: float, fx_per_px: Float64, fy_per_px: Float64
) -> Float64:
    last = 0
    while last < MOST_ALIASES and _reaches(profile, px_per_rad, last):
        last += 1
    # Profiles such as the cone cost microseconds a value: tabulated over radius, dense near zero
    # where a wide profile falls.
    end = math.hypot(last + 0.5, last + 0.5)
    nodes = end * np.linspace(0, 1, TABLE_NODES) ** 2
    table = CubicSpline(nodes, profile.transform(nodes * px_per_rad))
    total = np.zeros((len(fy_per_px), len(fx_per_px)))
    for my in range(-last, last + 1):
        for mx in range(-last, last + 1):
            fy, fx = fy_per_px + my, fx_per_px + mx
            window = np.outer(np.sinc(fy) ** 2, np.sinc(fx) ** 2)
            total += table(np.minimum(np.hypot(fy[:, np.newaxis], fx), end)) * window
    return total


def _reaches(profile: Profile, px_per_rad: float, alias: int) -> bool:
    beyond = np.linspace(alias + 0.5, alias + 1.5, 33) * px_per_rad
    return bool(np.max(np.abs(profile.transform(beyond))) > NEGLIGIBLE)
