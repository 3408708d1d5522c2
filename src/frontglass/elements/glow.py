"""Glow: glass that deviates part of the light, once or several times, at random."""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32
from frontglass.checks import check_number, check_within
from frontglass.convolution.filters import Filter, ScatterFilter
from frontglass.elements.bounds import AT_STRENGTH, DEEPEST
from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.covering import Covering
from frontglass.elements.element import CHANNELS, Passage, spread_some_over
from frontglass.elements.lobes import EVEN, Lobe, check_triple
from frontglass.errors import ParameterError
from frontglass.lit_pixels import LitPixels
from frontglass.optics.profiles import Mixture, Profile
from frontglass.optics.scatter import (
    CHANNEL_WAVELENGTHS_NM,
    CompoundScatter,
    optical_depth_at_wavelength,
)
from frontglass.threads import in_pieces
from frontglass.units import ratio_from_stops

Places = NDArray[np.intp]

ROWS_AT_A_TIME = 64
NOTHING_TO_DO = (
    "A glow that spreads only light brighter than white did nothing: this still holds none. "
    "Lamps that are clipped have lost it."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Glow(Covering):
    """A thin scatterer before the lens.

    Parameters
    ----------
    optical_depth : float
        Mean number of deviations of a ray at 540 nm. [1], in [0, 4096]: 64 at the largest
        strength.
    lobes : tuple of Lobe
        Where a single deviation sends light; at least one.
    depth_exponent : float
        The optical depth falls as (wavelength / 540 nm) to this power: 0 is neutral, positive
        leaves blue round a lamp. [1], in [-4, 4].
    channel_depth : tuple of 3 float
        Further factor on the optical depth in red, green and blue. [1], >= 0.
    clear_share : float
        Light that is not absorbed, at strength 1. [1], in (0, 1].
    threshold_stops : float or None
        Only light this far above diffuse white is spread; None spreads all, as physics does.
        [stop], in [-10, 16].
    knee_stops : float
        Width of the change from untouched to spread. [stop], in [0, 8].
    clear_centre : ClearCentre or None
        A part of the glass that does nothing.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Notes
    -----
    ``OTF = exp(-tau (1 - K))`` with K the transform of the lobes; strength multiplies tau, so that
    strengths add. With a threshold the glow is no longer linear in the light: a concession to
    those who want the lamps touched and nothing else.

    Examples
    --------
    >>> import frontglass as fg
    >>> glow = fg.Glow(optical_depth=0.2, lobes=(fg.ExponentialLobe(scale_deg=0.5),))
    >>> round(glow.psf(1).direct, 3), round(glow.at(2).psf(1).direct, 3)
    (0.819, 0.67)
    """

    kind: ClassVar[str] = "glow"
    is_speckled: ClassVar[bool] = True

    optical_depth: float
    lobes: tuple[Lobe, ...]
    depth_exponent: float = 0.0
    channel_depth: tuple[float, float, float] = EVEN
    clear_share: float = 1.0
    threshold_stops: float | None = None
    knee_stops: float = 1.0
    clear_centre: ClearCentre | None = None

    def __post_init__(self) -> None:
        check_within("optical_depth", self.optical_depth, 0, DEEPEST, AT_STRENGTH)
        lobes: object = self.lobes
        if not (isinstance(lobes, tuple) and lobes and all(isinstance(x, Lobe) for x in lobes)):
            raise ParameterError("lobes", "a tuple of at least one lobe", self.lobes)
        check_within("depth_exponent", self.depth_exponent, -4, 4)
        check_triple("channel_depth", self.channel_depth)
        if not 0 < check_number("clear_share", self.clear_share) <= 1:
            raise ParameterError("clear_share", "in (0, 1]", self.clear_share)
        if self.threshold_stops is not None:
            check_within("threshold_stops", self.threshold_stops, -10, 16)
        check_within("knee_stops", self.knee_stops, 0, 8)
        deepest = max(self.depth(channel) for channel in CHANNELS)
        if deepest > DEEPEST:
            rule = f"such that no channel is deeper than {DEEPEST:g}"
            raise ParameterError("channel_depth", rule, self.channel_depth, AT_STRENGTH)

    @property
    def covered_transmittance(self) -> float:
        """See `Covering`."""
        return self.clear_share

    def at(self, strength: float) -> Self:
        """See `Element`: the optical depth and the absorbance scale with strength."""
        return replace(
            self,
            optical_depth=self.optical_depth * strength,
            # A share of nothing is none: what is left stays a number, however small.
            clear_share=max(self.clear_share**strength, sys.float_info.min),
        )

    def depth(self, channel: int) -> float:
        """Optical depth in a channel. [1], >= 0."""
        depth = optical_depth_at_wavelength(
            self.optical_depth, CHANNEL_WAVELENGTHS_NM[channel], exponent=self.depth_exponent
        )
        return depth * self.channel_depth[channel]

    def profile(self, channel: int) -> Profile:
        """Profile of a single deviation in a channel."""
        profiles = tuple(lobe.profile(channel) for lobe in self.lobes)
        if len(profiles) == 1:
            return profiles[0]
        whole = math.fsum(lobe.share for lobe in self.lobes)
        shares = tuple(lobe.share / whole for lobe in self.lobes)
        return Mixture(shares=shares, profiles=profiles)

    @property
    def is_round(self) -> bool:
        """See `Element`."""
        return True

    def psf(self, channel: int) -> CompoundScatter:
        """PSF of a channel: direct light and light deviated any number of times."""
        return CompoundScatter(optical_depth=self.depth(channel), profile=self.profile(channel))

    def direct_share(self, channel: int) -> float:
        """See `Element`."""
        return self.psf(channel).direct

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        """See `Element`."""
        if self.threshold_stops is not None:
            return 1.0
        return float(self.psf(channel).encircled_flux(radius_rad))

    def scatter(self, channel: int) -> CompoundScatter | None:
        """See `Element`."""
        return self.psf(channel) if self.optical_depth else None

    def covered_filter(self, channel: int, px_per_rad: float) -> Filter | None:
        """See `Covering`; light below a threshold is not spread."""
        return None if self.threshold_stops is not None else self._spread(channel, px_per_rad)

    def _spread(self, channel: int, px_per_rad: float) -> Filter:
        scatterers = ((self.depth(channel), self.profile(channel)),)
        return ScatterFilter(scatterers=scatterers, px_per_rad=px_per_rad)

    def through_covered(self, light: Float32, passage: Passage) -> Float32:
        """See `Covering`; with a threshold what is above it is spread, and nothing else."""
        if self.threshold_stops is None:
            return Covering.through_covered(self, light, passage)
        above = light_above(light, threshold_stops=self.threshold_stops, knee_stops=self.knee_stops)
        if not len(above.light):
            passage.notices.append(NOTHING_TO_DO)
            return light
        px_per_rad = passage.camera.px_per_rad(light.shape[1])
        filters = [self._spread(channel, px_per_rad) for channel in CHANNELS]
        return spread_some_over(light, above, filters, passage)


def light_above(light: Float32, *, threshold_stops: float, knee_stops: float) -> LitPixels:
    """Light above a threshold, in the colour of the pixel it comes from.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light; 1 is diffuse white.
    threshold_stops : float
        Where the middle of the knee stands above diffuse white. [stop]
    knee_stops : float
        Width of the knee. [stop], >= 0.

    Returns
    -------
    LitPixels
        A share of `light`, in [0, 1) and the same for the three channels: of the brightest
        channel m, what is over the threshold. Below the knee nothing, above it ``m - t``, within
        it the parabola that joins the two smoothly.
    """
    low = np.float32(ratio_from_stops(threshold_stops - knee_stops / 2))
    high = np.float32(ratio_from_stops(threshold_stops + knee_stops / 2))
    threshold = (low + high) / 2
    found: dict[int, tuple[Places, Places, Float32]] = {}

    def some(rows: slice) -> None:
        red, green, blue = (light[rows, :, channel] for channel in range(3))
        brightest = np.maximum(np.maximum(red, green), blue)  # ten times as fast as max(axis=2)
        at = np.nonzero(brightest > low)
        m = brightest[at]
        over = m - threshold
        if high > low:
            over = np.where(m < high, (m - low) ** 2 / (2 * (high - low)), over)
        lit = light[rows][at] * (over / m)[:, np.newaxis]
        found[rows.start] = at[0] + rows.start, at[1], np.asarray(lit, np.float32)

    in_pieces(some, len(light), ROWS_AT_A_TIME)
    parts = zip(*(found[top] for top in sorted(found)), strict=True)
    rows, columns, lit = (np.concatenate(part) for part in parts)
    return LitPixels(light.shape, (rows, columns), lit)
