"""Haze: droplets in the air between the lens and everything it sees."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from frontglass.checks import check_not_negative, check_number, check_positive, check_within
from frontglass.elements.element import CHANNELS, Element, Fact, Passage, Place
from frontglass.elements.haze_light import light_through_haze
from frontglass.elements.lobes import EVEN, check_triple
from frontglass.errors import ParameterError
from frontglass.optics.air import (
    Air,
    droplet_load_mg_per_m3,
    extinction_from_optical_range,
    optical_range_m,
)
from frontglass.optics.beams import Spotlight
from frontglass.optics.camera import Camera
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM, optical_depth_at_wavelength
from frontglass.optics.stray_lamp import SCENE_WHITE_REFLECTANCE
from frontglass.units import rad_from_deg

Float32 = NDArray[np.float32]

DENSEST_PER_M = 64.0
NEAR_M, ACROSS_THE_ROOM_M = 3.0, 10.0
"""A subject, and the far wall of a room, for which haze is told in numbers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """A lamp that draws a column in the air; it may stand outside the frame.

    Parameters
    ----------
    right_m, up_m, forward_m : float
        Where it stands, from the lens, in the axes of the picture. [m]
    aim_right_m, aim_up_m, aim_forward_m : float
        A point that it is aimed at. [m], not the lamp's own.
    cone_deg : float
        Half angle within which it is even. [degree], in [0, 80].
    edge_deg : float
        Further angle over which it falls to nothing. [degree], in [0.1, 80]; both below 90.
    level : float
        How bright it makes a white card that faces it one metre away, over the white of the
        still. [1], >= 0.
    colour : tuple of 3 float
        Of its light: red, green, blue. [1], >= 0.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Examples
    --------
    >>> import frontglass as fg
    >>> spot = fg.Beam(
    ...     right_m=-1, up_m=3, forward_m=4, aim_right_m=0, aim_up_m=0, aim_forward_m=5,
    ...     cone_deg=8, level=6,
    ... )
    >>> len(fg.Haze(extinction_per_m=0.02, beams=(spot,)).beams)
    1
    """

    right_m: float
    up_m: float
    forward_m: float
    aim_right_m: float
    aim_up_m: float
    aim_forward_m: float
    cone_deg: float
    edge_deg: float = 2.0
    level: float
    colour: tuple[float, float, float] = EVEN

    def __post_init__(self) -> None:
        for name in ("right_m", "up_m", "forward_m", "aim_right_m", "aim_up_m", "aim_forward_m"):
            check_number(name, getattr(self, name))
        if self._way == (0, 0, 0):
            raise ParameterError("aim_right_m", "of a point away from the lamp", self.aim_right_m)
        check_within("cone_deg", self.cone_deg, 0, 80)
        check_within("edge_deg", self.edge_deg, 0.1, 80)
        if self.cone_deg + self.edge_deg >= 90:
            raise ParameterError("edge_deg", "below 90 with cone_deg", self.edge_deg)
        check_not_negative("level", self.level)
        check_triple("colour", self.colour)

    @property
    def _way(self) -> tuple[float, float, float]:
        return (
            self.aim_right_m - self.right_m,
            self.up_m - self.aim_up_m,
            self.aim_forward_m - self.forward_m,
        )

    def beam(self) -> Spotlight:
        """Return the beam as the physics has it."""
        return Spotlight(
            # Rows of a picture count downwards.
            origin_m=(self.right_m, -self.up_m, self.forward_m),
            direction=self._way,
            cone_rad=rad_from_deg(self.cone_deg),
            edge_rad=rad_from_deg(self.edge_deg),
        )

    def intensity(self, channel: int) -> float:
        """Light into the middle of the beam, in units of white times square metres."""
        # A Lambertian card of that reflectance shows reflectance / pi of what falls on it.
        return self.level * self.colour[channel] * math.pi / SCENE_WHITE_REFLECTANCE


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
            Fact(name="optical range, 5 % left", values=(optical_range_m(green),), unit="m"),
            *(
                Fact(name=f"light left after {metres:g} m", values=shares, unit="%")
                for metres, shares in left.items()
            ),
            Fact(name="droplets of 1 um", values=(droplet_load_mg_per_m3(green),), unit="mg/m3"),
        )
