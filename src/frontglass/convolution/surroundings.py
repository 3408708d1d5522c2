"""What lies outside the frame when it is dark: kernels cut off at the frame.

A transfer function sampled on a grid of n cells is that of a kernel repeated every n cells. A
mirror wants exactly that. In the dark nothing comes from outside, so what the repetitions of a
heavy tail bring in must be taken out again before the kernel is used on a picture padded with
zeros.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import CubicSpline, RectBivariateSpline

from frontglass.convolution.halo import REFERENCE_PX, Halo, density_far_out
from frontglass.optics.hankel import encircled_from_transform

Float64 = NDArray[np.float64]

NEAREST_IMAGES, NEAREST_IMAGES_OF_RINGS = 4, 9
FEWEST_NODES, MOST_NODES = 33, 513
SMOOTH_TO = 2e-4
OFF_THE_MIDDLE = 0.382
"""Where between two nodes to look: rings may keep step with the nodes and with their middles."""
FARTHEST_PERIODS = 1e3


def light_of_images(
    halo: Halo, *, shape: tuple[int, int], cell_px: tuple[float, float], workers: int
) -> Float64:
    """Transform of what the periodic images of a halo add to it on a grid.

    Parameters
    ----------
    halo : Halo
        Deviated light, from whose density the images are built.
    shape : (int, int)
        Rows and columns of the grid, at least twice the padded picture's.
    cell_px : (float, float)
        Height and width of a cell [px].
    workers : int
        Threads for the transforms.

    Returns
    -------
    ndarray, shape (rows, columns // 2 + 1), float64
        To take from the halo's transfer function on the grid: the rest is that of the halo cut off
        half the grid away.
    """
    period_y, period_x = shape[0] * cell_px[0], shape[1] * cell_px[1]
    # Smooth over the whole frame, since the nearest image is a frame away: a few nodes do, unless
    # there are rings to follow, which then do not average out among the farther images either.
    nodes = [_nodes(halo, n * px, n) for n, px in zip(shape, cell_px, strict=True)]
    reach = NEAREST_IMAGES if max(nodes) == FEWEST_NODES else NEAREST_IMAGES_OF_RINGS
    y, x = np.linspace(0, period_y / 2, nodes[0]), np.linspace(0, period_x / 2, nodes[1])
    spacing = min(y[1], x[1]) / 2
    farthest = (reach + 0.5) * np.hypot(period_y, period_x)
    r = np.arange(min(period_y, period_x) / 2 - 4 * spacing, farthest + 4 * spacing, spacing)
    density = CubicSpline(r, density_far_out(halo, r))
    total = np.full((nodes[0], nodes[1]), _light_further_out(halo, reach, period_y, period_x))
    for ky in range(-reach, reach + 1):
        for kx in range(-reach, reach + 1):
            if ky or kx:
                total += density(np.hypot((y + ky * period_y)[:, np.newaxis], x + kx * period_x))
    smooth = RectBivariateSpline(y, x, total * cell_px[0] * cell_px[1])
    unfolded = _unfolded(smooth, shape, cell_px)
    return np.asarray(fft.rfft2(unfolded, workers=workers, overwrite_x=True).real)


def _nodes(halo: Halo, period_px: float, cells: int) -> int:
    """Nodes over half a period between which splines follow the images."""
    nodes = FEWEST_NODES
    while nodes < min(cells // 2 + 1, MOST_NODES):
        r = np.linspace(period_px / 2, period_px, nodes)
        light = density_far_out(halo, r)
        between = r[:-1] + OFF_THE_MIDDLE * np.diff(r)
        missed = CubicSpline(r, light)(between) - density_far_out(halo, between)
        if np.abs(missed).max() <= SMOOTH_TO * np.abs(light).max():
            break
        nodes = 2 * nodes - 1
    return nodes


def _light_further_out(halo: Halo, reach: int, period_y: float, period_x: float) -> float:
    """Light per px^2 of the images beyond the nearest, spread like a continuum over the plane."""
    half_y, half_x = ((reach + 0.5) * period for period in (period_y, period_x))
    r = np.geomspace(min(half_y, half_x), FARTHEST_PERIODS * max(period_y, period_x), 2001)
    within = encircled_from_transform(halo.along_radius, r, scale_rad=REFERENCE_PX)
    middle = np.sqrt(r[1:] * r[:-1])
    outside_rad = 4 * (
        np.arccos(np.minimum(half_y / middle, 1)) + np.arccos(np.minimum(half_x / middle, 1))
    )
    share = np.minimum(outside_rad / (2 * np.pi), 1)
    beyond = float(halo.along_radius(np.zeros(1))[0]) - within[-1]
    return float(np.diff(within) @ share + beyond) / (period_y * period_x)


def _unfolded(
    smooth: RectBivariateSpline, shape: tuple[int, int], cell_px: tuple[float, float]
) -> Float64:
    """Even function of the offsets, in the order in which a transform keeps them."""
    half = smooth(*(np.arange(n // 2 + 1) * px for n, px in zip(shape, cell_px, strict=True)))
    rows, columns = (np.minimum(np.arange(n), n - np.arange(n)) for n in shape)
    return np.asarray(half[np.ix_(rows, columns)], dtype=np.float64)
