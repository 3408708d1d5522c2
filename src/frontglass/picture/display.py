"""Codes for looking at: sRGB, dithered."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.picture.codes import FloatArray, Target, codes_from_radiance
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.encoding import Sample
from frontglass.picture.primaries import BT709, Primaries


def display_codes(radiance: FloatArray, primaries: Primaries = BT709) -> NDArray[np.uint8]:
    """8-bit IEC 61966-2-1 codes of linear light.

    Parameters
    ----------
    radiance : ndarray, shape (H, W, 3), float32
        Linear light; 1 is white, what is above goes to it in its own hue.
    primaries : Primaries
        What its channels mean.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        R, G, B; dithered, the same in every run.
    """
    matrix = None if primaries.is_close_to(BT709) else primaries.matrix_to(BT709)
    target = Target(
        sample=Sample.UINT8,
        curves=(SRGB_CURVE,) * 3,
        matrix=matrix,
        primaries=BT709,
    )
    return np.asarray(codes_from_radiance(radiance, target).codes, dtype=np.uint8)
