"""Something on a filter before the lens, a part of which may be left clear."""

from __future__ import annotations

from abc import abstractmethod
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from frontglass.convolution.filters import Filter
from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.element import CHANNELS, Element, Fact, Passage, Place, filtered
from frontglass.optics.camera import Camera

Float32 = NDArray[np.float32]


class Covering(Element):
    """What covers a filter, all of it or all but a clear part.

    A class says what light does where it is covered; here is what a clear centre makes of that.
    """

    __slots__ = ()

    place: ClassVar[Place] = Place.FRONT
    clear_centre: ClearCentre | None

    @property
    @abstractmethod
    def covered_transmittance(self) -> float:
        """Light that leaves over light that enters, where it is covered. [1], in (0, 1]."""

    @abstractmethod
    def covered_filter(self, channel: int, px_per_rad: float) -> Filter | None:
        """See `Element.filter`, where it is covered."""

    def through_covered(self, light: Float32, passage: Passage) -> Float32:
        """See `Element.through`, where it is covered; by its filter unless it has its own way."""
        px_per_rad = passage.camera.px_per_rad(light.shape[1])
        filters = (self.covered_filter(channel, px_per_rad) for channel in CHANNELS)
        return filtered(light, [[one for one in filters if one is not None]], passage)

    def covered_facts(self, px_per_deg: float) -> tuple[Fact, ...]:
        """See `Element.facts`, where it is covered."""
        del px_per_deg
        return ()

    @property
    def transmittance(self) -> float:
        """See `Element`; 1 where part of the view is clear, since exposure goes by that."""
        return 1.0 if self.clear_centre else self.covered_transmittance

    def filter(self, channel: int, px_per_rad: float) -> Filter | None:
        """See `Element`; light through a clear centre is not spread."""
        return None if self.clear_centre else self.covered_filter(channel, px_per_rad)

    def through(self, light: Float32, passage: Passage) -> Float32:
        """See `Element`."""
        if self.clear_centre is None:
            return self.through_covered(light, passage)
        return self.clear_centre.through(
            light,
            passage.camera,
            self.covered_transmittance,
            lambda part: self.through_covered(part, passage),
        )

    def covered_share(self, camera: Camera) -> float:
        """See `Element`."""
        clear = self.clear_centre
        return 1.0 if clear is None else 1 - clear.share_in_the_middle(camera)

    def facts(self, camera: Camera, width_px: int) -> tuple[Fact, ...]:
        """See `Element`."""
        clear = () if self.clear_centre is None else self.clear_centre.facts(camera)
        return (*self.covered_facts(camera.px_per_deg(width_px)), *clear)
