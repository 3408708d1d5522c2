"""Haze: droplets in the air between the lens and everything it sees."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np

from frontglass.arrays import Float32
from frontglass.checks import check_number, check_positive, check_within
from frontglass.elements.element import CHANNELS, Element, Fact, Passage, Place
from frontglass.elements.haze_lamps import BareLamp, Beam
from frontglass.elements.haze_light import light_through_haze
from frontglass.elements.lobes import check_triple
from frontglass.errors import ParameterError
from frontglass.optics.air import (
    Air,
    droplet_load_mg_per_m3,
    extinction_from_optical_range,
    optical_range_m,
    transmittance,
)
from frontglass.optics.camera import Camera
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM, optical_depth_at_wavelength

DENSEST_PER_M = 64.0
NEAR_M, ACROSS_THE_ROOM_M = 3.0, 10.0
"""A subject, and the far wall of a room, for which haze is told in numbers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Haze(Element):
    """Air with droplets in it, alike everywhere in the room.

    Parameters
    ----------
    extinction_per_m : float or None
        Light taken from a ray per metre, in green. [1/m], in [0, 64].
    optical_range_m : float or None
        The same said otherwise: the distance at which 5 % of a light is left. [m], > 0. One of
        the two is given.
    extinction_exponent : float
        Extinction falls as wavelength to this power: 0 for droplets of a micrometre, up to 1.3
        for the finest mist. [1], in [-4, 4].
    albedo : float
        Share of the light taken that is scattered, not absorbed. [1], in (0, 1].
    asymmetry : float
        Mean cosine of the angle of scattering. [1], in (-0.99, 0.99).
    airlight : tuple of 3 float or None
        Light of endless haze, apart from lamps: red, green, blue, over white; >= 0. None
        estimates it from the still.
    beams : tuple of Beam
        Lamps that draw columns of light.
    lamps : tuple of BareLamp
        Lamps outside the frame. Those in the frame are found, or pointed at.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Examples
    --------
    >>> import frontglass as fg
    >>> haze = fg.Haze(optical_range_m=60)
    >>> [round(haze.at(strength).extinction(1), 3) for strength in (1, 2)]
    [0.05, 0.1]
    """

    kind: ClassVar[str] = "haze"
    place: ClassVar[Place] = Place.AIR

    extinction_per_m: float | None = None
    optical_range_m: float | None = None
    extinction_exponent: float = 0.0
    albedo: float = 1.0
    asymmetry: float = 0.75
    airlight: tuple[float, float, float] | None = None
    beams: tuple[Beam, ...] = ()
    lamps: tuple[BareLamp, ...] = ()

    def __post_init__(self) -> None:
        if (self.extinction_per_m is None) == (self.optical_range_m is None):
            got = (self.extinction_per_m, self.optical_range_m)
            raise ParameterError("extinction_per_m or optical_range_m", "given, one of them", got)
        if self.optical_range_m is not None:
            check_positive("optical_range_m", self.optical_range_m)
        check_within("extinction_per_m", self.green_extinction_per_m, 0, DENSEST_PER_M)
        check_within("extinction_exponent", self.extinction_exponent, -4, 4)
        if not 0 < check_number("albedo", self.albedo) <= 1:
            raise ParameterError("albedo", "in (0, 1]", self.albedo)
        if not -0.99 < check_number("asymmetry", self.asymmetry) < 0.99:
            raise ParameterError("asymmetry", "in (-0.99, 0.99)", self.asymmetry)
        if self.airlight is not None:
            check_triple("airlight", self.airlight)
        if not isinstance(self.beams, tuple) or not all(isinstance(b, Beam) for b in self.beams):
            raise ParameterError("beams", "a tuple of Beam", self.beams)
        if not isinstance(self.lamps, tuple) or not all(
            isinstance(lamp, BareLamp) for lamp in self.lamps
        ):
            raise ParameterError("lamps", "a tuple of BareLamp", self.lamps)

    @property
    def green_extinction_per_m(self) -> float:
        """Extinction in green [1/m], however it was given."""
        if self.extinction_per_m is not None:
            return check_number("extinction_per_m", self.extinction_per_m)
        return extinction_from_optical_range(float(self.optical_range_m or math.inf))

    def air(self, channel: int) -> Air:
        """Return the air as red, green or blue light meets it."""
        extinction = optical_depth_at_wavelength(
            self.green_extinction_per_m,
            CHANNEL_WAVELENGTHS_NM[channel],
            exponent=self.extinction_exponent,
        )
        return Air(extinction_per_m=extinction, albedo=self.albedo, asymmetry=self.asymmetry)

    @property
    def range_m(self) -> float:
        """Meteorological optical range in green [m]; inf in clear air."""
        return optical_range_m(self.green_extinction_per_m)

    @property
    def transmittance(self) -> float:
        """See `Element`: from an evenly lit room as much light comes in as goes out."""
        return 1.0

    def at(self, strength: float) -> Self:
        """See `Element`: extinction times strength."""
        if strength == 1:
            return self
        return self.with_extinction(self.green_extinction_per_m * strength)

    def with_extinction(self, extinction_per_m: float) -> Self:
        """Return the same droplets, more or fewer of them."""
        return replace(self, extinction_per_m=extinction_per_m, optical_range_m=None)

    @property
    def is_round(self) -> bool:
        """See `Element`; lamps glow alike in every direction before a wall that faces the lens."""
        return True

    def direct_share(self, channel: int) -> float:
        """See `Element`: of a subject 3 m away, for light goes astray all the way."""
        return math.exp(-NEAR_M * self.extinction(channel))

    def share_through(self, passage: Passage, rows: slice) -> Float32:
        """See `Element`: it depends on how far everything is."""
        if passage.distance_m is None:
            return super().share_through(passage, rows)
        distance = passage.distance_m[rows]
        shares = [transmittance(self.extinction(channel), distance) for channel in CHANNELS]
        return np.stack(shares, axis=-1).astype(np.float32)

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        """See `Element`: as good as nothing of what is scattered lands near where it belongs."""
        del radius_rad
        return self.direct_share(channel)

    def filter(self, channel: int, px_per_rad: float) -> None:
        """See `Element`: what air does to light depends on how far it comes."""
        del channel, px_per_rad

    def through(self, light: Float32, passage: Passage) -> Float32:
        """See `Element`."""
        return light_through_haze(light, self, passage)

    def merged_with(self, other: Element) -> Haze | None:
        """See `Element`: extinctions of the same droplets add."""
        if not isinstance(other, Haze) or self.with_extinction(1) != other.with_extinction(1):
            return None
        both = self.green_extinction_per_m + other.green_extinction_per_m
        return self.with_extinction(both)

    def extinction(self, channel: int) -> float:
        """See `Element`."""
        return self.air(channel).extinction_per_m

    def facts(self, camera: Camera, width_px: int) -> tuple[Fact, ...]:
        """See `Element`."""
        del camera, width_px
        green = self.green_extinction_per_m
        left = {
            metres: tuple(100 * math.exp(-metres * self.extinction(c)) for c in CHANNELS)
            for metres in (NEAR_M, ACROSS_THE_ROOM_M)
        }
        return (
            Fact(name="optical range, 5 % left", values=(self.range_m,), unit="m"),
            *(
                Fact(name=f"light left after {metres:g} m", values=shares, unit="%")
                for metres, shares in left.items()
            ),
            Fact(name="droplets of 1 um", values=(droplet_load_mg_per_m3(green),), unit="mg/m3"),
        )
