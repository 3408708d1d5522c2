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
SHALLOW = 1e-6
"""Depth of what does nothing to light that goes straight on."""
ALMOST_BARE = 1e-13
"""So little of any look that no picture shows it, and nothing spreads."""
NODES_OF_GLASS, NODES_OF_GREASE, NODES_OF_REST = (
    ((0.7, 3), (1.0, 4), (4.0, 5), (math.inf, 7)),
    ((1.0, 4), (6.0, 5), (math.inf, 7)),
    ((0.25, 4), (1.0, 5), (math.inf, 7)),
)
"""How many renders tell all between, up to an optical depth at the largest strength: of glass, of
grease on it, and of haze, which is not as deep everywhere."""
FADING = 0.5
"""Depth at which the highest power of what the page blends behind glass falls off, over all there
is. Waves of a still are dimmed by something between nothing and all, most by less than all."""
UNSTEADY_NODES = (0.0, 0.06, 0.125, 0.25, 0.5, 1.0, 2.0, LARGEST)
"""Of nets, each of which is planes of its own: twelve left 4.0 % of the pixels of the café through
`fine-net` beyond a code, 8.5 % at worst, and these leave 5.0 and 9.7 %."""


def nodes_of(look: Look) -> dict[str, Any]:
    """Return the strengths to render a look at, and how the page blends them.

    A blend is a polynomial through some neighbours, as many as the window says: of strength, or
    where there is a rate of ``exp(-rate strength)``.

    Notes
    -----
    Behind glass, in haze and grease light is a sum of terms ``depth**n exp(-depth)``, with depth in
    proportion to strength: where there is little of it, a polynomial of low degree. Of glass and
    grease it is one of ``exp(-rate strength)`` rather, which falls off as it does. Grain, which is
    neither, the page lays over the blend, and it finds what lamps do not fall below (`Smooth`).
    Through Chebyshev's places, bare and the end among them, 99.9 % of the blend's pixels are within
    one 8-bit code. Nets and lines are no polynomials: orders far from a lamp wax and wane many
    times while the threads get thicker, and no few renders tell what lies between. There the page
    blends the two nearest in straight lines, says so, and is exact at rest. Glass is there at any
    strength but 0, with all its ghosts: with it the first place is just above.
    """
    rate = 0.0
    if all(element.is_steady for element in look.elements):
        kinds = {element.kind for element in look.elements} - GLASS
        is_rest = bool(kinds - {"grease"})
        counts = NODES_OF_REST if is_rest else NODES_OF_GREASE if kinds else NODES_OF_GLASS
        depth = _depth(look)
        window = next(count for most, count in counts if depth <= most)
        if not is_rest and depth > SHALLOW:
            rate = FADING * depth / (window - 1) / LARGEST
        turns = (1 - np.cos(np.linspace(0, math.pi, window))) / 2
        places = LARGEST * turns
        if rate:
            places = -np.log1p(math.expm1(-rate * LARGEST) * turns) / rate
        strengths = [round(float(place), 4) + 0.0 for place in places]  # no -0
    else:
        strengths, window = list(UNSTEADY_NODES), 2
    if any(element.place is Place.PLATE for element in look.elements):
        strengths[0] = ALMOST_BARE
    told = {"strengths": strengths, "window": window, "rate": rate}
    return {**told, "depths": glass_depths(look)}


def _depth(look: Look) -> float:
    """Return the optical depth of a look at the largest strength."""
    light_path = look.at(LARGEST).light_path
    return max(
        -sum(math.log(max(part.direct_share(c), 1e-9)) for part in light_path) for c in CHANNELS
    )
