"""The slow reference of the engine: light spread in float64 by a kernel built in space.

Nothing here comes from `frontglass.convolution`. The kernel is the density of all deviated light,
integrated over the pixel that sends and the pixel that receives it, a unit triangle in x and y; it
is laid out over a window many frames wide and convolved in full. Single deviations are in closed
form; several are a Hankel transform, which `tests/optics` checks on its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import CubicSpline, RectBivariateSpline

from frontglass.optics.profiles import Airy, Cone, Mixture, Profile
from frontglass.optics.scatter import CompoundScatter

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


class Deviated:
    """All light that scatterers deviate, in space.

    Parameters
    ----------
    scatterers : sequence of (float, Profile)
        Optical depths and profiles.
    """

    def __init__(self, scatterers: Scatterers) -> None:
        depth = sum(own for own, _ in scatterers)
        shares = tuple(own / depth for own, _ in scatterers)
        self.profile: Profile = Mixture(
            shares=shares, profiles=tuple(profile for _, profile in scatterers)
        )
        if len(scatterers) == 1:
            self.profile = scatterers[0][1]
        self._has_rings = isinstance(self.profile, Airy)
        self.direct = float(np.exp(-depth))
        self.once = depth * self.direct
        whole = CompoundScatter(optical_depth=depth, profile=self.profile)
        # A table, for its transform takes as long for one radius as for thousands.
        r = np.geomspace(1e-5, 1e7, 16001)
        density = whole.radial_density(r) - self.once * self.profile.radial_density(r)
        within = whole.encircled_flux(r) - self.direct - self.once * self.profile.encircled_flux(r)
        self._density, self._within = (CubicSpline(np.log(r), own) for own in (density, within))

    def several(self, r: Array) -> Array:
        """Light per px^2 that is deviated twice or more."""
        return np.asarray(self._density(np.log(np.clip(r, 1e-5, 1e7))))

    def several_within(self, radius: Array) -> Array:
        """How much of it lands within a radius [px]."""
        clipped = np.clip(radius, 1e-5, 1e7)
        return np.asarray(np.where(radius > 0, self._within(np.log(clipped)), 0.0))

    def within(self, radius: Array) -> Array:
        """Deviated light that lands within a radius [px]."""
        return self.once * self.profile.encircled_flux(radius) + self.several_within(radius)

    def quadrant(self, shape: tuple[int, int]) -> Array:
        """Kernel at the pixel offsets y, x >= 0."""
        far, near = _nodes_per_slope(self.profile) if self._has_rings else (1, 6)
        several = _by_density(self.several, shape, far=far, near=near)
        once = kernel_quadrant(self.profile, shape)
        return self.once * once + _with_middle(several, self.several_within)


def mirrored(light: Array, scatterers: Scatterers, *, periods: int = 3) -> Array:
    """Plane of light (H, W) after scatterers, a mirror at each edge of the frame.

    A mirror makes the plane periodic over twice the frame. `periods` of them to either side are
    summed one by one, and further ones as a continuum.
    """
    height, width = light.shape
    deviated = Deviated(scatterers)
    halo = fft.fft2(folded_kernel(deviated, (2 * height, 2 * width), periods)).real
    tiled = np.block([[light, light[:, ::-1]], [light[::-1], light[::-1, ::-1]]])
    spread = fft.ifft2(fft.fft2(tiled) * halo).real
    return np.asarray(deviated.direct * light + spread[:height, :width])


def in_the_dark(light: Array, scatterers: Scatterers, *, window_px: int) -> Array:
    """Plane of light (H, W) after scatterers, nothing outside the frame.

    The kernel is cut at half the window, which must be far wider than the frame, so that light
    deviated out of it does not find back.
    """
    height, width = light.shape
    reach = window_px // 2
    offsets = np.minimum(np.arange(window_px), window_px - np.arange(window_px))
    deviated = Deviated(scatterers)
    kernel = deviated.quadrant((reach + 1, reach + 1))[np.ix_(offsets, offsets)]
    window = (window_px, window_px)
    spread = fft.irfft2(fft.rfft2(light, s=window) * fft.rfft2(kernel).real, s=window)
    return np.asarray(deviated.direct * light + spread[:height, :width])


def folded_kernel(deviated: Deviated, shape: tuple[int, int], periods: int) -> Array:
    """Kernel of deviated light on a torus of `shape` pixels."""
    rows, columns = shape
    y, x = np.arange(rows // 2 + 1), np.arange(columns // 2 + 1)
    half = ((periods + 0.5) * rows, (periods + 0.5) * columns)
    quadrant = deviated.quadrant((int(half[0]) + 1, int(half[1]) + 1))
    total = _light_outside(deviated, y, x, half) / (rows * columns)
    for ky in range(-periods, periods + 1):
        for kx in range(-periods, periods + 1):
            total += quadrant[np.ix_(np.abs(y + ky * rows), np.abs(x + kx * columns))]
    to_y = np.minimum(np.arange(rows), rows - np.arange(rows))
    to_x = np.minimum(np.arange(columns), columns - np.arange(columns))
    wrapped = total[np.ix_(to_y, to_x)]
    # The continuum is right but for a constant, of second order in period over distance.
    return np.asarray(wrapped + (1 - deviated.direct - wrapped.sum()) / wrapped.size)


def _light_outside(
    deviated: Deviated, y: NDArray[np.intp], x: NDArray[np.intp], half: tuple[float, float]
) -> Array:
    """Light outside a window whose middle is (y, x) away, from the encircled light."""
    angle = (np.arange(720) + 0.5) * (2 * np.pi / 720)
    table = np.empty((5, 5))
    nodes_y, nodes_x = np.linspace(0, y[-1], 5), np.linspace(0, x[-1], 5)
    for i, dy in enumerate(nodes_y):
        for j, dx in enumerate(nodes_x):
            to_y = (half[0] + np.sign(np.sin(angle)) * dy) / np.abs(np.sin(angle))
            to_x = (half[1] + np.sign(np.cos(angle)) * dx) / np.abs(np.cos(angle))
            table[i, j] = np.mean(1 - deviated.direct - deviated.within(np.minimum(to_y, to_x)))
    return np.asarray(RectBivariateSpline(nodes_y, nodes_x, table)(y, x))


def kernel_quadrant(profile: Profile, shape: tuple[int, int]) -> Array:
    """Kernel of a single deviation at the pixel offsets y, x >= 0."""
    if isinstance(profile, Mixture):
        parts = zip(profile.shares, profile.profiles, strict=True)
        return np.asarray(sum(share * kernel_quadrant(part, shape) for share, part in parts))
    ends = int(profile.radius_rad) + 3 if isinstance(profile, Cone) else max(shape)
    far, near = _nodes_per_slope(profile)
    kernel = np.zeros(shape)
    inside = (min(shape[0], ends), min(shape[1], ends))
    kernel[: inside[0], : inside[1]] = _by_density(
        profile.radial_density, inside, far=far, near=near
    )
    return _with_middle(kernel, profile.encircled_flux)


def _with_middle(kernel: Array, within: Callable[[Array], Array]) -> Array:
    """Kernel with what is near from the light within circles, in place."""
    radii, shares = _triangle_in_polar()
    per_ring = np.diff(within(radii))
    for (y, x), share in shares.items():
        for i, j in ((y, x), (x, y)):
            if i < kernel.shape[0] and j < kernel.shape[1]:
                kernel[i, j] = float(per_ring @ share)
    return kernel


def _by_density(
    density: Callable[[Array], Array], shape: tuple[int, int], *, far: int, near: int
) -> Array:
    """Density times the triangle, by Gauss-Legendre on both of its slopes, with more nodes near."""
    kernel = np.zeros(shape)
    for stop, per_slope in ((shape, far), ((DETAIL_PX, DETAIL_PX), near)):
        rows, columns = min(stop[0], shape[0]), min(stop[1], shape[1])
        nodes, weights = _slopes(per_slope)
        x = np.abs(np.arange(columns)[:, np.newaxis] + nodes)
        for row in range(rows):
            y = np.abs(row + nodes)[:, np.newaxis, np.newaxis]
            light = density(np.hypot(y, x))
            kernel[row, :columns] = np.einsum("p,q,pxq->x", weights, weights, light)
    return kernel


def _nodes_per_slope(profile: Profile) -> tuple[int, int]:
    """Far from the middle and near it."""
    if isinstance(profile, Airy):
        # Rings are one lambda / d apart, and must be met several times each.
        rings = 2 + int(np.ceil(5 / profile.lambda_over_d_rad))
        return rings, rings
    if isinstance(profile, Cone):
        return 16, 16  # its edge is a kink
    return 1, 6


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
