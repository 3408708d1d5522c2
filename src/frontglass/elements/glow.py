"""Glow: glass that deviates part of the light, once or several times, at random."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from frontglass.checks import check_not_negative, check_number, check_within
from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.element import Place
from frontglass.elements.lobes import EVEN, Lobe, check_triple
from frontglass.errors import ParameterError
from frontglass.optics.profiles import Mixture, Profile
from frontglass.optics.scatter import (
    CHANNEL_WAVELENGTHS_NM,
    CompoundScatter,
    optical_depth_at_wavelength,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Glow:
    """A thin scatterer before the lens.

    Parameters
    ----------
    optical_depth : float
        Mean number of deviations of a ray at 540 nm. [1], >= 0, at strength 1.
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
    """

    place: ClassVar[Place] = Place.FRONT

    optical_depth: float
    lobes: tuple[Lobe, ...]
    depth_exponent: float = 0.0
    channel_depth: tuple[float, float, float] = EVEN
    clear_share: float = 1.0
    threshold_stops: float | None = None
    knee_stops: float = 1.0
    clear_centre: ClearCentre | None = None

    def __post_init__(self) -> None:
        check_not_negative("optical_depth", self.optical_depth)
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

    @property
    def transmittance(self) -> float:
        """See `Element`; 1 where part of the view is clear, since exposure goes by that."""
        return 1.0 if self.clear_centre else self.clear_share

    def at(self, strength: float) -> Self:
        """See `Element`: the optical depth and the absorbance scale with strength."""
        return replace(
            self,
            optical_depth=self.optical_depth * strength,
            clear_share=self.clear_share**strength,
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

    def psf(self, channel: int) -> CompoundScatter:
        """PSF of a channel: direct light and light deviated any number of times."""
        return CompoundScatter(optical_depth=self.depth(channel), profile=self.profile(channel))
