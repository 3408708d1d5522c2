"""Deviated light on a pixel grid: what the spreading engine needs to know of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from frontglass.optics.gaussians import as_gaussians
from frontglass.optics.hankel import density_from_transform
from frontglass.optics.profiles import Cone, Mixture, Profile

Float64 = NDArray[np.float64]

NEGLIGIBLE = 1e-8
MOST_ALIASES = 12
TABLE_NODES = 8192
FEW_FREQUENCIES = 500_000
"""Up to here a table over the radius costs less than Gaussians, measured at 1280x720."""
REFERENCE_PX = 10.0
MIDDLE_OF_HALF_PX = 0.5 / math.sqrt(3)
"""Two points this far from the middle average a pixel to third order [px]."""
HALVES = (0.5, -0.5)
WIDEST_DEPOSITED_PX = 8.0
"""Cones up to this radius are laid on the pixels point by point, wider ones by their transform."""


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

    def density(self, r_px: Float64) -> Float64:
        """Deviated light per px^2 at a distance of several pixels or more [px].

        Single deviations are in closed form, which keeps their rings; what follows is smoother.

        Rings may be finer than a pixel, so the closed form is averaged, as on the grid, over a
        pixel twice: once by the light between two circles, once by two such rings of circles.
        """
        once = np.zeros_like(r_px)
        for depth, profile in self.scatterers:
            for shift in (-MIDDLE_OF_HALF_PX, MIDDLE_OF_HALF_PX):
                r = r_px + shift
                outer, inner = (profile.encircled_flux((r + h) / self.px_per_rad) for h in HALVES)
                once += depth * (outer - inner) / (4 * np.pi * r_px)
        multiple = density_from_transform(self._multiple, r_px, scale_rad=REFERENCE_PX)
        return np.asarray(self.direct * once + multiple, dtype=np.float64)

    def _multiple(self, f_per_px: Float64) -> Float64:
        """Transform of what is deviated twice or more."""
        f_per_rad = f_per_px * self.px_per_rad
        x = sum(depth * profile.transform(f_per_rad) for depth, profile in self.scatterers)
        return np.asarray(self.direct * (np.expm1(x) - x), dtype=np.float64)


def density_far_out(halo: Halo, r_px: Float64) -> Float64:
    """Deviated light per px^2 at a distance of several pixels or more [px], all round alike."""
    if isinstance(halo, ScatterHalo):
        return halo.density(r_px)
    return density_from_transform(halo.along_radius, r_px, scale_rad=REFERENCE_PX)


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
    if isinstance(profile, Cone) and profile.radius_rad * px_per_rad <= WIDEST_DEPOSITED_PX:
        return _deposited_cone(profile.radius_rad * px_per_rad, fx_per_px, fy_per_px)
    few = len(fx_per_px) * len(fy_per_px) <= FEW_FREQUENCIES
    if few and not _reaches(profile, px_per_rad, 0):
        return _alias_sum(profile, px_per_rad, fx_per_px, fy_per_px)
    # A Gaussian much wider than the longest wave on the grid is nothing but its mean.
    longest_px = 1 / min(_lowest(fx_per_px), _lowest(fy_per_px))
    largest_rad = max(2 * longest_px / px_per_rad, profile.half_energy_radius_rad)
    gaussians = as_gaussians(profile, largest_sigma_rad=largest_rad)
    if gaussians is None:
        return _alias_sum(profile, px_per_rad, fx_per_px, fy_per_px)
    shares, sigmas_px = gaussians.shares, gaussians.sigmas_rad * px_per_rad
    along_x = np.stack([gaussian_alias_sum(sigma, fx_per_px) for sigma in sigmas_px])
    along_y = np.stack([gaussian_alias_sum(sigma, fy_per_px) for sigma in sigmas_px])
    return np.asarray((along_y * shares[:, np.newaxis]).T @ along_x, dtype=np.float64)


def _lowest(f_per_px: Float64) -> float:
    above = np.abs(f_per_px[f_per_px != 0])
    return float(above.min()) if above.size else 1.0


def gaussian_alias_sum(sigma_px: float, f_per_px: Float64) -> Float64:
    """Transform along one axis of a Gaussian averaged over sending and receiving pixel."""
    # Beyond exp(-40) nothing is left; below 0.01 px the kernel is a point, and its alias sum 1.
    if sigma_px < 1e-2:
        return np.ones_like(f_per_px)
    last = math.ceil(math.sqrt(40 / (2 * math.pi**2)) / sigma_px)
    total = np.zeros_like(f_per_px)
    for m in range(-last, last + 1):
        f = f_per_px + m
        total += np.exp(-2 * (math.pi * sigma_px * f) ** 2) * np.sinc(f) ** 2
    return total


def _deposited_cone(radius_px: float, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
    """Transform of a small cone, whose alias sum would go on for hundreds of terms.

    Averaging over two pixels is what bilinear weights do, so the kernel is the cone's light dropped
    point by point on the pixels around. Its edge and its tip lie on rings, which the radial rule
    takes as they are.
    """
    rings = 64 + math.ceil(48 * radius_px)
    edges = np.linspace(0, 1, rings + 1)
    light = np.diff(edges**2 * (3 - 2 * edges))
    r = radius_px * (edges[1:] + edges[:-1]) / 2
    angle = (np.arange(4 * rings) + 0.5) * (np.pi / (8 * rings))
    y, x = np.outer(r, np.sin(angle)), np.outer(r, np.cos(angle))
    reach = math.floor(radius_px) + 2
    near = np.arange(reach)[:, np.newaxis]
    kernel = np.zeros((reach, reach))
    for ring in range(rings):
        down_y, down_x = (np.maximum(1 - np.abs(at[ring] - near), 0) for at in (y, x))
        kernel += light[ring] / angle.size * (down_y @ down_x.T)
    # A point in the first quadrant stands for four: what it drops beside an axis goes to both
    # sides of it alike.
    along_y, along_x = (np.cos(2 * np.pi * f * near) for f in (fy_per_px, fx_per_px))
    return np.asarray(along_y.T @ kernel @ along_x, dtype=np.float64)


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
    left = np.abs(profile.transform(beyond)) / (math.pi * (alias + 0.5)) ** 2
    return bool(np.max(left) > NEGLIGIBLE)
