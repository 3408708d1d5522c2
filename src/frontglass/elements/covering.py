"""Something on a filter before the lens, a part of which may be left clear."""

from __future__ import annotations

from abc import abstractmethod
from typing import ClassVar

import numpy as np

from frontglass.arrays import Float32
from frontglass.convolution.convolve import MixedPart
from frontglass.convolution.filters import Filter
from frontglass.convolution.split import on_split_pixels
from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.element import (
    CHANNELS,
    Element,
    Fact,
    Passage,
    Place,
    laid_together,
    mixed_over,
)
from frontglass.elements.encircled import encircled_flux
from frontglass.optics.camera import Camera
from frontglass.rows_between import RowsBetween


def all_of_it(rows: slice) -> Float32:
    """Share of a part that is all of the light."""
    del rows
    return np.ones((1, 1), np.float32)


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

    def covered_parts(self, shape: tuple[int, int], camera: Camera) -> list[MixedPart]:
        """Return what light of a frame is divided into, where it is covered.

        None for one that has a way of its own, `through_covered`.
        """
        px_per_rad = camera.px_per_rad(shape[1])
        filters = [self.covered_filter(channel, px_per_rad) for channel in CHANNELS]
        own = [one for one in filters if one is not None]
        return [MixedPart(all_of_it, own)] if own else []

    def through_covered(self, light: Float32, passage: Passage) -> Float32:
        """See `Element.through_over`, where it is covered."""
        parts = self.covered_parts(_shape(light), passage.camera)
        return mixed_over(light, parts, passage)

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
        return self.through_over(light.copy(), passage)

    def through_over(self, light: Float32, passage: Passage) -> Float32:
        """See `Element`.

        Notes
        -----
        The lens sees, in a direction, what leaves the filter in that direction over the footprint
        of that direction, wherever it came from: ``out = c L + (1 - c) T spread(L)`` with c the
        share of the footprint that is clear. Rays of a lamp that are deviated elsewhere on the
        filter pass the lens by. So a lamp seen through the clear part gets a halo where the
        filter is covered, and one seen through the covered part sends none into the clear one.
        The light of all lamps together is kept; that of one at the rim is not, by as much as its
        halo finds more of the filter covered than the lamp itself does.
        """
        clear = self.clear_centre
        if clear is None:
            return self.through_covered(light, passage)
        parts = clear.parts_of_a_pixel(_shape(light), passage.camera)
        return on_split_pixels(
            light,
            parts,
            lambda fine: self._beside(clear.share(_shape(fine), passage.camera), fine, passage),
        )

    def _beside(self, clear: RowsBetween, light: Float32, passage: Passage) -> Float32:
        """Light of which a share passes a clear part."""
        times = np.float32(self.covered_transmittance)
        passed = clear._replace(nodes=(1 - clear.nodes) * times)
        parts = [
            part.of(passed.within) for part in self.covered_parts(_shape(light), passage.camera)
        ]
        if parts:
            return mixed_over(light, [MixedPart(clear.within, None), *parts], passage)
        seen = self.through_covered(light.copy(), passage)
        return laid_together([(clear.within, light), (passed.within, seen)])

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        """See `Element`."""

        def covered(px_per_rad: float) -> Filter:
            return self._has(self.covered_filter(channel, px_per_rad))

        return encircled_flux(covered, radius_rad)

    def covered_share(self, camera: Camera) -> float:
        """See `Element`."""
        clear = self.clear_centre
        return 1.0 if clear is None else 1 - clear.share_in_the_middle(camera)

    def facts(self, camera: Camera, width_px: int) -> tuple[Fact, ...]:
        """See `Element`."""
        clear = () if self.clear_centre is None else self.clear_centre.facts(camera)
        return (*self.covered_facts(camera.px_per_deg(width_px)), *clear)


def _shape(light: Float32) -> tuple[int, int]:
    return light.shape[0], light.shape[1]
