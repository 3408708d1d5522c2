"""Light past white, on its way to codes that end there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.picture.primaries import Matrix

FloatArray = NDArray[np.float32]

SLOPES = 0.25, 2.0
"""Of paleness at white: deep red and blue would hardly ever be white, and yellow at once."""


def towards_white(light: FloatArray, luminance: Matrix) -> FloatArray:
    """Light no brighter than white in any channel: past it pixels go to white in their own hue.

    Parameters
    ----------
    light : ndarray, shape (..., 3), float32
        Linear light; 1 is white.
    luminance : ndarray, shape (3,)
        What each channel adds to the luminance of white, 1 in all.

    Returns
    -------
    ndarray, shape (..., 3), float32
        Pixels with no channel above 1 are as they were.

    Notes
    -----
    Clipping channels one by one turns a bright orange into yellow before it is white. Here a pixel
    whose largest channel is m > 1 keeps the ratios c of its distances from white,
    ``1 - (1 - c) m**-p``, where c is the pixel over m. With p = L / (1 - L), L the luminance of c,
    luminance rises through m = 1 with no kink, so that no edge shows there, as long as p stays
    within its bounds; no channel ever falls as a light grows. Derived here, no source.

    Examples
    --------
    >>> import numpy as np
    >>> from frontglass.picture.primaries import BT709
    >>> gold = np.array([[3.0, 1.5, 0.3]], np.float32)
    >>> towards_white(gold, BT709.luminance_weights).round(2)
    array([[1.  , 0.89, 0.8 ]], dtype=float32)
    """
    most = light.max(axis=-1)
    past = most > 1
    if not past.any():
        return light
    m = most[past][:, np.newaxis]
    hue = np.maximum(light[past] / m, 0)
    y = hue @ luminance.astype(np.float32)[:, np.newaxis]
    slope = np.clip(y / np.maximum(1 - y, 1e-6), SLOPES[0], SLOPES[1]).astype(np.float32)
    out = light.copy()
    out[past] = 1 - (1 - hue) * m**-slope
    return out
