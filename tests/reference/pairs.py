"""The slow reference of the engine: light spread in float64 by a kernel built in space.

Nothing here comes from `frontglass.convolution`. The kernel of a single deviation is the profile's
density integrated over the pixel that sends and the pixel that receives the light, a unit triangle
in x and y; it is laid out over a window many frames wide, compounded on that window, and convolved
in full.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import RectBivariateSpline

from frontglass.optics.profiles import Airy, Cone, Mixture, Profile

Array = NDArray[np.float64]
Scatterers = Sequence[tuple[float, Profile]]
"""Optical depth and profile, angles in pixels: one radian is one pixel here."""

NEAR_PX = 4
"""Offsets up to which the triangle is integrated in polar coordinates [px]."""

DETAIL_PX = 48
"""Offsets up to which smooth profiles bend noticeably within a pixel [px]."""

RELATIVE, OF_WHITE = 1e-3, 1e-4
"""The engine's promise."""


def score(got: NDArray[np.float32], expected: Array) -> float:
    """Largest error over what the engine promises; up to 1 is kept."""
    error = np.abs(got.astype(np.float64) - expected)
    return float((error / (RELATIVE * np.abs(expected) + OF_WHITE)).max())


def mirrored(light: Array, scatterers: Scatterers, *, periods: int = 3) -> Array:
    """Plane of light (H, W) after scatterers, a mirror at each edge of the frame.

    A mirror makes the plane periodic over twice the frame. `periods` of them to either side are
    summed one by one, and further ones as a continuum.
    """
    height, width = light.shape
    shape = (2 * height, 2 * width)
    depths = sum(depth for depth, _ in scatterers)
    exponent = np.zeros(shape)
    for depth, profile in scatterers:
        exponent += depth * fft.fft2(folded_kernel(profile, shape, periods)).real
    halo = np.exp(-depths) * np.expm1(exponent)
    tiled = np.block([[light, light[:, ::-1]], [light[::-1], light[::-1, ::-1]]])
    spread = fft.ifft2(fft.fft2(tiled) * halo).real
    return np.asarray(np.exp(-depths) * light + spread[:height, :width])


