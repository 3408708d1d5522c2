"""Light above a threshold, taken out of a picture without moving its colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.units import ratio_from_stops

Float32 = NDArray[np.float32]

ROWS_AT_A_TIME = 64


def light_above(light: Float32, *, threshold_stops: float, knee_stops: float) -> Float32:
    """Light above a threshold, in the colour of the pixel it comes from.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light; 1 is diffuse white.
    threshold_stops : float
        Where the middle of the knee stands above diffuse white. [stop]
    knee_stops : float
        Width of the knee. [stop], >= 0.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        A share of `light`, in [0, 1) and the same for the three channels: of the brightest
        channel m, what is over the threshold. Below the knee nothing, above it ``m - t``, within
        it the parabola that joins the two smoothly.
    """
    low = np.float32(ratio_from_stops(threshold_stops - knee_stops / 2))
    high = np.float32(ratio_from_stops(threshold_stops + knee_stops / 2))
    threshold = (low + high) / 2
    above = np.zeros_like(light)
    for top in range(0, light.shape[0], ROWS_AT_A_TIME):
        rows = slice(top, top + ROWS_AT_A_TIME)
        red, green, blue = (light[rows, :, channel] for channel in range(3))
        brightest = np.maximum(np.maximum(red, green), blue)  # ten times as fast as max(axis=2)
        bright = brightest > low
        if not bright.any():
            continue
        m = brightest[bright]
        over = m - threshold
        if high > low:
            over = np.where(m < high, (m - low) ** 2 / (2 * (high - low)), over)
        above[rows][bright] = light[rows][bright] * (over / m)[:, np.newaxis]
    return above
