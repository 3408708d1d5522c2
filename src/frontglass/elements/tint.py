"""Tint: glass that passes one colour better than another."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from frontglass.arrays import Float32
from frontglass.convolution.filters import Filter
from frontglass.elements.element import GREEN, Element, Passage, Place
from frontglass.elements.lobes import check_triple
from frontglass.errors import ParameterError


@dataclass(frozen=True, slots=True, kw_only=True)
class Tint(Element):
    """Colour of a glass: the share of each channel that passes.

    Parameters
    ----------
    passes : tuple of 3 float
        Red, green and blue that leave, of what enters, at strength 1. [1], in (0, 1].

    Raises
    ------
    ParameterError
        If a share is out of its range.

    Notes
    -----
    Shares to the power of the strength, so that strengths add (Bouguer's law). Green is what
    exposure goes by: the light lost is what green loses.

    References
    ----------
    [Bouguer1729].

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> warm = fg.Tint(passes=(1.0, 0.97, 0.9))
    >>> fg.render(np.full((2, 2, 3), 0.97), warm)[0, 0].round(3).tolist()
    [1.0, 0.97, 0.9]
    """

    kind: ClassVar[str] = "tint"
    place: ClassVar[Place] = Place.FRONT

    passes: tuple[float, float, float]

    def __post_init__(self) -> None:
        shares = check_triple("passes", self.passes)
        if not 0 < min(shares) <= max(shares) <= 1:
            raise ParameterError("passes", "in (0, 1] for each channel", self.passes)

    @property
    def transmittance(self) -> float:
        """See `Element`: of green."""
        return self.passes[GREEN]

    def at(self, strength: float) -> Self:
        """See `Element`."""
        red, green, blue = (max(own**strength, sys.float_info.min) for own in self.passes)
        return replace(self, passes=(red, green, blue))

    @property
    def is_round(self) -> bool:
        """See `Element`."""
        return True

    def direct_share(self, channel: int) -> float:
        """See `Element`: against green, so that it may exceed 1."""
        return self.passes[channel] / self.passes[GREEN]

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        """See `Element`."""
        del radius_rad
        return self.direct_share(channel)

    def filter(self, channel: int, px_per_rad: float) -> Filter | None:
        """See `Element`: none, for it spreads nothing."""
        del channel, px_per_rad
        return None  # mypy wants it said

    def through(self, light: Float32, passage: Passage) -> Float32:
        """See `Element`."""
        return light * self.share_through(passage, slice(None))
