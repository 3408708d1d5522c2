"""Codes for looking at: sRGB, dithered."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.picture.codes import FloatArray, Target, codes_from_radiance
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.encoding import Sample
from frontglass.picture.primaries import BT709


def display_codes(radiance: FloatArray) -> NDArray[np.uint8]:
    """8-bit IEC 61966-2-1 codes of linear light of its own primaries.

    Parameters
    ----------
    radiance : ndarray, shape (H, W, 3), float32
        Linear light; 1 is white, what is above goes to it in its own hue.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        R, G, B; dithered, the same in every run.
    """
    target = Target(sample=Sample.UINT8, curves=(SRGB_CURVE,) * 3, primaries=BT709)
    return np.asarray(codes_from_radiance(radiance, target).codes, dtype=np.uint8)
