"""Looks one behind the other: what one choice puts before the lens."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass

from frontglass.elements import Element
from frontglass.errors import ParameterError
from frontglass.looks.catalogue import look_from_text
from frontglass.looks.look import Look
from frontglass.units import strength_text

BEHIND = "+"
"""What stands between looks that light passes one after the other."""


@dataclass(frozen=True, slots=True)
class LookStack:
    """Looks that light passes one after the other, the first one outermost.

    Parameters
    ----------
    looks : tuple of Look
        The looks, each at its strength; one at least.
    sources : tuple of str
        How each is found again: its name, or the file it was read from.

    Examples
    --------
    >>> stack = stack_from_text("late-tram:1/2+powder-room")
    >>> print(stack)
    late-tram 1/2 + powder-room 1
    >>> stack.text
    'late-tram:1/2+powder-room:1'
    """

    looks: tuple[Look, ...]
    sources: tuple[str, ...]

    @property
    def light_path(self) -> tuple[Element, ...]:
        """The elements as their strengths make them, look by look."""
        return tuple(part for look in self.looks for part in look.light_path)

    @property
    def light_loss_stops(self) -> float:
        """Light that all of them cost [stop], >= 0."""
        return math.fsum(look.light_loss_stops for look in self.looks)

    @property
    def text(self) -> str:
        """The text that `stack_from_text` reads as the same looks."""
        pairs = zip(self.sources, self.looks, strict=True)
        return BEHIND.join(f"{source}:{strength_text(look.strength)}" for source, look in pairs)

    def hooded(self) -> LookStack:
        """Return the looks with every lamp beside the lens flagged."""
        return LookStack(tuple(look.hooded() for look in self.looks), self.sources)

    def with_glass(self, **changes: object) -> LookStack:
        """Return the looks with the glass they stand on changed."""
        return LookStack(tuple(look.with_glass(**changes) for look in self.looks), self.sources)

    def __str__(self) -> str:
        return f" {BEHIND} ".join(str(look) for look in self.looks)


def stack_from_text(text: str, default_strength: str | float = 1.0) -> LookStack:
    """Return the looks of a text NAME_OR_FILE[:STRENGTH], several with + between.

    Such as "late-tram:1/2+powder-room:1/2" for one behind the other.

    Raises
    ------
    LookError
        If there is no such look.
    ParameterError
        If a strength is none, or nothing stands beside a "+".
    """
    parts = looks_of_text(text)
    if not all(parts):
        hint = f"A look stands on both sides of each {BEHIND}, such as late-tram:1/2+powder-room."
        raise ParameterError("look", "a look, or several with + between them", text, hint)
    looks = tuple(look_from_text(part, default_strength) for part in parts)
    return LookStack(looks, tuple(map(_source, parts, looks)))


def looks_of_text(text: str) -> list[str]:
    """Return the looks of a text: what stands between +, names of files aside."""
    parts: list[str] = []
    for piece in map(str.strip, text.split(BEHIND)):
        joined = BEHIND.join((parts[-1], piece)) if parts else ""
        name = _without_strength(joined)
        # Longer than what stands before it: else the + comes after the file and its strength.
        if parts and len(name) > len(parts[-1]) and os.path.isfile(name):
            parts[-1] = joined
        else:
            parts.append(piece)
    return parts


def _without_strength(text: str) -> str:
    stem, dot_toml, _ = text.rpartition(".toml")
    return stem + dot_toml


def _source(part: str, look: Look) -> str:
    name = _without_strength(part)
    return name or look.name
