"""Numbers that tell looks apart."""

from __future__ import annotations

from frontglass.judge.facts import Fact, element_facts
from frontglass.judge.numbers import GlowNumbers, LookNumbers, look_numbers

__all__ = ["Fact", "GlowNumbers", "LookNumbers", "element_facts", "look_numbers"]
