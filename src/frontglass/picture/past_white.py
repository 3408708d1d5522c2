"""Light past white, on its way to codes that end there."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from frontglass.lit_pixels import first_of_each
from frontglass.picture.primaries import BT709, Matrix, Primaries

FloatArray = NDArray[np.float32]

CONES_FROM_BT709 = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
"""Of the Oklab space, CSS Color Module Level 4, sec. 9.2; white is (1, 1, 1)."""
SLOPES = 0.25, 3.0
"""How fast paleness grows at white: deep blue would hardly ever be white, and yellow at once."""
STEP = 0.01


def towards_white(light: FloatArray, primaries: Primaries = BT709) -> FloatArray:
    """Light no brighter than white in any channel: past it pixels go to white in their own hue.

    Parameters
    ----------
    light : ndarray, shape (..., 3), float32
        Linear light; 1 is white.
    primaries : Primaries
        What its channels mean.

    Returns
    -------
    ndarray, shape (..., 3), float32
        Pixels with no channel above 1 are as they were.

    Notes
    -----
    Clipping channels one by one turns a bright orange into yellow before it is white, and mixing it
    with white turns it pink. Here a pixel whose largest channel is m > 1 is taken to white on a
    straight line of Oklab, where the seen hue stays, and is there when its smallest channel is at
    white too: ``m**-q (1 - n) / (1 - n / m)`` of the way is left, n the smallest channel. Its
    largest stays at white. With q as long as it is within its bounds, luminance rises through m = 1
    without a kink, so that no edge shows there, and never falls; of two large channels one may give
    way by up to 3.5 % for the hue's sake. Derived here, but for Oklab.

    Examples
    --------
    >>> import numpy as np
    >>> light = np.array([[3.0, 1.5, 0.3]], np.float32)
    >>> [round(float(channel), 2) for channel in towards_white(light)[0]]
    [1.0, 0.92, 0.83]
    """
    bright = np.flatnonzero(light.reshape(-1) > 1) // 3
    if not bright.size:
        return light
    past = bright[first_of_each(bright)]
    # In planes: over an axis of three numpy takes up to thirty times as long.
    own = np.ascontiguousarray(light.reshape(-1, 3)[past].T, np.float64)
    m = own.max(axis=0)
    hue = np.maximum(own / m, 0)
    cones, back = _cones(primaries)
    less = 1 - np.cbrt(cones @ hue)

    def nearer(left: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Return the colour with so much left of its way to white."""
        roots = 1 - less * left
        rgb: NDArray[np.float64] = back @ (roots * roots * roots)
        rgb /= rgb.max(axis=0)
        return rgb

    weights = primaries.luminance_weights
    y = weights @ hue
    rising = (weights @ nearer(1 - STEP) - y) / STEP
    least = np.minimum(hue.min(axis=0), 1 - 1e-9)
    slope = np.clip(y / np.maximum(rising, 1e-9) - least / (1 - least), SLOPES[0], SLOPES[1])
    left = m**-slope * np.maximum(1 - least * m, 0) / (1 - least)
    out = light.copy()
    out.reshape(-1, 3)[past] = np.maximum(nearer(left), 0).T
    return out


@lru_cache(maxsize=12)
def _cones(primaries: Primaries) -> tuple[Matrix, Matrix]:
    """Matrices to what the cones see, and back."""
    cones = CONES_FROM_BT709 @ primaries.matrix_to(BT709)
    return cones, np.asarray(np.linalg.inv(cones), np.float64)
