"""Between renders: the strengths at which a look is rendered, and how the page blends them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from frontglass.elements import Place
from frontglass.elements.element import CHANNELS
from frontglass.live.smooth import GLASS, glass_depths
from frontglass.looks import Look
from frontglass.units import STOCK_STRENGTHS

LARGEST = 4.0
"""Strength at the end of the page's slider."""
TRADE = (*map(float, STOCK_STRENGTHS), LARGEST)
"""Strengths that have a tick."""
ALMOST_BARE = 1e-13
"""So little of any look that no picture shows it, and nothing spreads."""
NODES_OF_GLASS, NODES_OF_GREASE, NODES_OF_REST = (
    ((0.25, 3), (1.0, 4), (4.0, 5), (math.inf, 7)),
    ((1.0, 4), (3.0, 5), (6.0, 6), (math.inf, 7)),
    ((0.25, 4), (1.0, 5), (math.inf, 7)),
)
"""How many renders tell all between, up to an optical depth at the largest strength: of glass, of
grease on it, and of haze, which is not as deep everywhere."""
UNSTEADY_NODES = (0.0, 0.06, 0.125, 0.25, 0.5, 1.0, 2.0, LARGEST)
"""Of nets, each of which is planes of its own: twelve left 4.0 % of the pixels of the café through
`fine-net` beyond a code, 8.5 % at worst, and these leave 5.0 and 9.7 %."""


def nodes_of(look: Look) -> dict[str, Any]:
    """Return the strengths to render a look at, and how the page blends them.

    A blend is a polynomial of strength through some neighbours, as many as the window says.

    Notes
    -----
    Behind glass, in haze and grease light is a sum of terms ``depth**n exp(-depth)``, with depth in
    proportion to strength: where there is little of it, a polynomial of low degree. Grain, which
    is not, the page lays over the blend, and it finds what lamps do not fall below (`Smooth`).
    Through Chebyshev's places, bare and the end among them, 99.9 % of the blend's pixels are within
    one 8-bit code. Nets and lines are no polynomials: orders far from a lamp wax and wane many
    times while the threads get thicker, and no few renders tell what lies between. There the page
    blends the two nearest in straight lines, says so, and is exact at rest. Glass is there at any
    strength but 0, with all its ghosts: with it the first place is just above.
    """
    if all(element.is_steady for element in look.elements):
        kinds = {element.kind for element in look.elements} - GLASS
        counts = NODES_OF_REST if kinds - {"grease"} else NODES_OF_GREASE
        counts = counts if kinds else NODES_OF_GLASS
        window = next(count for most, count in counts if _depth(look) <= most)
        turns = np.cos(np.linspace(0, math.pi, window))
        strengths = [round(float(place), 4) for place in LARGEST * (1 - turns) / 2]
    else:
        strengths, window = list(UNSTEADY_NODES), 2
    if any(element.place is Place.PLATE for element in look.elements):
        strengths[0] = ALMOST_BARE
    return {"strengths": strengths, "window": window, "depths": glass_depths(look)}


def _depth(look: Look) -> float:
    """Return the optical depth of a look at the largest strength."""
    light_path = look.at(LARGEST).light_path
    return max(
        -sum(math.log(max(part.direct_share(c), 1e-9)) for part in light_path) for c in CHANNELS
    )
