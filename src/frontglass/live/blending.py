"""Between renders: the strengths at which a look is rendered, and how the page blends them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from frontglass.elements import Place
from frontglass.elements.element import CHANNELS
from frontglass.looks import Look
from frontglass.units import STOCK_STRENGTHS

LARGEST = 4.0
"""Strength at the end of the page's slider."""
TRADE = (*map(float, STOCK_STRENGTHS), LARGEST)
"""Strengths that have a tick."""
ALMOST_BARE = 1e-13
"""So little of any look that no picture shows it, and nothing spreads."""
IN_STRENGTH = {"plate", "glow", "veil", "tint", "stray_lamp"}
"""Kinds behind which light falls and spreads by powers of one number for each unit of strength."""
NODES_BY_DEPTH = ((0.25, 3), (1.0, 4), (4.0, 6))
"""Optical depth at the largest strength, and how many renders tell all light between."""
THIN, NODES_OF_OTHERS = 1.0, 5
"""The same of thin haze and grease."""
IN_ROOT, ROOT_NODES = 0.5, 7
UNSTEADY_NODES = (0.0, 0.06, 0.125, 0.25, 0.375, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, LARGEST)


def nodes_of(look: Look) -> dict[str, Any]:
    """Return the strengths to render a look at, and how the page blends them.

    The renders stand at places, which are the strengths to some power, and a blend is a
    polynomial of the place through some neighbours, as many as the window says.

    Notes
    -----
    Behind glass that light goes straight through or is spread by, light is a sum of terms
    ``depth**n exp(-depth)``, and depth is in proportion to strength: where there is little of it,
    a polynomial of low degree. So it is behind thin haze and grease; where they are thick, light
    is nearly a polynomial in the square root of strength. Through Chebyshev's places of either,
    bare and the end among them, the blend is within one 8-bit code. Nets and lines are not: orders
    far from a lamp wax and wane many times while the threads get thicker, and no few renders tell
    what lies between. There the page blends the two nearest in straight lines, says so, and is
    exact at rest. Glass is there at any strength but 0, with all its ghosts: with it the first
    place is just above.
    """
    power, count = _power_and_count(look)
    if all(element.is_steady for element in look.elements):
        turns = np.cos(np.linspace(0, math.pi, count))
        places = LARGEST**power * (1 - turns) / 2
        strengths = [round(float(place ** (1 / power)), 4) for place in places]
        window = count
    else:
        strengths, window = list(UNSTEADY_NODES), 2
    if any(element.place is Place.PLATE for element in look.elements):
        strengths[0] = ALMOST_BARE
    return {
        "strengths": strengths,
        "places": [strength**power for strength in strengths],
        "power": power,
        "window": window,
    }


def _power_and_count(look: Look) -> tuple[float, int]:
    """Return in which power of strength a look is nearly a polynomial, and how many nodes tell."""
    depth = max(
        -sum(math.log(max(part.direct_share(c), 1e-9)) for part in look.at(LARGEST).light_path)
        for c in CHANNELS
    )
    if all(part.kind in IN_STRENGTH for part in look.elements):
        for deepest, count in NODES_BY_DEPTH:
            if depth <= deepest:
                return 1.0, count
    elif depth <= THIN:
        return 1.0, NODES_OF_OTHERS
    return IN_ROOT, ROOT_NODES
