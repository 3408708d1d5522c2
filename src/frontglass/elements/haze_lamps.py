"""Lamps of a haze that the still does not tell of: beams, and bare lamps outside the frame."""

from __future__ import annotations

import math
from dataclasses import dataclass

from frontglass.checks import check_within
from frontglass.elements.bounds import BRIGHTEST, check_place_m
from frontglass.elements.lobes import EVEN, check_triple
from frontglass.errors import ParameterError
from frontglass.optics.beams import Spotlight, Vector
from frontglass.optics.stray_lamp import SCENE_WHITE_REFLECTANCE
from frontglass.units import rad_from_deg


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
            check_place_m(name, getattr(self, name))
        if self._way == (0, 0, 0):
            raise ParameterError("aim_right_m", "of a point away from the lamp", self.aim_right_m)
        check_within("cone_deg", self.cone_deg, 0, 80)
        check_within("edge_deg", self.edge_deg, 0.1, 80)
        if self.cone_deg + self.edge_deg >= 90:
            raise ParameterError("edge_deg", "below 90 with cone_deg", self.edge_deg)
        check_within("level", self.level, 0, BRIGHTEST)
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
        return _intensity(self.level, self.colour[channel])


@dataclass(frozen=True, slots=True, kw_only=True)
class BareLamp:
    """A lamp outside the frame that shines evenly all round.

    Parameters
    ----------
    right_m, up_m, forward_m : float
        Where it stands, from the lens, in the axes of the picture; negative forward is behind the
        camera. [m], not all 0.
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
    >>> bulb = fg.BareLamp(right_m=2.3, up_m=0.9, forward_m=3.2, level=0.7)
    >>> len(fg.Haze(extinction_per_m=0.02, lamps=(bulb,)).lamps)
    1
    """

    right_m: float
    up_m: float
    forward_m: float
    level: float
    colour: tuple[float, float, float] = EVEN

    def __post_init__(self) -> None:
        for name in ("right_m", "up_m", "forward_m"):
            check_place_m(name, getattr(self, name))
        if not math.hypot(*self.place_m) > 0:
            raise ParameterError("forward_m", "of a place away from the lens", self.forward_m)
        check_within("level", self.level, 0, BRIGHTEST)
        check_triple("colour", self.colour)

    @property
    def place_m(self) -> Vector:
        """Where it is: right, down, forward [m]; rows of a picture count downwards."""
        return (self.right_m, -self.up_m, self.forward_m)

    def intensity(self, channel: int) -> float:
        """Light into any direction, in units of white times square metres."""
        return _intensity(self.level, self.colour[channel])


def _intensity(level: float, colour: float) -> float:
    # A Lambertian card of that reflectance shows reflectance / pi of what falls on it.
    return level * colour * math.pi / SCENE_WHITE_REFLECTANCE
