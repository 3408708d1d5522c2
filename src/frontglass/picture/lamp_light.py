"""Whether a still is lit by the lamps in it, and how bright they then are: weak signs together.

What lights a room is what its lamps send, so that lamps in the frame send a few times as much
light as all else in it shows, whatever their size and wherever white is. That says more of a night
than how bright its clipped areas look; of paper and skies it says nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from frontglass.arrays import Float32, Float64

ROUND_PX = 256 * 160
"""Areas smaller than one part in so many of the frame count as parts of an area."""
HALO_FROM_STOPS, HALO_STOPS = 0.1, 0.6
"""Light just beyond the edge over that farther out: of paper less than the first in two of three,
of lamps so much more; light that lens and air spread, and the wall behind."""
FEW, FEW_DOUBLINGS = 4.0, 4.0
"""So many areas may be lamps; so many doublings more are none."""
CRUMBS, CRUMBS_DOUBLINGS = 32.0, 2.0
"""From so many areas on they are crumbs of a sky between leaves, so many doublings more surely."""
DARK_FROM_STOPS, DARK_STOPS = -0.4, 0.8
"""Where all but a hundredth of what does not clip is darker than the first, by the second."""
UNEVEN_STOPS, EVEN_STOPS = 0.7, 0.5
"""Mean over log-average of what does not clip: land before a sky lies beyond the first."""
CORES = 0.4
"""Where less of what clips does so in all channels, most of it is no lamp: sunlit leaves."""
SURE = 0.6
"""Halo and signs together that are as good as sure."""
NIGHT_FROM_STOPS, NIGHT_STOPS = -4.0, 1.5
"""No meter makes the log-average so dark, over white: from the first on, and surely by the second,
somebody kept a night dark, and what clips in it is a lamp, with a halo or without."""
LEAST_LIGHT = 1e-3
CLOSURE_STOPS = (-2.0, 4.0)


class Areas(NamedTuple):
    """What is known of clipped areas; arrays of one entry each.

    `lamp_part` is the part of the frame they fill as far as they may be lamps, `frame_part` all
    of it; `core_share` how much of the inner part ends in all channels; `near` and `around` the
    light just beyond the edge and farther out over the clipping level, nan where there is none.
    """

    lamp_part: Float64
    core_share: Float64
    near: Float64
    around: Float64
    frame_part: Float64


class LampLight(NamedTuple):
    """How much a still looks lit by its lamps, the level at which they do it, and like crumbs."""

    share: float
    closure_stops: float
    crumbs: float


def lamp_light(rest: Float32, areas: Areas) -> LampLight:
    """Signs of lamp light in what does not clip, shape (N, 3), over the clipping levels.

    Examples
    --------
    A dark even wall with one small lamp, round which light falls off:

    >>> one = np.ones(1)
    >>> wall = np.full((999, 3), (0.12, 0.1, 0.07), np.float32)
    >>> lamp = Areas(one / 1000, one, one * 0.3, one * 0.1, one / 1000)
    >>> lit = lamp_light(wall, lamp)
    >>> round(lit.share, 2), round(lit.closure_stops, 1)
    (1.0, 4.0)
    """
    if not len(rest) or not len(areas.core_share):
        return LampLight(0.0, 0.0, 0.0)
    grey = rest.mean(axis=1, dtype=np.float64)
    mean = max(float(grey.mean()), LEAST_LIGHT)
    around = np.where(np.isfinite(areas.around), areas.around, mean)
    near = np.where(np.isfinite(areas.near), areas.near, around)
    falling = np.log2(np.maximum(near, 0.01) / np.maximum(around, 0.01))
    halo = np.clip((falling - HALO_FROM_STOPS) / HALO_STOPS, 0, 1)
    weight = areas.lamp_part * (0.1 + areas.core_share)
    halo_of_all = float((weight * halo).sum() / max(weight.sum(), 1e-12))
    number = max(float((areas.core_share * np.minimum(areas.frame_part * ROUND_PX, 1)).sum()), 1)
    red, _, blue = rest.mean(axis=0, dtype=np.float64) + LEAST_LIGHT
    log_average = np.exp(np.log(np.maximum(grey, LEAST_LIGHT)).mean())
    signs = (
        1 - np.log2(number / FEW) / FEW_DOUBLINGS,
        np.log2(red / blue),
        (DARK_FROM_STOPS - np.log2(np.percentile(grey, 99) + LEAST_LIGHT)) / DARK_STOPS,
        (UNEVEN_STOPS - np.log2(mean / log_average)) / EVEN_STOPS,
    )
    likely = float(np.mean(np.clip(signs, 0, 1)))
    lamps = float((areas.lamp_part * areas.core_share * (0.1 + 0.9 * halo)).sum())
    closure = np.clip(np.log2(mean / max(lamps, 1 / ROUND_PX)), *CLOSURE_STOPS)
    crumbs = float(np.clip(np.log2(number / CRUMBS) / CRUMBS_DOUBLINGS, 0, 1))
    cores = float((areas.lamp_part * areas.core_share).sum() / max(areas.lamp_part.sum(), 1e-12))
    likely = min(cores / CORES, 1) * likely**2
    night = np.clip((NIGHT_FROM_STOPS - np.log2(log_average)) / NIGHT_STOPS, 0, 1)
    share = max(min(halo_of_all * likely / SURE, 1.0), float(night))
    return LampLight(share, float(closure), crumbs)
