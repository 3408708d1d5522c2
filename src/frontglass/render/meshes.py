"""Light through nets and lines: dots, rays, and the loss of definition that goes with them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.elements import Lines, Net
from frontglass.optics.bands import CHANNEL_BANDS
from frontglass.optics.masks import Dots, PupilMask
from frontglass.render.kernels import MirrorKernel
from frontglass.render.mirrors import Mix, spread_among_mirrors, spread_in_the_dark
from frontglass.render.spread import Surround
from frontglass.units import rad_from_deg

Float32 = NDArray[np.float32]

FARTHEST_RAD = 16.0
"""Angles are small ones, and mirrors bring light back from any of them. Beyond this, 2e-5 of the
light of a fine net is left, and it is laid over the frame as a veil."""
STEP_PX = 0.5
KEPT_KERNELS = 3
"""The next still of a scene goes through the same net: one kernel for each channel."""
COARSEST_STEP_RAD = rad_from_deg(0.02)
"""Coarser points would miss the shape of what uneven threads spread, and too much light with it."""


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
        The direct light, the orders and what irregular threads spread. What lands
        beyond the farthest angle, and what pale threads scatter, is laid over the frame as a veil.
    """
    masks = [mesh.mask() if isinstance(mesh, Net) else mesh.mask(channel) for channel in range(3)]
    light = np.ascontiguousarray(light)
    height, width, _ = light.shape
    if surround is Surround.DARK:
        dots = [_dots_px(mask, channel, px_per_rad) for channel, mask in enumerate(masks)]
        totals = [float(pattern.shares.sum()) for pattern in dots]
        return spread_in_the_dark(light, dots, _mixes(mesh, masks, totals, light, surround))
    kernels = [
        _kernel(mask, channel, px_per_rad, (height, width)) for channel, mask in enumerate(masks)
    ]
    totals = [kernel.total for kernel in kernels]
    return spread_among_mirrors(light, kernels, _mixes(mesh, masks, totals, light, surround))


def _mixes(
    mesh: Net | Lines,
    masks: Sequence[PupilMask],
    totals: Sequence[float],
    light: Float32,
    surround: Surround,
) -> list[Mix]:
    sharp = 1 - mesh.veil_share
    mixes = []
    for mask, total, mean in zip(masks, totals, cv2.mean(light)[:3], strict=True):
        beyond = 1 - mask.direct - total
        # Points stand for light that is continuous: what they have too much is not direct.
        direct, lost = mask.direct + min(beyond, 0.0), max(beyond, 0.0)
        if surround is Surround.DARK:
            lost = 0.0  # it leaves the frame
        mixes.append(Mix(sharp * direct, sharp, (mesh.veil_share + sharp * lost) * mean))
    return mixes


@lru_cache(maxsize=KEPT_KERNELS)
def _kernel(
    mask: PupilMask, channel: int, px_per_rad: float, shape: tuple[int, int]
) -> MirrorKernel:
    return MirrorKernel.of(_dots_px(mask, channel, px_per_rad), shape)


def _dots_px(mask: PupilMask, channel: int, px_per_rad: float) -> Dots:
    step_rad = min(STEP_PX / px_per_rad, COARSEST_STEP_RAD)
    dots = mask.dots(CHANNEL_BANDS[channel], step_rad=step_rad, reach_rad=FARTHEST_RAD)
    return Dots(dots.x_rad * px_per_rad, dots.y_rad * px_per_rad, dots.shares)
