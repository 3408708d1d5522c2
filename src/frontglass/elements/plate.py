"""Plate: a pane of glass before the lens, as a mirror that throws lamps back into it."""

from __future__ import annotations

import math
from abc import abstractmethod
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Self

from frontglass.arrays import Float32
from frontglass.checks import check_number, check_share, check_within
from frontglass.choices import Choice
from frontglass.elements.element import CHANNELS, Element, Fact, LaidOver, Passage, Place
from frontglass.elements.ghost_light import with_ghosts
from frontglass.elements.ghost_mirror import Glass
from frontglass.elements.ghosts import ghost_notices, ghosts_in
from frontglass.elements.lamp_patches import lamps_found
from frontglass.elements.lobes import EVEN, check_triple
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.optics.plate import (
    Lean,
    Mirror,
    coated_reflectance,
    fresnel_reflectance,
    plate_reflectance,
)
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.optics.stray_lamp import FEWEST_BLADES, MOST_BLADES
from frontglass.units import deg_from_rad, rad_from_deg

CROWN_INDEX = 1.52
"""Of common optical glass in the middle of the spectrum. From memory."""
RETURNED = 0.01
"""Light that sensor and lens send back out, over that on the sensor. Common practice, no source:
stacks of cover glass, filters and silicon mirror 1 to 5 %, the grid of pixels sends a good part of
that aside, and the lens takes some twice. Judged by eye on the café: a bulb's ghost is faint."""
MULTILAYER = 0.003
"""What a coating of several layers leaves of each surface. Common practice (2 to 5 thousandths),
no source."""
LARGEST_TILT_DEG, LARGEST_WEDGE_DEG, HIGHEST_INDEX = 45.0, 5.0, 4.0


class Coating(Choice):
    """What lies on both surfaces of a plate.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Coating("multi") == "multi"
    True
    """

    NONE = "none"
    SINGLE = "single"
    MULTI = "multi"


