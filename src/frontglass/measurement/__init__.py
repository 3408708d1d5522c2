"""Numbers that tell looks apart."""

from __future__ import annotations

from frontglass.measurement.facts import Fact, HazeNumbers, element_facts, haze_numbers
from frontglass.measurement.numbers import GlowNumbers, LookNumbers, look_numbers

__all__ = [
    "Fact",
    "GlowNumbers",
    "HazeNumbers",
    "LookNumbers",
    "element_facts",
    "haze_numbers",
    "look_numbers",
]
