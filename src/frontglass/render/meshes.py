"""Light through nets and lines: dots, rays, and the loss of definition that goes with them."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.elements import Lines, Net
from frontglass.optics.bands import CHANNEL_BANDS
from frontglass.optics.masks import Dots, PupilMask
from frontglass.render.mirrors import Pattern, spread_by_dots
from frontglass.render.spread import Surround
from frontglass.units import rad_from_deg

Float32 = NDArray[np.float32]

FARTHEST_RAD = 16.0
"""Angles are small ones, and mirrors bring light back from any of them. Beyond this, 2e-5 of the
light of a fine net is left, and it is laid over the frame as a veil."""
STEP_PX = 0.5
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
    sharp = 1 - mesh.veil_share
    mean = cv2.mean(light)
    patterns = []
    for channel in range(3):
        mask = mesh.mask() if isinstance(mesh, Net) else mesh.mask(channel)
        dots = _dots(mask, channel, px_per_rad)
        beyond = 1 - mask.direct - float(dots.shares.sum())
        # Points stand for light that is continuous: what they have too much is not direct.
        direct, lost = mask.direct + min(beyond, 0.0), max(beyond, 0.0)
        if surround is Surround.DARK:
            lost = 0.0  # it leaves the frame
        patterns.append(
            Pattern(
                direct=sharp * direct,
                dots=dots._replace(shares=sharp * dots.shares),
                pedestal=(mesh.veil_share + sharp * lost) * mean[channel],
            )
        )
    return spread_by_dots(light, patterns, px_per_rad=px_per_rad, surround=surround)


def _dots(mask: PupilMask, channel: int, px_per_rad: float) -> Dots:
    step_rad = min(STEP_PX / px_per_rad, COARSEST_STEP_RAD)
    return mask.dots(CHANNEL_BANDS[channel], step_rad=step_rad, reach_rad=FARTHEST_RAD)
