"""An exposure at which a still can be looked at, where nobody says one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from frontglass.picture.picture import Picture
from frontglass.units import ratio_from_stops, stops_from_ratio

MIDDLE_GREY = 0.18
WHITE_SHARE = 0.05
"""Share of the frame that may lie above white."""
TOLD_WHITE, TOLD_DARK = 0.5, 0.99
"""Share of the frame above white, and below `DARK`, from which an exposure is suggested."""
DARK = 0.005
LEAST_LIGHT = 1e-6
SAMPLES = 512
"""Pixels along a side that are looked at, about."""


def fitting_exposure_stops(picture: Picture) -> float:
    """Exposure that brings a still into the range of a display [stop], to a tenth.

    Notes
    -----
    The mean of the logarithm of luminance comes to middle grey, unless more than a twentieth of the
    frame would then lie above white. Common practice, no source. A night comes out as a camera
    would meter it, brighter than it was.
    """
    light = np.maximum(_luminance(picture), LEAST_LIGHT)
    to_grey = stops_from_ratio(MIDDLE_GREY) - float(np.log2(light).mean())
    to_white = -stops_from_ratio(float(np.quantile(light, 1 - WHITE_SHARE)))
    return round(min(to_grey, to_white), 1)


def exposed(picture: Picture, stops: float) -> Picture:
    """Return a still shown this much brighter [stop]."""
    if stops == 0:
        return picture
    return picture.brighter(ratio_from_stops(stops))


def with_exposure_told(picture: Picture, stops: float) -> Picture:
    """Return a still; if it holds light beyond white and is shown all white or black, it says so.

    Parameters
    ----------
    picture : Picture
        As it is shown.
    stops : float
        How much brighter than its file that is. [stop]
    """
    if picture.encoding.sample.is_integer:
        return picture
    light = _luminance(picture)
    white, dark = float((light > 1).mean()), float((light < DARK).mean())
    if white <= TOLD_WHITE and dark <= TOLD_DARK:
        return picture
    better = stops + fitting_exposure_stops(picture)
    how = f"{white:.0%} of the still is above white" if white > TOLD_WHITE else "The still is black"
    said = f"{how}: --exposure {better:+.1f} (or auto) would show it."
    return replace(picture, notices=(*picture.notices, said))


def _luminance(picture: Picture) -> np.ndarray[tuple[int, int], np.dtype[np.float32]]:
    step = max(1, min(picture.width_px, picture.height_px) // SAMPLES)
    weights = np.asarray(picture.primaries.luminance_weights, np.float32)
    return np.asarray(picture.radiance[::step, ::step] @ weights)
