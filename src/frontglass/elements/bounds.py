"""How far elements go: far beyond any glass, near enough that every answer is a finite number.

A look says what things are at strength 1; at another strength the same bounds hold for what comes
of it.
"""

from __future__ import annotations

from frontglass.checks import check_within

AT_STRENGTH = "It is what the look says, times what its strength makes of it."

DEEPEST = 4096.0
"""Deviations of a ray [1]: 64 at the largest strength; from ten on no light goes straight on."""
BRIGHTEST = 1e6
"""Lamp over key light, or over white [1]: the sun beside a candle is 1e5 lux over 0.1."""
MOST_OF_A_CHANNEL = 1000.0
"""Factor on one channel [1]: ten stops, farther apart than a laser's colours on any sensor."""
MOST_TURN_DEG = 3600.0
"""Ten turns [degree]: beyond 1e15 a float does not know its angle at all."""
FARTHEST_M = 1e5
"""Place of a lamp [m]: beyond the clearest air."""
FINEST_PITCH_MM = 0.02
"""Threads closer than this [mm] are not woven: half of the finest cloth. No source."""
FINEST_LINES_MM = 0.002
"""Lines closer than this [mm] send their first order beyond any frame."""
WIDEST_PITCH_MM = 100.0
"""Threads farther apart [mm] leave the front of any lens one or none, which is no net."""
WIDEST_GLASS_MM = 1000.0
"""Half a pane [mm]: what stands farther out is before no lens."""
THICKEST_FILM_UM = 100.0
"""Film of grease [um]: a smear that can be scraped off, through which nothing is seen."""


def check_turn_deg(name: str, value: object) -> float:
    """Return an angle [degree] of at most ten turns, else raise ParameterError."""
    return check_within(name, value, -MOST_TURN_DEG, MOST_TURN_DEG)


def check_place_m(name: str, value: object) -> float:
    """Return a coordinate [m] that light can come from, else raise ParameterError."""
    return check_within(name, value, -FARTHEST_M, FARTHEST_M)
