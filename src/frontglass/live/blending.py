"""Between renders: the strengths at which a look is rendered, and how the page blends them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from frontglass.elements import Place
from frontglass.looks import Look
from frontglass.units import STOCK_STRENGTHS

LARGEST = 4.0
"""Strength at the end of the page's slider."""
TRADE = (*map(float, STOCK_STRENGTHS), LARGEST)
"""Strengths that have a tick."""
SMOOTH_NODES = 7
ALMOST_BARE = 0.001
"""So little of any look that no picture shows it."""
UNSTEADY_NODES = (0.0, 0.06, 0.125, 0.25, 0.375, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, LARGEST)


def nodes_of(look: Look) -> dict[str, Any]:
    """Return the strengths to render a look at, and how many neighbours a blend takes.

    Notes
    -----
    Light behind glass, grease, veils and haze is nearly a polynomial in the square root of
    strength: through seven strengths at Chebyshev's places of that, bare and the end among them,
    the blend is within one 8-bit code. Nets and lines are not: orders far from a lamp wax and
    wane many times while the threads get thicker, and no few renders tell what lies between.
    There the page blends the two nearest in straight lines, says so, and is exact at rest.
    Glass is there at any strength but 0, with all its ghosts: with it the first place is just
    above.
    """
    if all(element.is_steady for element in look.elements):
        turns = np.cos(np.linspace(0, math.pi, SMOOTH_NODES))
        strengths = [round(float(s), 4) for s in LARGEST * ((1 - turns) / 2) ** 2]
        window = SMOOTH_NODES
    else:
        strengths, window = list(UNSTEADY_NODES), 2
    if any(element.place is Place.PLATE for element in look.elements):
        strengths[0] = ALMOST_BARE
    places = [math.sqrt(strength) for strength in strengths]
    return {"strengths": strengths, "places": places, "window": window}
