"""Cubic splines. Those of scipy take longer to load than a small still takes to render."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Float64 = NDArray[np.float64]

HALVINGS = 32
"""Of the error of slopes: each round of solving for them halves it, and it is small at first."""
AT_ONCE = 1 << 14
"""Numbers of which values are found at once: all that is made of them stays in a cache."""


def cubic_through(x: Float64, y: Float64) -> Callable[[ArrayLike], Float64]:
    """Cubic spline through points, as a function.

    Parameters
    ----------
    x, y : ndarray, shape (N,)
        The points, rising in x; 3 at least.

    Returns
    -------
    callable
        Its value at any numbers; beyond the ends the last cubics go on.

    Notes
    -----
    Slopes at the points are those of which the second derivative has no steps. At the ends they are
    those of the cubic through the four points there.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.linspace(0, 3, 40)
    >>> round(float(cubic_through(x, np.sin(x))(1.23)), 6), round(float(np.sin(1.23)), 6)
    (0.942489, 0.942489)
    """
    step = np.diff(x)
    rise = np.diff(y) / step
    before, after = step[:-1], step[1:]
    slope = np.empty(len(x))
    slope[0], slope[-1] = _end_slope(x[:4], y[:4]), _end_slope(x[:-5:-1], y[:-5:-1])
    slope[1:-1] = (after * rise[:-1] + before * rise[1:]) / (before + after)
    given, own = 1.5 * slope[1:-1], 1 / (2 * (before + after))
    left, right = after * own, before * own
    for _ in range(HALVINGS):
        slope[1:-1] = given - left * slope[:-2] - right * slope[2:]
    bend = (3 * rise - 2 * slope[:-1] - slope[1:]) / step
    twist = (slope[:-1] + slope[1:] - 2 * rise) / step**2

    def at(numbers: ArrayLike) -> Float64:
        wanted = np.asarray(numbers, dtype=np.float64)
        flat, out = wanted.reshape(-1), np.empty(wanted.size)
        for start in range(0, flat.size, AT_ONCE):
            some = flat[start : start + AT_ONCE]
            piece = np.clip(np.searchsorted(x, some, side="right") - 1, 0, len(step) - 1)
            t = some - x[piece]
            value = twist[piece]
            for coefficients in (bend, slope, y):
                value *= t
                value += coefficients[piece]
            out[start : start + AT_ONCE] = value
        return out.reshape(wanted.shape)

    return at


def _end_slope(x: Float64, y: Float64) -> float:
    """Slope at the first of a few points of the polynomial through all of them."""
    scale = x[-1] - x[0]
    return float(np.linalg.solve(np.vander((x - x[0]) / scale), y)[-2] / scale)
