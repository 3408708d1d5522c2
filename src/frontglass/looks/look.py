"""A look: what stands in the light path, under a name."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Self

from frontglass.checks import check_line, check_within
from frontglass.elements import Element, Place
from frontglass.errors import ParameterError
from frontglass.looks.learned_from import LearnedFrom
from frontglass.optics.glare import light_loss_stops
from frontglass.units import LARGEST_STRENGTH, strength_from_text, strength_text

NAME_RULE = "lower-case words joined by hyphens, such as quiet-pier"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Elements in light order, and what a cinematographer should know of them.

    Parameters
    ----------
    elements : sequence of Element
        As they are at strength 1, in the order in which light meets them; at least one.
    name : str
        Short name: lower-case words joined by hyphens.
    summary : str
        What it does, in one line.
    watch : str
        What to watch for, in one line.
    strength : float
        How much of it. [1], in [0, 64].
    learned : LearnedFrom or None
        What it was learned from, if it was.

    Raises
    ------
    ParameterError
        If a text breaks its rule, there is no element, or elements stand out of the order air,
        front of the lens, lens.

    Examples
    --------
    >>> import frontglass as fg
    >>> mist = fg.Glow(optical_depth=0.05, lobes=(fg.MoffatLobe(core_deg=0.25, beta=1.6),))
    >>> look = fg.Look(elements=(mist, fg.Veil(veil_share=0.004)), name="quiet-pier")
    >>> print(look.at("1/2"))
    quiet-pier 1/2
    >>> fg.Look.from_toml(look.to_toml()) == look
    True
    """

    elements: tuple[Element, ...]
    name: str = "untitled"
    summary: str = "Put together in Python."
    watch: str = "Nothing is noted yet."
    strength: float = 1.0
    learned: LearnedFrom | None = None

    def __post_init__(self) -> None:
        for key in ("name", "summary", "watch"):
            check_line(key, getattr(self, key))
        if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", self.name):
            raise ParameterError("name", NAME_RULE, self.name)
        object.__setattr__(self, "elements", _elements(self.elements))
        # As a mirror glass stands where what is on it does.
        places = [
            Place.FRONT if element.place is Place.PLATE else element.place
            for element in self.elements
        ]
        if places != sorted(places):
            order = ", ".join(type(element).__name__.lower() for element in self.elements)
            hint = "Light meets the air first, then what is before the lens, then the lens."
            raise ParameterError("elements", "in light order", order, hint)
        check_within("strength", self.strength, 0, LARGEST_STRENGTH)

    @staticmethod
    def from_toml(text: str) -> Look:
        """Look that TOML text describes, as `read_look` reads it from a file.

        Raises
        ------
        LookError
            If the text says something that is not understood.
        """
        from frontglass.looks.reading import look_from_toml

        return look_from_toml(text, "look")

    def to_toml(self) -> str:
        """Text of a look file, which `read_look` and `from_toml` read as the same look.

        A file says what the elements are at strength 1; how strong it is used is said wherever it
        is, so that the strength is not in the text.

        Raises
        ------
        LookError
            If an element is none that a file can name.
        """
        from frontglass.looks.writing import look_as_toml

        return look_as_toml(self)

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

    def with_glass(self, **changes: object) -> Self:
        """Return the look with the glass it stands on changed, such as its `tilt_deg`."""
        return replace(self, elements=tuple(part.with_glass(**changes) for part in self.elements))

    def without_ghosts(self) -> Self:
        """Return the look whose glass gets no light back from the camera, at the same cost."""
        return self.with_glass(returns=0.0)

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

    def _repr_html_(self) -> str:
        """Return what a notebook shows of it."""
        from frontglass.notebook import look_html

        return look_html(self)

    def __str__(self) -> str:
        return f"{self.name} {strength_text(self.strength)}"


def _elements(given: object) -> tuple[Element, ...]:
    """Return elements as a tuple, else raise ParameterError."""
    elements = tuple(given) if isinstance(given, list | tuple) else ()
    if not elements or not all(isinstance(part, Element) for part in elements):
        raise ParameterError("elements", "one element at least, in a tuple or list", given)
    return elements