def in_the_dark(light: Array, scatterers: Scatterers, *, window_px: int) -> Array:
    """Plane of light (H, W) after scatterers, nothing outside the frame.

    The kernel is cut at half the window, which must be far wider than the frame, so that light
    deviated out of it does not find back.
    """
    height, width = light.shape
    depths = sum(depth for depth, _ in scatterers)
    reach = window_px // 2
    offsets = np.minimum(np.arange(window_px), window_px - np.arange(window_px))
    exponent = np.zeros((window_px, window_px // 2 + 1))
    for depth, profile in scatterers:
        kernel = kernel_quadrant(profile, (reach + 1, reach + 1))[np.ix_(offsets, offsets)]
        exponent += depth * fft.rfft2(kernel).real
    halo = np.exp(-depths) * np.expm1(exponent)
    window = (window_px, window_px)
    spread = fft.irfft2(fft.rfft2(light, s=window) * halo, s=window)
    return np.asarray(np.exp(-depths) * light + spread[:height, :width])


def folded_kernel(profile: Profile, shape: tuple[int, int], periods: int) -> Array:
    """Kernel of a single deviation on a torus of `shape` pixels, its light summing to 1."""
    rows, columns = shape
    y, x = np.arange(rows // 2 + 1), np.arange(columns // 2 + 1)
    half = ((periods + 0.5) * rows, (periods + 0.5) * columns)
    quadrant = kernel_quadrant(profile, (int(half[0]) + 1, int(half[1]) + 1))
    total = _light_outside(profile, y, x, half) / (rows * columns)
    for ky in range(-periods, periods + 1):
        for kx in range(-periods, periods + 1):
            total += quadrant[np.ix_(np.abs(y + ky * rows), np.abs(x + kx * columns))]
    to_y = np.minimum(np.arange(rows), rows - np.arange(rows))
    to_x = np.minimum(np.arange(columns), columns - np.arange(columns))
    wrapped = total[np.ix_(to_y, to_x)]
    # The continuum is right but for a constant, of second order in period over distance.
    return np.asarray(wrapped + (1 - wrapped.sum()) / wrapped.size)


def _light_outside(
    profile: Profile, y: NDArray[np.intp], x: NDArray[np.intp], half: tuple[float, float]
) -> Array:
    """Light outside a window whose middle is (y, x) away, from the encircled light."""
    angle = (np.arange(720) + 0.5) * (2 * np.pi / 720)
    table = np.empty((5, 5))
    nodes_y, nodes_x = np.linspace(0, y[-1], 5), np.linspace(0, x[-1], 5)
    for i, dy in enumerate(nodes_y):
        for j, dx in enumerate(nodes_x):
            to_y = (half[0] + np.sign(np.sin(angle)) * dy) / np.abs(np.sin(angle))
            to_x = (half[1] + np.sign(np.cos(angle)) * dx) / np.abs(np.cos(angle))
            table[i, j] = np.mean(1 - profile.encircled_flux(np.minimum(to_y, to_x)))
    return np.asarray(RectBivariateSpline(nodes_y, nodes_x, table)(y, x))


def kernel_quadrant(profile: Profile, shape: tuple[int, int]) -> Array:
    """Kernel of a single deviation at the pixel offsets y, x >= 0."""
    if isinstance(profile, Mixture):
        parts = zip(profile.shares, profile.profiles, strict=True)
        return np.asarray(sum(share * kernel_quadrant(part, shape) for share, part in parts))
    kernel = _by_density(profile, shape)
    radii, shares = _triangle_in_polar()
    per_ring = np.diff(profile.encircled_flux(radii))
    for (y, x), share in shares.items():
        for i, j in ((y, x), (x, y)):
            if i < shape[0] and j < shape[1]:
                kernel[i, j] = float(per_ring @ share)
    return kernel


def _by_density(profile: Profile, shape: tuple[int, int]) -> Array:
    """Density times the triangle, by Gauss-Legendre on both of its slopes."""
    kernel = np.zeros(shape)
    if isinstance(profile, Cone):
        ends = int(profile.radius_rad) + 3
        shape = (min(shape[0], ends), min(shape[1], ends))
    for stop in (shape, (DETAIL_PX, DETAIL_PX)):
        rows, columns = min(stop[0], shape[0]), min(stop[1], shape[1])
        nodes, weights = _slopes(_nodes_per_slope(profile, smooth=stop == shape))
        x = np.abs(np.arange(columns)[:, np.newaxis] + nodes)
        for row in range(rows):
            y = np.abs(row + nodes)[:, np.newaxis, np.newaxis]
            light = profile.radial_density(np.hypot(y, x))
            kernel[row, :columns] = np.einsum("p,q,pxq->x", weights, weights, light)
    return kernel


def _nodes_per_slope(profile: Profile, *, smooth: bool) -> int:
    if isinstance(profile, Airy):
        # Rings are one lambda / d apart, and must be met several times each.
        return 2 + int(np.ceil(5 / profile.lambda_over_d_rad))
    if isinstance(profile, Cone):
        return 16  # its edge is a kink
    return 1 if smooth else 6


def _slopes(per_slope: int) -> tuple[Array, Array]:
    """Nodes and weights for integrals over the unit triangle from -1 to 1."""
    if per_slope == 1:  # the two nodes that have the triangle's variance
        return np.array([-1, 1]) / np.sqrt(6), np.array([0.5, 0.5])
    x, w = leggauss(per_slope)
    x, w = (x + 1) / 2, w / 2 * (1 - (x + 1) / 2)
    return np.concatenate([-x, x]), np.concatenate([w, w])


@lru_cache(maxsize=1)
def _triangle_in_polar() -> tuple[Array, dict[tuple[int, int], Array]]:
    """Radii, and for each near offset the mean of the triangle over each ring between them."""
    radii = np.concatenate([[0], np.geomspace(1e-4, 0.2, 600), np.linspace(0.2, 7.2, 2801)[1:]])
    r = ((radii[1:] + radii[:-1]) / 2)[:, np.newaxis]
    angle = (np.arange(1440) + 0.5) * (2 * np.pi / 1440)
    y, x = r * np.sin(angle), r * np.cos(angle)
    down_y = [np.maximum(1 - np.abs(y - n), 0) for n in range(NEAR_PX + 1)]
    down_x = [np.maximum(1 - np.abs(x - n), 0) for n in range(NEAR_PX + 1)]
    offsets = [(i, j) for i in range(NEAR_PX + 1) for j in range(i + 1)]
    return radii, {(i, j): np.mean(down_y[i] * down_x[j], axis=1) for i, j in offsets}
