"""Colours of clipped lamps, by what their rims show."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.picture.clipped import RegionFeatures

Float64 = NDArray[np.float64]

PLANCKIAN = (0.00865, 0.12057, -0.09145)
"""Green over red and blue of black bodies in BT.709 [stop], by their red over blue [stop]: a fit to
colour-science's locus from 2500 to 20000 K."""
DAYLIGHT_STOPS = 0.1
"""Daylight is so much greener than a black body as warm, and stays as it is."""
NEAR_LOCUS_STOPS = 0.75
"""Greens that are off by less are taken back there; on open crops that leaves 0.28 stops of error
in green where 0.32 were, and a mean of 0.03 where 0.16 was."""
HUE_KEPT, LEAST_RIM = 0.75, 0.03
"""How much of a lamp's colour its rim tells, where lens and air spread its light; and the light,
over white, that the still's own colour adds there. Of the lost light's colour in 34 open panoramas
that leaves 0.18 stops of error, and white leaves 0.37. All of it leaves 0.17, but then a red lamp
holder makes a white globe red."""


def colours_of(features: RegionFeatures) -> Float64:
    """Colour of each area's light, mean 1: of its rim, or of the still where that tells little."""
    frame = np.maximum(features.frame_light, 1e-6)
    rim = np.maximum(np.nan_to_num(features.rim_light), 0) + LEAST_RIM * frame / frame.mean()
    hue = _nearer_black_bodies((rim / rim.mean(axis=1, keepdims=True)) ** HUE_KEPT)
    return np.asarray(hue / hue.mean(axis=1, keepdims=True))


def _nearer_black_bodies(rgb: Float64) -> Float64:
    """Colours with green nearer to that of a glowing body as red as they are.

    Lamps and skies are nearly on the Planckian locus, and what else a rim shows is off it. What is
    far off is a neon tube or a sign, and stays.
    """
    red_over_blue = np.clip(np.log2(rgb[:, 0] / rgb[:, 2]), -1.3, 4)
    on_locus = np.polyval(PLANCKIAN, red_over_blue)
    off = np.log2(rgb[:, 1] / np.sqrt(rgb[:, 0] * rgb[:, 2])) - on_locus
    off = np.minimum(off, 0) + np.maximum(off - DAYLIGHT_STOPS, 0)
    nearer = off * np.exp(-((off / NEAR_LOCUS_STOPS) ** 2))
    out = rgb.copy()
    out[:, 1] *= 2**-nearer
    return out
