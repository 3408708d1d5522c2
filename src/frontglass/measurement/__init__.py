"""Numbers that tell looks apart."""

from __future__ import annotations

from frontglass.measurement.haze import HazeNumbers, haze_numbers
from frontglass.measurement.numbers import GlowNumbers, LookNumbers, look_numbers

__all__ = [
    "GlowNumbers",
    "HazeNumbers",
    "LookNumbers",
    "haze_numbers",
    "look_numbers",
]
