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
GLASS = {"plate", "glow", "veil", "tint", "stray_lamp"}
"""Kinds behind which light falls and spreads by powers of one number for each unit of strength."""
DEEPEST_GLASS, NODES_OF_GLASS = 4.0, 6
"""Optical depth of glass at the largest strength up to which so many renders tell all between."""
THIN, NODES_OF_THIN = 1.0, 5
"""The same of haze and grease, in strength itself."""
IN_ROOT, NODES = 0.5, 7
UNSTEADY_NODES = (0.0, 0.06, 0.125, 0.25, 0.375, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, LARGEST)


def nodes_of(look: Look) -> dict[str, Any]:
    """Return the strengths to render a look at, and how the page blends them.

    The renders stand at places, which are the strengths to some power, and a blend is a
    polynomial of the place through some neighbours, as many as the window says.

    Notes
    -----
    Behind glass light is a sum of terms ``depth**n exp(-depth)``, with depth in proportion to
    strength: where there is little of it, a polynomial of low degree. Grain that is laid over it
    goes by the root of that, which near bare is none; so the root of strength is the place, in
    which both are nearly polynomials. Thin haze and grease are in strength itself. Through
    Chebyshev's places, bare and the end among them, 99.9 % of the blend's pixels are within one
    8-bit code. Nets and lines are no polynomials: orders far from a lamp wax and wane many times
    while the threads get thicker, and no few renders tell what lies between. There the page blends
    the two nearest in straight lines, says so, and is exact at rest. Glass is there at any strength
    but 0, with all its ghosts: with it the first place is just above.
    """
    power, count = _power_and_count(look)
    if count > 0:
        turns = np.cos(np.linspace(0, math.pi, count))
        places = LARGEST**power * (1 - turns) / 2
        strengths, window = [round(float(place ** (1 / power)), 4) for place in places], count
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
    """Return in which power of strength a look is nearly a polynomial, and how many nodes tell.

    None tell one that is no polynomial.
    """
    if not all(element.is_steady for element in look.elements):
        return 1.0, 0
    depth = max(
        -sum(math.log(max(part.direct_share(c), 1e-9)) for part in look.at(LARGEST).light_path)
        for c in CHANNELS
    )
    if all(part.kind in GLASS for part in look.elements):
        return IN_ROOT, NODES_OF_GLASS if depth <= DEEPEST_GLASS else NODES
    return (1.0, NODES_OF_THIN) if depth <= THIN else (IN_ROOT, NODES)
