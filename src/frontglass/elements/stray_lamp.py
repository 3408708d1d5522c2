"""Stray lamp: a small lamp beside the lens, outside the frame, that strikes the front glass."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np

from frontglass.arrays import Float32
from frontglass.checks import check_number, check_share, check_within
from frontglass.elements.bounds import AT_STRENGTH, BRIGHTEST, MOST_OF_A_CHANNEL
from frontglass.elements.element import GREEN, Fact, LaidOver, Passage, Place
from frontglass.elements.filter_plane import tangents
from frontglass.elements.lobes import EVEN, check_triple
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.optics.stray_lamp import (
    EXAMPLE_GHOSTS,
    HenyeyGreensteinScatter,
    LampDirection,
    OffAxisLamp,
    ghost_radiance,
    white_from_radiance,
)
from frontglass.units import rad_from_deg, stops_from_ratio

ROWS_AT_A_TIME = 64
EDGE_PX = 2.0
"""Width over which the edge of a ghost falls off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrayLamp(LaidOver):
    """A lamp that washes the frame, stronger on its own side.

    Parameters
    ----------
    right_deg, up_deg : float
        Where it stands: angles from the axis of the lens to the right and up. [degree], together
        at most 89.
    illuminance : float
        On glass that faces it, over that of the key light on the scene, at strength 1. [1], in
        [0, 6.4e7].
    colour : tuple of 3 float
        Of its light: red, green, blue. [1], in [0, 1000].
    scatter_depth : float
        Share of the light that the glass scatters forward. [1], in [0, 1].
    asymmetry : float
        How narrow that scatter is: mean cosine of the angle. [1], in [0, 1).
    dust_share : float
        Share scattered evenly by dust and fingerprints. [1], in [0, 1].
    hooded : bool
        Whether a hood or flag keeps the lamp off the glass.
    ghosts : float
        Level of a drawn chain of ghosts, to warn that some lenses make one; 0 is none. [1], in
        [0, 1000].
    blades : int
        Sides of the iris whose shape the ghosts have. [1], 5 to 18.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Examples
    --------
    >>> import frontglass as fg
    >>> torch = fg.StrayLamp(right_deg=40, up_deg=10, illuminance=1.5)
    >>> torch.at(0.5).illuminance
    0.75
    """

    kind: ClassVar[str] = "stray_lamp"
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
        check_within("illuminance", self.illuminance, 0, 64 * BRIGHTEST, AT_STRENGTH)
        check_triple("colour", self.colour)
        check_share("scatter_depth", self.scatter_depth)
        if not 0 <= check_number("asymmetry", self.asymmetry) < 1:
            raise ParameterError("asymmetry", "in [0, 1)", self.asymmetry)
        check_share("dust_share", self.dust_share)
        if not isinstance(self.hooded, bool):
            raise ParameterError("hooded", "true or false", self.hooded)
        check_within("ghosts", self.ghosts, 0, MOST_OF_A_CHANNEL)
        whole = isinstance(self.blades, int) and not isinstance(self.blades, bool)
        if not whole or not 5 <= self.blades <= 18:
            raise ParameterError("blades", "a whole number from 5 to 18", self.blades)
        self.lamp()  # checks the direction

    def lamp(self) -> OffAxisLamp:
        """Return the lamp as the physics has it, in units of the key light."""
        # Rows of a picture count downwards.
        right, down = rad_from_deg(self.right_deg), -rad_from_deg(self.up_deg)
        return OffAxisLamp(
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

    def through(self, light: Float32, passage: Passage) -> Float32:
        """See `Element`: the lamp's wash is laid over light, and its ghosts if they are wanted."""
        if self.hooded:
            return light
        px_per_rad = passage.camera.px_per_rad(light.shape[1])
        lamp = self.lamp()
        colour = np.array(self.colour, dtype=np.float32)
        out = np.empty_like(light)
        height, width = light.shape[:2]
        columns = np.arange(width, dtype=np.float64)
        for top in range(0, height, ROWS_AT_A_TIME):
            rows = np.arange(top, min(top + ROWS_AT_A_TIME, height), dtype=np.float64)
            x, y = tangents(rows, columns, (height, width), px_per_rad)
            wash = lamp.wash(x, y)
            if self.ghosts:
                edge = EDGE_PX / px_per_rad
                chain = ghost_radiance(lamp, EXAMPLE_GHOSTS, x, y, blades=self.blades, edge=edge)
                wash = wash + self.ghosts * chain
            white = white_from_radiance(wash, key_illuminance=1.0).astype(np.float32)
            out[top : top + len(rows)] = (
                light[top : top + len(rows)] + white[..., np.newaxis] * colour
            )
        return out

    def wash(self, tangent_right: float, channel: int) -> float:
        """Wash at a place on the frame's horizontal [white = 1]."""
        radiance = self.lamp().wash(tangent_right, 0.0)
        return float(white_from_radiance(radiance, key_illuminance=1.0)) * self.colour[channel]

    def stray_light(self, channel: int) -> float:
        """See `Element`."""
        return self.wash(0.0, channel)

    def without_stray_light(self) -> Self:
        """See `Element`."""
        return replace(self, hooded=True)

    def facts(self, camera: Camera, width_px: int) -> tuple[Fact, ...]:
        """See `Element`."""
        edge = width_px / 2 / camera.px_per_rad(width_px)
        left, middle, right = (self.wash(tangent, GREEN) for tangent in (-edge, 0.0, edge))
        facts = [
            Fact(name=f"wash {where}, of white", values=(100 * share,), unit="%")
            for where, share in (("left", left), ("middle", middle), ("right", right))
        ]
        if left > 0 and right > 0:
            across = abs(stops_from_ratio(left / right))
            facts.append(Fact(name="from side to side", values=(across,), unit="stops"))
        return tuple(facts)
