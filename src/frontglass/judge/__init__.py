"""Numbers that tell looks apart."""

from __future__ import annotations

from frontglass.judge.numbers import GlowNumbers, LookNumbers, look_numbers

__all__ = ["GlowNumbers", "LookNumbers", "look_numbers"]
