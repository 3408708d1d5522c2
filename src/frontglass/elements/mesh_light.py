"""Light through nets and lines: dots, rays, and the loss of definition that goes with them."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.convolution.blocks import precision_for
from frontglass.convolution.kernels import MirrorKernel
from frontglass.convolution.mirrors import spread_among_mirrors, spread_in_the_dark
from frontglass.convolution.transfers import Besides, MirrorTransfer, Mix, with_glow
from frontglass.optics.bands import CHANNEL_BANDS
from frontglass.optics.masks import Dots, PupilMask
from frontglass.units import rad_from_deg

if TYPE_CHECKING:
    from frontglass.elements.diffracting import Diffracting

Float32 = NDArray[np.float32]

FARTHEST_RAD = 16.0
"""Angles are small ones, and mirrors bring light back from any of them. Beyond this, 2e-5 of the
light of a fine net is left, and it is laid over the frame as a veil."""
STEP_PX = 0.5
KEPT_TRANSFERS = 1
"""The next still of a scene goes through the same net."""
COARSEST_STEP_RAD = rad_from_deg(0.02)
"""Coarser points would miss the shape of what uneven threads spread, and too much light with it."""


def light_through_mesh(
    light: Float32,
    mesh: Diffracting,
    px_per_rad: float,
    surround: Surround,
    *,
    besides: Besides | None = None,
) -> Float32:
    """Light that leaves a net or line glass, as a share of all that leaves.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    mesh : Diffracting
        At its strength.
    px_per_rad : float
        Scale of the picture.
    surround : Surround
        What lies outside the frame.
    besides : Besides or None
        Glows and veils that the light passes as well. Under mirrors only.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        The direct light, the orders and what irregular threads spread. What lands
        beyond the farthest angle, and what pale threads scatter, is laid over the frame as a veil.
    """
    masks = _masks(mesh)
    if surround is Surround.DARK:
        dots = [_dots_px(mask, channel, px_per_rad) for channel, mask in enumerate(masks)]
        mixes = [
            _mix(mesh, mask, float(pattern.shares.sum()), surround)
            for mask, pattern in zip(masks, dots, strict=True)
        ]
        return spread_in_the_dark(light, dots, mixes)
    shape = (light.shape[0], light.shape[1])
    direct = min(mask.direct for mask in masks)
    if besides is not None:
        direct *= min(halo.direct for halo in besides.halos)
    kind = precision_for(light, 1 - direct)
    return spread_among_mirrors(light, _transfers(mesh, besides, px_per_rad, shape, kind))


def _masks(mesh: Diffracting) -> list[PupilMask]:
    return [mesh.mask(channel) for channel in range(3)]


def _mix(mesh: Diffracting, mask: PupilMask, total: float, surround: Surround) -> Mix:
    sharp = 1 - mesh.veil_share
    beyond = 1 - mask.direct - total
    # Points stand for light that is continuous: what they have too much is not direct.
    direct, lost = mask.direct + min(beyond, 0.0), max(beyond, 0.0)
    if surround is Surround.DARK:
        lost = 0.0  # it leaves the frame
    return Mix(sharp * direct, sharp, mesh.veil_share + sharp * lost)


@lru_cache(maxsize=KEPT_TRANSFERS)
def _transfers(
    mesh: Diffracting,
    besides: Besides | None,
    px_per_rad: float,
    shape: tuple[int, int],
    kind: np.dtype[Any],
) -> tuple[MirrorTransfer, ...]:
    transfers = []
    for channel, mask in enumerate(_masks(mesh)):
        kernel = MirrorKernel.of(_dots_px(mask, channel, px_per_rad), shape)
        mix = _mix(mesh, mask, kernel.total, Surround.MIRROR)
        transfers.append(MirrorTransfer.of(kernel, shape, kind, mix))
    return tuple(transfers if besides is None else with_glow(transfers, shape, besides))


def _dots_px(mask: PupilMask, channel: int, px_per_rad: float) -> Dots:
    step_rad = min(STEP_PX / px_per_rad, COARSEST_STEP_RAD)
    dots = mask.dots(CHANNEL_BANDS[channel], step_rad=step_rad, reach_rad=FARTHEST_RAD)
    return Dots(dots.x_rad * px_per_rad, dots.y_rad * px_per_rad, dots.shares)
