"""Light through nets and lines: dots, rays, and the loss of definition that goes with them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from frontglass.elements import Lines, Net
from frontglass.optics.bands import CHANNEL_BANDS, Band
from frontglass.optics.masks import PupilMask
from frontglass.render.spread import Surround
from frontglass.render.tiles import kernel_of_dots, spread_by_kernels

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

FARTHEST_PX = 1024
STEP_PX = 0.5
DIMMEST = 2e-5
"""A dot this much under white is left to the veil."""


def light_through_mesh(
    light: Float32, mesh: Net | Lines, px_per_rad: float, surround: Surround
) -> Float32:
    """Light that leaves a net or line glass, as a share of all that leaves.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    mesh : Net or Lines
        At its strength.
    px_per_rad : float
        Scale of the picture.
    surround : Surround
        What lies outside the frame.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        The direct light, the orders and what irregular threads spread. What lands beyond the
        kernel's reach, and what pale threads scatter, is laid over the frame as a veil.
    """
    masks = [mesh.mask() if isinstance(mesh, Net) else mesh.mask(c) for c in range(3)]
    brightest = float(np.abs(light).max())
    kernels = _kernels(masks, px_per_rad, _farthest(light.shape), brightest)
    sharp = 1 - mesh.veil_share
    out = spread_by_kernels(light, kernels, surround=surround)
    direct = np.array([mask.direct for mask in masks])
    lost = 1 - direct - np.array([kernel.sum() for kernel in kernels])
    veil = (mesh.veil_share + sharp * lost) * light.mean(axis=(0, 1), dtype=np.float64)
    out *= np.float32(sharp)
    out += light * (sharp * direct).astype(np.float32)
    out += veil.astype(np.float32)
    return out


def _farthest(shape: tuple[int, ...]) -> int:
    return min(max(shape[0], shape[1]), FARTHEST_PX)


def _kernels(
    masks: Sequence[PupilMask], px_per_rad: float, reach_px: int, brightest: float
) -> list[Float64]:
    """Kernels of the three channels, cut where the brightest lamp no longer shows."""
    whole = [
        _kernel(mask, band, px_per_rad, reach_px)
        for mask, band in zip(masks, CHANNEL_BANDS, strict=True)
    ]
    rings = np.maximum.reduce([_largest_beyond(kernel) for kernel in whole])
    shown = np.flatnonzero(rings * brightest > DIMMEST)
    reach = min(int(shown[-1]) + 1 if shown.size else 1, reach_px)
    inner = slice(reach_px - reach, reach_px + reach + 1)
    return [np.ascontiguousarray(kernel[inner, inner]) for kernel in whole]


def _kernel(mask: PupilMask, band: Band, px_per_rad: float, reach_px: int) -> Float64:
    dots = mask.dots(band, step_rad=STEP_PX / px_per_rad, reach_rad=reach_px / px_per_rad)
    return kernel_of_dots(
        dots.x_rad * px_per_rad,
        dots.y_rad * px_per_rad,
        dots.shares,
        reach_px=(reach_px, reach_px),
    )


def _largest_beyond(kernel: Float64) -> Float64:
    """Largest value at a distance of r or more along either axis, for r = 0, 1, ..."""
    reach = kernel.shape[0] // 2
    index = np.abs(np.arange(-reach, reach + 1))
    lines = np.maximum(kernel.max(axis=0), kernel.max(axis=1))
    rings = np.zeros(reach + 1)
    np.maximum.at(rings, index, lines)
    return np.maximum.accumulate(rings[::-1])[::-1]
