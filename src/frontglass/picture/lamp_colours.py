"""Colours of clipped lamps, by what their rims show."""

from __future__ import annotations

import numpy as np

from frontglass.arrays import Float64
from frontglass.picture.clipped_features import RegionFeatures
from frontglass.picture.lamp_likeness import rim_colours

PLANCKIAN = (0.00865, 0.12057, -0.09145)
"""Green over red and blue of black bodies in BT.709 [stop], by their red over blue [stop]: a fit to
colour-science's locus from 2500 to 20000 K."""
DAYLIGHT_STOPS = 0.1
"""Daylight is so much greener than a black body as warm, and stays as it is."""
NEAR_LOCUS_STOPS = 0.75
"""Greens that are off by less are taken back there; on open crops that leaves 0.28 stops of error
in green where 0.32 were, and a mean of 0.03 where 0.16 was."""
HUE_KEPT = 0.75
"""How much of a lamp's colour its rim tells, where lens and air spread its light: all of it near
the locus, that power of it far off, else a red holder makes a white globe red. Of the lost light's
colour in 34 open panoramas that leaves 0.17 stops of error, and white leaves 0.37."""


def colours_of(features: RegionFeatures) -> Float64:
    """Colour of each area's light, mean 1: of its rim, or of the still where that tells little."""
    return _hues(rim_colours(features.rim_light, features.frame_light))


def _hues(rim: Float64) -> Float64:
    """Colours of lamps, mean 1, by the light of their rims.

    Lamps and skies are nearly on the Planckian locus, and what else a rim shows is off it: green
    goes back there. What is far off is a neon tube or a sign, or something beside the lamp.
    """
    hue = rim / rim.mean(axis=1, keepdims=True)
    near = np.exp(-((_off_locus(hue) / NEAR_LOCUS_STOPS) ** 2))
    hue = hue ** (HUE_KEPT + (1 - HUE_KEPT) * near)[:, np.newaxis]
    off = _off_locus(hue)
    hue[:, 1] *= 2 ** (-off * np.exp(-((off / NEAR_LOCUS_STOPS) ** 2)))
    return np.asarray(hue / hue.mean(axis=1, keepdims=True))


def _off_locus(rgb: Float64) -> Float64:
    """How much greener than a glowing body as red, or than daylight, colours are [stop]."""
    red_over_blue = np.clip(np.log2(rgb[:, 0] / rgb[:, 2]), -1.3, 4)
    on_locus = np.polyval(PLANCKIAN, red_over_blue)
    off = np.log2(rgb[:, 1] / np.sqrt(rgb[:, 0] * rgb[:, 2])) - on_locus
    return np.asarray(np.minimum(off, 0) + np.maximum(off - DAYLIGHT_STOPS, 0))
