"""Veil: a share of all the light in the frame, spread evenly over it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from frontglass.checks import check_number
from frontglass.convolution.filters import Filter, VeilFilter
from frontglass.elements.element import Element, Place
from frontglass.errors import ParameterError
from frontglass.optics.glare import veil_share_at_strength


@dataclass(frozen=True, slots=True, kw_only=True)
class Veil(Element):
    """Veiling glare that lifts blacks and takes nothing else.

    Parameters
    ----------
    veil_share : float
        Share of the mean light of the frame that is spread over it, at strength 1.
        [1], in [0, 1).

    Raises
    ------
    ParameterError
        If it is out of range.

    Notes
    -----
    ``L' = (1 - V) L + V mean(L)``; at strength s the share is ``1 - (1 - V)**s``, so that strengths
    add.

    Examples
    --------
    >>> import frontglass as fg
    >>> round(fg.Veil(veil_share=0.19).at(0.5).veil_share, 3)
    0.1
    """

    kind: ClassVar[str] = "veil"
    place: ClassVar[Place] = Place.LENS

    veil_share: float

    def __post_init__(self) -> None:
        if not 0 <= check_number("veil_share", self.veil_share) < 1:
            raise ParameterError("veil_share", "in [0, 1)", self.veil_share)

    @property
    def transmittance(self) -> float:
        """See `Element`: a veil moves light and loses none."""
        return 1.0

    def at(self, strength: float) -> Self:
        """See `Element`."""
        share = veil_share_at_strength(self.veil_share, strength)
        # Half of the light 64 times over leaves 2**-64, which a float cannot hold beside 1.
        return replace(self, veil_share=min(share, math.nextafter(1.0, 0.0)))

    @property
    def is_round(self) -> bool:
        """See `Element`."""
        return True

    def direct_share(self, channel: int) -> float:
        """See `Element`."""
        del channel
        return 1 - self.veil_share

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        """See `Element`."""
        del radius_rad, channel
        return 1 - self.veil_share

    def filter(self, channel: int, px_per_rad: float) -> Filter:
        """See `Element`."""
        del channel, px_per_rad
        return VeilFilter(share=self.veil_share)
