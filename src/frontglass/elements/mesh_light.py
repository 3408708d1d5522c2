"""Nets and lines as filters."""

from __future__ import annotations

from frontglass.convolution.filters import Filter
from frontglass.convolution.nets import CrossedFilter
from frontglass.convolution.tulle import TulleFilter
from frontglass.optics.bands import CHANNEL_BANDS
from frontglass.optics.masks import CrossedMask, PupilMask
from frontglass.optics.tulle import HexagonalNet


def mask_filter(mask: PupilMask, channel: int, px_per_rad: float, pale_share: float) -> Filter:
    """What a net or line glass does to the light of a channel: 0 red, 1 green, 2 blue.

    Parameters
    ----------
    mask : PupilMask
        What the pupil sees.
    channel : int
        Whose band of wavelengths.
    px_per_rad : float
        Scale of the picture, > 0.
    pale_share : float
        Of the light that leaves, what pale threads scatter into a veil. [1], in [0, 1).
    """
    band = CHANNEL_BANDS[channel]
    match mask:
        case HexagonalNet():
            return TulleFilter(mask=mask, band=band, px_per_rad=px_per_rad, pale_share=pale_share)
        case CrossedMask():
            crossed = mask.crossed
            return CrossedFilter(
                mask=crossed, band=band, px_per_rad=px_per_rad, pale_share=pale_share
            )
    msg = f"no way to lay a mask of type {type(mask).__name__}."
    raise TypeError(msg)
