"""What lies outside the frame when it is dark: kernels cut off at the frame.

A transfer function sampled on a grid of n cells is that of a kernel repeated every n cells. A
mirror wants exactly that. In the dark nothing comes from outside, so what the repetitions of a
heavy tail bring in must be taken out again before the kernel is used on a picture padded with
zeros.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import CubicSpline, RectBivariateSpline

from frontglass.optics.hankel import encircled_from_transform

Float64 = NDArray[np.float64]

NEAREST_IMAGES = 4
NODES = 129
FARTHEST_PERIODS = 1e3
REFERENCE_PX = 10.0


def truncated_transform(
    transfer: Callable[[Float64, Float64], Float64],
    along_radius: Callable[[Float64], Float64],
    *,
    shape: tuple[int, int],
    cell_px: tuple[float, float],
    workers: int,
) -> NDArray[np.complex128]:
    """Transform of a kernel on a grid, without what its periodic images add.

    Parameters
    ----------
    transfer : callable (fx_per_px, fy_per_px) -> ndarray (len(fy), len(fx))
        Transfer function on the cells.
    along_radius : callable (f_per_px) -> ndarray
        The isotropic transfer function from which the far tail is taken.
    shape : (int, int)
        Rows and columns of the grid, at least twice the padded picture's.
    cell_px : (float, float)
        Height and width of a cell [px].
    workers : int
        Threads for the transforms.

    Returns
    -------
    ndarray, shape (rows, columns // 2 + 1), complex128
        What `scipy.fft.rfft2` of the truncated kernel gives.
    """
    fy = fft.fftfreq(shape[0]) / cell_px[0]
    fx = fft.rfftfreq(shape[1]) / cell_px[1]
    kernel = fft.irfft2(transfer(fx, fy), s=shape, workers=workers)
    kernel -= _light_of_images(along_radius, shape, cell_px)
    return np.asarray(fft.rfft2(kernel, workers=workers), dtype=np.complex128)


def _light_beyond(
    along_radius: Callable[[Float64], Float64], smallest_px: float, largest_px: float
) -> CubicSpline:
    """Light outside a circle, against the logarithm of its radius [px]."""
    r = np.geomspace(smallest_px, largest_px, 6000)
    within = encircled_from_transform(along_radius, r, scale_rad=REFERENCE_PX)
    whole = float(along_radius(np.zeros(1))[0])
    return CubicSpline(np.log(r), whole - within)


def _light_of_images(
    along_radius: Callable[[Float64], Float64],
    shape: tuple[int, int],
    cell_px: tuple[float, float],
) -> Float64:
    period_y, period_x = shape[0] * cell_px[0], shape[1] * cell_px[1]
    shortest, longest = min(period_y, period_x), max(period_y, period_x)
    beyond = _light_beyond(along_radius, shortest / 4, FARTHEST_PERIODS * longest)
    slope = beyond.derivative()

    def kernel(radius_px: Float64) -> Float64:
        """Light per px^2."""
        return np.asarray(-slope(np.log(radius_px)) / (2 * np.pi * radius_px**2))

    # Smooth over the whole frame, since the nearest image is a frame away: a few nodes do, though
    # enough of them to follow the rings of round flecks.
    y, x = np.linspace(0, period_y / 2, NODES), np.linspace(0, period_x / 2, NODES)
    total = np.zeros((NODES, NODES))
    images = range(-NEAREST_IMAGES, NEAREST_IMAGES + 1)
    for ky in images:
        for kx in images:
            if ky or kx:
                total += kernel(np.hypot((y + ky * period_y)[:, np.newaxis], x + kx * period_x))
    # The images further out are spread like a continuum over the plane.
    half_y, half_x = ((NEAREST_IMAGES + 0.5) * period for period in (period_y, period_x))
    r = np.geomspace(min(half_y, half_x), FARTHEST_PERIODS * longest, 2001)
    outside_rad = 4 * (np.arccos(np.minimum(half_y / r, 1)) + np.arccos(np.minimum(half_x / r, 1)))
    outside_rad = np.minimum(outside_rad, 2 * np.pi)
    far = np.trapezoid(kernel(r) * r**2 * outside_rad, np.log(r)) + beyond(np.log(r[-1]))
    total += far / (period_y * period_x)
    smooth = RectBivariateSpline(y, x, total * cell_px[0] * cell_px[1])
    return _unfolded(smooth, shape, cell_px)


def _unfolded(
    smooth: RectBivariateSpline, shape: tuple[int, int], cell_px: tuple[float, float]
) -> Float64:
    """Even function of the offsets, in the order in which a transform keeps them."""
    half = smooth(*(np.arange(n // 2 + 1) * px for n, px in zip(shape, cell_px, strict=True)))
    rows, columns = (np.minimum(np.arange(n), n - np.arange(n)) for n in shape)
    return np.asarray(half[np.ix_(rows, columns)], dtype=np.float64)
