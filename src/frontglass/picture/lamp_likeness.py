"""Which clipped areas can be the lamps that light a still: by their shape, and by their colour.

Hair against a rim light and the letters of a sign clip too, in strands and strokes; a moon or a
screen is bluer than what lamps make of the room they light.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float64 = NDArray[np.float64]

STRANDS, SOLID = 0.5, 0.8
"""Greatest distance from the edge over the shorter half axis of an ellipse of the same moments:
strands and strokes have less than the first, a disc has 1, a straight tube 0.87."""
BLUER_STOPS, BLUER_BY_STOPS = 0.5, 1.0
"""Blue over red of an area: beyond the first above that of the still and of the warmer lamps, by
the second, it is not the light that the still is lit by. Wood makes a room warmer than its lamps."""
WARM_PART = 0.25
"""Of all that may be lamps, by pixels, the warmer ones."""
LEAST_LIGHT = 1e-4


def likeness(
    rows: NDArray[np.integer],
    columns: NDArray[np.integer],
    owner: NDArray[np.int32],
    deepest_px: NDArray[np.float32],
    colours: Float64,
    frame_light: Float64,
) -> Float64:
    """How much each of R clipped areas can be a lamp that lights the still. [1], in [0, 1].

    Parameters
    ----------
    rows, columns, owner : ndarray, shape (N,)
        Clipped pixels [px], and the area of each.
    deepest_px : ndarray, shape (R,)
        Greatest distance of an area's pixels from its edge. [px]
    colours : ndarray, shape (R, 3)
        Light of each area's rim.
    frame_light : ndarray, shape (3,)
        Mean light of the still.

    Examples
    --------
    A disc and a stroke, both as warm as the room:

    >>> y, x = (axis.ravel() for axis in np.mgrid[-9:10, -9:10])
    >>> disc, stroke = np.flatnonzero(x**2 + y**2 < 64), np.flatnonzero(abs(abs(x) - y - 4) < 2)
    >>> at, owner = np.append(disc, stroke), np.repeat([0, 1], [disc.size, stroke.size])
    >>> warm = np.array([1, 0.6, 0.3])
    >>> like = likeness(y[at], x[at], owner, np.array([8.0, 1.5]), warm * np.ones((2, 1)), warm)
    >>> like.round(1).tolist()
    [1.0, 0.0]
    """
    number = len(deepest_px)
    many = np.maximum(np.bincount(owner, minlength=number), 1)
    x, y = columns.astype(np.float64), rows.astype(np.float64)
    mean_x, mean_y = (np.bincount(owner, place, number) / many for place in (x, y))
    x, y = x - mean_x[owner], y - mean_y[owner]
    # A pixel is a square, with a variance of its own.
    xx, yy, xy = (
        np.bincount(owner, a * b, number) / many + own
        for a, b, own in ((x, x, 1 / 12), (y, y, 1 / 12), (x, y, 0))
    )
    least = (xx + yy) / 2 - np.hypot((xx - yy) / 2, xy)
    solid = deepest_px / (2 * np.sqrt(np.maximum(least, 1 / 12)))
    shape = np.clip((solid - STRANDS) / (SOLID - STRANDS), 0, 1)
    bluer = _blueness(colours) - max(
        _blueness(frame_light), _warm_end(_blueness(colours), many * shape)
    )
    return np.asarray(shape * (1 - np.clip((bluer - BLUER_STOPS) / BLUER_BY_STOPS, 0, 1)))


def _blueness(light: Float64) -> Float64:
    """Blue over red [stop]; light that is no number or below black counts as none."""
    light = np.maximum(np.nan_to_num(light), 0) + LEAST_LIGHT
    return np.asarray(np.log2(light[..., 2] / light[..., 0]))


def _warm_end(blueness: Float64, weight: Float64) -> float:
    """Blueness that a part of all areas, by weight, stays below."""
    order = np.argsort(blueness)
    below = np.cumsum(weight[order])
    return float(blueness[order][np.searchsorted(below, WARM_PART * below[-1])])
