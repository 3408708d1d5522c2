"""Stray lamp: a small lamp beside the lens, outside the frame, that strikes the front glass."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from frontglass.checks import check_not_negative, check_number, check_share
from frontglass.elements.element import Place
from frontglass.elements.lobes import EVEN, check_triple
from frontglass.errors import ParameterError
from frontglass.optics.stray_lamp import HenyeyGreensteinScatter, LampDirection
from frontglass.optics.stray_lamp import StrayLamp as Lamp
from frontglass.units import rad_from_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class StrayLamp:
    """A lamp that washes the frame, stronger on its own side.

    Parameters
    ----------
    right_deg, up_deg : float
        Where it stands: angles from the axis of the lens to the right and up. [degree], together
        at most 89.
    illuminance : float
        On glass that faces it, over that of the key light on the scene, at strength 1. [1], >= 0.
    colour : tuple of 3 float
        Of its light: red, green, blue. [1], >= 0.
    scatter_depth : float
        Share of the light that the glass scatters forward. [1], in [0, 1].
    asymmetry : float
        How narrow that scatter is: mean cosine of the angle. [1], in [0, 1).
    dust_share : float
        Share scattered evenly by dust and fingerprints. [1], in [0, 1].
    hooded : bool
        Whether a hood or flag keeps the lamp off the glass.
    ghosts : float
        Level of a drawn chain of ghosts, to warn that some lenses make one; 0 is none. [1], >= 0.
    blades : int
        Sides of the iris whose shape the ghosts have. [1], 5 to 18.

    Raises
    ------
    ParameterError
        If a value is out of its range.
    """

    place: ClassVar[Place] = Place.LENS

    right_deg: float
    up_deg: float = 0.0
    illuminance: float
    colour: tuple[float, float, float] = EVEN
    scatter_depth: float = 0.02
    asymmetry: float = 0.9
    dust_share: float = 0.01
    hooded: bool = False
    ghosts: float = 0.0
    blades: int = 7

    def __post_init__(self) -> None:
        check_number("right_deg", self.right_deg)
        check_number("up_deg", self.up_deg)
        check_not_negative("illuminance", self.illuminance)
        check_triple("colour", self.colour)
        check_share("scatter_depth", self.scatter_depth)
        if not 0 <= check_number("asymmetry", self.asymmetry) < 1:
            raise ParameterError("asymmetry", "in [0, 1)", self.asymmetry)
        check_share("dust_share", self.dust_share)
        if not isinstance(self.hooded, bool):
            raise ParameterError("hooded", "true or false", self.hooded)
        check_not_negative("ghosts", self.ghosts)
        whole = isinstance(self.blades, int) and not isinstance(self.blades, bool)
        if not whole or not 5 <= self.blades <= 18:
            raise ParameterError("blades", "a whole number from 5 to 18", self.blades)
        self.lamp()  # checks the direction

    def lamp(self) -> Lamp:
        """Return the lamp as the physics has it, in units of the key light."""
        # Rows of a picture count downwards.
        right, down = rad_from_deg(self.right_deg), -rad_from_deg(self.up_deg)
        return Lamp(
            direction=LampDirection(
                off_axis_rad=math.hypot(right, down), clock_rad=math.atan2(down, right)
            ),
            illuminance=self.illuminance,
            scatter=HenyeyGreensteinScatter(
                optical_depth=self.scatter_depth, asymmetry=self.asymmetry
            ),
            dust_share=self.dust_share,
            hooded=self.hooded,
        )

    @property
    def transmittance(self) -> float:
        """See `Element`: light is added and none is lost."""
        return 1.0

    def at(self, strength: float) -> Self:
        """See `Element`."""
        return replace(self, illuminance=self.illuminance * strength)