class Mirroring(LaidOver):
    """Glass that throws lamps back into the lens."""

    __slots__ = ()

    place: ClassVar[Place] = Place.PLATE

    @property
    @abstractmethod
    def glass(self) -> Glass:
        """What of it mirrors, the outermost surface first."""

    def through(self, light: Float32, passage: Passage) -> Float32:
        """See `Element`: ghosts of lamps are laid over light."""
        return self._laid(light, passage, may_lose=False)

    def through_over(self, light: Float32, passage: Passage) -> Float32:
        """See `Element`."""
        return self._laid(light, passage, may_lose=True)

    def _laid(self, light: Float32, passage: Passage, *, may_lose: bool) -> Float32:
        glass, camera, axis = self.glass, passage.camera, passage.axis_px
        lamps = lamps_found(light) if glass.reflects else None
        if lamps is None:
            return light
        ghosts = ghosts_in(light, lamps, glass, camera, axis)
        passage.notices.extend(ghost_notices(ghosts, camera))
        return with_ghosts(light, lamps, glass, camera, axis, may_lose=may_lose)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate(Mirroring):
    """A plane pane of glass: ghosts of lamps, upside down and mirrored.

    Parameters
    ----------
    index : float
        Refractive index, which says what a bare surface mirrors. [1], in [1, 4].
    reflectance : float or None
        What each surface mirrors, where that is known; None goes by index and coating. [1], in
        [0, 1].
    coating : "none", "single" or "multi"
        A quarter wave of magnesium fluoride, or several layers that leave 0.3 %.
    tint : tuple of 3 float
        Colour of what is mirrored, a factor for red, green and blue. [1], in [0, 1000].
    tilt_deg : tuple of 2 float
        Lean about the horizontal axis of the frame, ghosts going up, and about the vertical one,
        ghosts going to the right. [degree], in [-45, 45].
    wedge_deg : tuple of 2 float
        Angle of its surfaces to one another, about the same axes. [degree], in [-5, 5].
    returns : float
        Light that sensor and lens send back out of the lens, over that on the sensor. [1], in
        [0, 1].
    blades : int
        Sides of the iris, the shape of ghosts out of focus; 0 is round. [1], 0 or 5 to 18.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Notes
    -----
    It is there or it is not: strength does not multiply it, and 0 takes it away. Only what is lamp
    throws a ghost, as `lamp_pixels` has it; of all else it would be a thousandth. The ghost is
    added to what the still holds: it is light that the sensor had sent back, which a bare lens
    loses. It then goes through what else stands before the lens once. Really one of its surfaces
    lies before what scatters and one behind, so that its light passes twice and not at all: once
    in the mean. The grid of coloured dots that pixels make round ghosts is left out.

    Examples
    --------
    >>> import frontglass as fg
    >>> pane = fg.Plate(index=1.52)
    >>> round(pane.transmittance, 4), pane.at(0.25) == pane, pane.at(0).transmittance
    (0.9183, True, 1.0)
    """

    kind: ClassVar[str] = "plate"

    index: float = CROWN_INDEX
    reflectance: float | None = None
    coating: Coating | str = Coating.NONE
    tint: tuple[float, float, float] = EVEN
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    wedge_deg: tuple[float, float] = (0.0, 0.0)
    returns: float = RETURNED
    blades: int = 0

    def __post_init__(self) -> None:
        check_within("index", self.index, 1, HIGHEST_INDEX)
        object.__setattr__(self, "coating", Coating.of("coating", self.coating))
        if self.reflectance is not None:
            check_share("reflectance", self.reflectance)
            if self.coating is not Coating.NONE:
                hint = "Both say what a surface mirrors."
                raise ParameterError("coating", "left out beside reflectance", self.coating, hint)
        check_triple("tint", self.tint)
        _check_pair("tilt_deg", self.tilt_deg, LARGEST_TILT_DEG)
        _check_pair("wedge_deg", self.wedge_deg, LARGEST_WEDGE_DEG)
        check_share("returns", self.returns)
        whole = isinstance(self.blades, int) and not isinstance(self.blades, bool)
        if not whole or (self.blades and not FEWEST_BLADES <= self.blades <= MOST_BLADES):
            raise ParameterError("blades", "0 or a whole number from 5 to 18", self.blades)
        for channel in CHANNELS:
            if self.surface_reflectance(channel) > 1:
                rule = "such that no surface mirrors more light than there is"
                raise ParameterError("tint", rule, self.tint)

    def surface_reflectance(self, channel: int) -> float:
        """Share of light that each of its surfaces mirrors. [1], in [0, 1]."""
        if self.reflectance is not None:
            bare = self.reflectance
        elif self.coating is Coating.NONE:
            bare = fresnel_reflectance(self.index)
        elif self.coating is Coating.SINGLE:
            bare = coated_reflectance(self.index, CHANNEL_WAVELENGTHS_NM[channel])
        else:
            bare = MULTILAYER
        return bare * self.tint[channel]

    def plate_reflectance(self, channel: int) -> float:
        """Share of light that it mirrors, by both surfaces. [1], in [0, 1]."""
        return plate_reflectance(self.surface_reflectance(channel))

    @property
    def glass(self) -> Glass:
        """What of it mirrors, the outermost surface first."""
        up, right = self.tilt_deg
        lean = Lean(math.tan(rad_from_deg(right)), -math.tan(rad_from_deg(up)))
        if not any(self.wedge_deg):
            whole = tuple(self.plate_reflectance(channel) for channel in CHANNELS)
            return Glass((Mirror(whole, lean),), self.returns, self.blades)
        surface = tuple(self.surface_reflectance(channel) for channel in CHANNELS)
        # The far surface is seen through the glass, which bends light on the way in and out.
        up, right = (self.index * wedge for wedge in self.wedge_deg)
        far = Lean(
            lean.right + math.tan(rad_from_deg(right)), lean.down - math.tan(rad_from_deg(up))
        )
        return Glass((Mirror(surface, far), Mirror(surface, lean)), self.returns, self.blades)

    @property
    def transmittance(self) -> float:
        """See `Element`: what its surfaces mirror is lost."""
        return 1 - math.fsum(map(self.plate_reflectance, CHANNELS)) / 3

    def at(self, strength: float) -> Self:
        """See `Element`: all of it, or at 0 nothing."""
        if strength:
            return self
        return replace(self, reflectance=0.0, coating=Coating.NONE)

    def merged_with(self, other: Element) -> Element | None:
        """See `Element`: panes of glass mirror one another."""
        return Panes(plates=(self, other)) if isinstance(other, Plate) else None

    def with_glass(self, **changes: Any) -> Self:
        """See `Element`."""
        if changes.get("coating", self.coating) is not self.coating:
            changes["reflectance"] = None
        return replace(self, **changes)

    def facts(self, camera: Camera, width_px: int) -> tuple[Fact, ...]:
        """See `Element`."""
        mirrored = tuple(100 * self.plate_reflectance(channel) for channel in CHANNELS)
        path = self.glass.path(camera)
        reach = deg_from_rad(math.atan(path.farthest))
        facts = [
            Fact(name="mirrored by both surfaces", values=mirrored, unit="%"),
            Fact(
                name="ghost of a lamp, of its light",
                values=tuple(self.returns * share for share in mirrored),
                unit="%",
            ),
            Fact(name="lamps have ghosts within, of its normal", values=(reach,), unit="degrees"),
        ]
        blur_px = path.blur * camera.px_per_rad(width_px)
        if blur_px > 0:
            facts.append(Fact(name="ghosts spread over", values=(blur_px,), unit="px"))
        return tuple(facts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Panes(Mirroring):
    """Several plates one behind the other, the outermost first: no look's, but a light path's."""

    kind: ClassVar[str] = "plates"
    plates: tuple[Plate, ...]

    @property
    def transmittance(self) -> float:
        """See `Element`."""
        return math.prod(plate.transmittance for plate in self.plates)

    def at(self, strength: float) -> Self:
        """See `Element`."""
        return replace(self, plates=tuple(plate.at(strength) for plate in self.plates))

    @property
    def glass(self) -> Glass:
        """What of them mirrors, the outermost surface first."""
        mirrors = tuple(mirror for plate in self.plates for mirror in plate.glass.mirrors)
        # One camera: what it sends back is what the plate nearest to it says.
        return Glass(mirrors, self.plates[-1].returns, self.plates[-1].blades)

    def merged_with(self, other: Element) -> Element | None:
        """See `Element`."""
        return Panes(plates=(*self.plates, other)) if isinstance(other, Plate) else None


def glass_of(elements: tuple[Element, ...]) -> Glass | None:
    """Return what mirrors of elements in light order; None if nothing does."""
    plates = tuple(part for part in elements if isinstance(part, Plate) and part != part.at(0))
    return Panes(plates=plates).glass if plates else None


def tilt_from_text(text: str) -> tuple[float, float]:
    """Lean of glass [degree] of text such as "5,0" or "5": about the frame's two axes.

    Raises
    ------
    ParameterError
        If it is no such text, or it leans too far.
    """
    rule = "degrees about the frame's horizontal and vertical axis, such as 5,0"
    try:
        first, *rest = (float(part) for part in text.split(","))
        (second,) = rest or (0.0,)
    except ValueError:
        raise ParameterError("tilt", rule, text) from None
    return _check_pair("tilt", (first, second), LARGEST_TILT_DEG)


def returns_from_text(text: str) -> float:
    """Share of text such as "2%" or "0.02".

    Raises
    ------
    ParameterError
        If it is no share.
    """
    try:
        share = float(text.strip().removesuffix("%")) / (100 if text.strip().endswith("%") else 1)
    except ValueError:
        raise ParameterError("returns", "a share such as 2% or 0.02", text) from None
    return check_share("returns", share)


def _check_pair(name: str, pair: object, most: float) -> tuple[float, float]:
    values = tuple(pair) if isinstance(pair, tuple | list) else ()
    if len(values) != 2:
        raise ParameterError(name, "two angles, about the horizontal and vertical axis", pair)
    for value in values:
        if not -most <= check_number(name, value) <= most:
            raise ParameterError(name, f"in [{-most:g}, {most:g}]", value)
    return values
