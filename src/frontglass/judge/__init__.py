"""Numbers that tell looks apart."""

from __future__ import annotations

from frontglass.judge.facts import Fact, HazeNumbers, element_facts, haze_numbers
from frontglass.judge.numbers import GlowNumbers, LookNumbers, look_numbers

__all__ = [
    "Fact",
    "GlowNumbers",
    "HazeNumbers",
    "LookNumbers",
    "element_facts",
    "haze_numbers",
    "look_numbers",
]
