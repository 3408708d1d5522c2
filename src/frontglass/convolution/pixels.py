"""Profiles as pixels see them: averaged over the pixel that sends and the one that receives."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from frontglass.accuracy import ACCURACY
from frontglass.optics.gaussians import as_gaussians
from frontglass.optics.profiles import Cone, Mixture, Profile

Float64 = NDArray[np.float64]


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
    if (
        isinstance(profile, Cone)
        and profile.radius_rad * px_per_rad <= ACCURACY.widest_deposited_px
    ):
        return _deposited_cone(profile.radius_rad * px_per_rad, fx_per_px, fy_per_px)
    few = len(fx_per_px) * len(fy_per_px) <= ACCURACY.few_frequencies
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
    """Sum of a profile's transform over the aliases of each frequency."""
    last = 0
    while last < ACCURACY.most_aliases and _reaches(profile, px_per_rad, last):
        last += 1
    # Profiles such as the cone cost microseconds a value: tabulated over radius, dense near zero
    # where a wide profile falls.
    end = math.hypot(last + 0.5, last + 0.5)
    nodes = end * np.linspace(0, 1, ACCURACY.radius_nodes) ** 2
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
    return bool(np.max(left) > ACCURACY.negligible_alias)
