"""Which clipped areas can be the lamps that light a still: by their shape, and by their colour.

Hair against a rim light and the letters of a sign clip too, in strands and strokes; a moon or a
screen is bluer than what lamps make of the room they light.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float64

STRANDS, SOLID = 0.45, 0.75
"""Greatest distance from the edge over the shorter half axis of an ellipse of the same moments:
strands and strokes have less than the first, a disc has 1, a straight tube 0.87."""
BLUER_STOPS, BLUER_BY_STOPS = 0.5, 1.0
"""Blue over red of an area: beyond the first above that of the still and of the warmer lamps, by
the second, it is not what the still is lit by. Wood makes a room warmer than its lamps are."""
WARM_PART = 0.25
"""Of all that may be lamps, by pixels, the warmer ones."""
LEAST_LIGHT = 1e-4
LEAST_RIM = 0.03
"""Light of a rim, over white, that counts as much as the still's own colour."""


def solid_share(
    rows: NDArray[np.integer],
    columns: NDArray[np.integer],
    owner: NDArray[np.int32],
    deepest_px: NDArray[np.float32],
) -> Float64:
    """How far each of R areas is one solid piece, as lamps are. [1], in [0, 1].

    Parameters
    ----------
    rows, columns, owner : ndarray, shape (N,)
        Pixels of the areas [px], and the area of each.
    deepest_px : ndarray, shape (R,)
        Greatest distance of an area's pixels from its edge. [px]

    Examples
    --------
    A disc and a stroke in two legs:

    >>> y, x = (axis.ravel() for axis in np.mgrid[-9:10, -9:10])
    >>> disc, stroke = np.flatnonzero(x**2 + y**2 < 64), np.flatnonzero(abs(abs(x) - y - 4) < 2)
    >>> at, owner = np.append(disc, stroke), np.repeat([0, 1], [disc.size, stroke.size])
    >>> solid_share(y[at], x[at], owner, np.array([8.0, 1.5])).round(1).tolist()
    [1.0, 0.0]
    """
    number = len(deepest_px)
    many = np.maximum(np.bincount(owner, minlength=number), 1)
    x, y = columns.astype(np.float64), rows.astype(np.float64)
    mean_x, mean_y = (np.bincount(owner, place, number) / many for place in (x, y))
    # A pixel is a square, with a variance of its own.
    xx = np.bincount(owner, x * x, number) / many - mean_x**2 + 1 / 12
    yy = np.bincount(owner, y * y, number) / many - mean_y**2 + 1 / 12
    xy = np.bincount(owner, x * y, number) / many - mean_x * mean_y
    least = (xx + yy) / 2 - np.hypot((xx - yy) / 2, xy)
    deep = deepest_px / (2 * np.sqrt(np.maximum(least, 1 / 12)))
    return np.asarray(np.clip((deep - STRANDS) / (SOLID - STRANDS), 0, 1))


def warm_share(rim_light: Float64, frame_light: Float64, weight: Float64) -> Float64:
    """How far each of R areas has the colour of what lights the still. [1], in [0, 1].

    Parameters
    ----------
    rim_light : ndarray, shape (R, 3)
        Light of each area's rim beyond what lies farther out; nan where nothing is.
    frame_light : ndarray, shape (3,)
        Mean light of the still.
    weight : ndarray, shape (R,)
        How much of a lamp each may be by all else. [px]

    Examples
    --------
    Bulbs of a warm room and the moon in its window, and the moon alone:

    >>> warm, blue = (0.3, 0.15, 0.07), (0.2, 0.3, 0.4)
    >>> warm_share(np.array([warm, warm, blue]), np.array(warm), np.ones(3)).tolist()
    [1.0, 1.0, 0.0]
    >>> warm_share(np.array([blue]), np.array(warm), np.ones(1)).tolist()
    [1.0]
    """
    blue = blueness(rim_colours(rim_light, frame_light))
    order = np.argsort(blue)
    below = np.cumsum(weight[order])
    warmer = blue[order][np.searchsorted(below, WARM_PART * below[-1])] if len(below) else 0
    bluer = blue - np.maximum(blueness(frame_light), warmer)
    return np.asarray(1 - np.clip((bluer - BLUER_STOPS) / BLUER_BY_STOPS, 0, 1))


def rim_colours(rim_light: Float64, frame_light: Float64, least: float = LEAST_RIM) -> Float64:
    """Light of rims, and of the still where they tell little. Shape (R, 3).

    `least` is the light over white that tells as much as the still's own colour.

    Examples
    --------
    >>> warm = np.array([1.2, 1.0, 0.8])
    >>> rim_colours(np.full((1, 3), np.nan), warm).round(3).tolist()
    [[0.036, 0.03, 0.024]]
    """
    frame = np.maximum(frame_light, 1e-6)
    return np.asarray(np.maximum(np.nan_to_num(rim_light), 0) + least * frame / frame.mean())


def blueness(light: Float64) -> Float64:
    """Blue over red of light, shape (..., 3) [stop].

    Examples
    --------
    >>> round(float(blueness(np.array([0.2, 0.3, 0.4]))), 2)
    1.0
    """
    return np.asarray(np.log2((light[..., 2] + LEAST_LIGHT) / (light[..., 0] + LEAST_LIGHT)))
