"""A look: what stands in the light path, under a name."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass, replace
from typing import Self

from frontglass.checks import check_within
from frontglass.elements import Element, Place
from frontglass.errors import ParameterError
from frontglass.optics.glare import light_loss_stops
from frontglass.units import LARGEST_STRENGTH, strength_from_text, strength_text

NAME_RULE = "lower-case words joined by hyphens, such as quiet-pier"
LINE_BREAKERS = {"Cc", "Zl", "Zp"}
"""Unicode categories that end a line or steer a terminal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Elements in light order, and what a cinematographer should know of them.

    Parameters
    ----------
    name : str
        Short name: lower-case words joined by hyphens.
    summary : str
        What it does, in one line.
    watch : str
        What to watch for, in one line.
    elements : tuple of Element
        As they are at strength 1, in the order in which light meets them; at least one.
    strength : float
        How much of it. [1], in [0, 64].

    Raises
    ------
    ParameterError
        If a text breaks its rule, there is no element, or elements stand out of the order air,
        front of the lens, lens.
    """

    name: str
    summary: str
    watch: str
    elements: tuple[Element, ...]
    strength: float = 1.0

    def __post_init__(self) -> None:
        for key in ("name", "summary", "watch"):
            _check_line(key, getattr(self, key))
        if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", self.name):
            raise ParameterError("name", NAME_RULE, self.name)
        elements: object = self.elements
        if not isinstance(elements, tuple) or not elements:
            raise ParameterError("elements", "a tuple of at least one element", self.elements)
        places = [element.place for element in self.elements]
        if places != sorted(places):
            order = ", ".join(type(element).__name__.lower() for element in self.elements)
            hint = "Light meets the air first, then what is before the lens, then the lens."
            raise ParameterError("elements", "in light order", order, hint)
        check_within("strength", self.strength, 0, LARGEST_STRENGTH)

    def at(self, strength: str | float) -> Self:
        """Return the look at another strength, such as 0.25 or "1/4"; it replaces the present one.

        Raises
        ------
        ParameterError
            If it is no strength.
        """
        return replace(self, strength=strength_from_text(strength))

    def hooded(self) -> Self:
        """Return the look with every lamp beside the lens flagged."""
        return replace(self, elements=tuple(part.without_stray_light() for part in self.elements))

    def before_the_lens(self) -> Self | None:
        """Return what of it draws halos, rays and dots: no air, no veil; None if nothing does."""
        front = (part for part in self.elements if part.place is Place.FRONT)
        parts = tuple(part.without_veil() for part in front)
        return replace(self, elements=parts) if parts else None

    def draped(self, turn_deg: float) -> Self:
        """Return the look where the threads of its fabrics have turned."""
        return replace(self, elements=tuple(part.draped(turn_deg) for part in self.elements))

    @property
    def light_path(self) -> tuple[Element, ...]:
        """The elements as the strength makes them."""
        return tuple(element.at(self.strength) for element in self.elements)

    @property
    def transmittance(self) -> float:
        """Light that leaves over light that enters, for an evenly lit field. [1], in (0, 1]."""
        return math.prod(element.transmittance for element in self.light_path)

    @property
    def light_loss_stops(self) -> float:
        """Light lost at this strength [stop], >= 0."""
        return light_loss_stops(self.transmittance)

    def __str__(self) -> str:
        return f"{self.name} {strength_text(self.strength)}"


def _check_line(name: str, value: object) -> None:
    if not isinstance(value, str) or not value.strip():
        raise ParameterError(name, "a line of text", value)
    if any(unicodedata.category(letter) in LINE_BREAKERS for letter in value):
        raise ParameterError(name, "a single line without control characters", value)
