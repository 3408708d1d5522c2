"""What every element of a light path has."""

from __future__ import annotations

from enum import IntEnum
from typing import ClassVar, Protocol, Self


class Place(IntEnum):
    """Where in the light path an element stands, in the order in which light meets it."""

    AIR = 1
    FRONT = 2
    LENS = 3


class Element(Protocol):
    """One physical thing in the light path: a frozen value that says what it is.

    Notes
    -----
    Its numbers are those at strength 1. How its light is computed is the business of
    `frontglass.convolution`.
    """

    place: ClassVar[Place]

    @property
    def transmittance(self) -> float:
        """Light that leaves over light that enters, for an evenly lit field. [1], in (0, 1]."""
        ...

    def at(self, strength: float) -> Self:
        """Return as much of the same thing as `strength` says; 0 is nothing at all."""
        ...


class LightPath(Protocol):
    """Anything that puts elements before a lens, such as a look at a strength."""

    @property
    def name(self) -> str:
        """What it is called."""
        ...

    @property
    def strength(self) -> float:
        """How much of it. [1], >= 0."""
        ...

    @property
    def light_path(self) -> tuple[Element, ...]:
        """The elements, at their strength, in light order."""
        ...

    @property
    def light_loss_stops(self) -> float:
        """Light lost at this strength [stop], >= 0."""
        ...
