"""Nets and lines as filters."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.filters import Filter
from frontglass.convolution.nets import CrossedFilter
from frontglass.convolution.tulle import TulleFilter
from frontglass.elements.lines import Lines
from frontglass.elements.net import Net
from frontglass.optics.bands import CHANNEL_BANDS
from frontglass.optics.tulle import HexagonalNet


def mesh_filter(mesh: Net | Lines, channel: int, px_per_rad: float) -> Filter:
    """What a net or line glass does to the light of a channel: 0 red, 1 green, 2 blue."""
    mask = mesh.mask() if isinstance(mesh, Net) else mesh.mask(channel)
    band = CHANNEL_BANDS[channel]
    if isinstance(mask, HexagonalNet):
        return TulleFilter(
            mask=mask, band=band, px_per_rad=px_per_rad, pale_share=mesh.veil_share
        )
    return CrossedFilter(
        mask=mask.crossed, band=band, px_per_rad=px_per_rad, pale_share=mesh.veil_share
    )


def light_through_mesh(
    light: NDArray[np.float32], mesh: Net | Lines, px_per_rad: float, surround: Surround
) -> NDArray[np.float32]:
    """Light that leaves a net or line glass, as a share of all that leaves."""
    return convolve(light, [mesh_filter(mesh, c, px_per_rad) for c in range(3)], surround)
