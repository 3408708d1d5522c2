"""Codes for looking at: sRGB, dithered."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import PastWhite
from frontglass.picture.codes import FloatArray, Target, codes_from_radiance
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.encoding import Sample
from frontglass.picture.primaries import BT709, Primaries


def display_codes(
    radiance: FloatArray,
    primaries: Primaries = BT709,
    past_white: PastWhite = PastWhite.HUE,
) -> NDArray[np.uint8]:
    """8-bit IEC 61966-2-1 codes of linear light.

    Parameters
    ----------
    radiance : ndarray, shape (H, W, 3), float32
        Linear light; 1 is white.
    primaries : Primaries
        What its channels mean.
    past_white : PastWhite
        What becomes of light above white.

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
        primaries=BT709 if past_white is PastWhite.HUE else None,
    )
    return np.asarray(codes_from_radiance(radiance, target).codes, dtype=np.uint8)
