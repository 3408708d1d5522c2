"""Camera raw files, written by tifffile as DNG, and what light they hold."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import tifffile

BLACK, WHITE = 512, 16383
BALANCE = (0.5, 1.0, 0.625)
"""As-shot neutral: what the sensor sees of a white card, red to blue."""
# From XYZ to the camera's channels: BT.709's own, so that the camera sees in those primaries.
XYZ_TO_CAMERA = (
    (3.2404542, -1.5371385, -0.4985314),
    (-0.9692660, 1.8760108, 0.0415560),
    (0.0556434, -0.2040259, 1.0572252),
)


def dng(
    path: Path, light: np.ndarray, *, exposure: float = 0.0, extra: tuple[Any, ...] = ()
) -> None:
    """Write a DNG whose sensor clips at light 1 in the channel that clips last."""
    height, width = light.shape[:2]
    seen = np.minimum(light * BALANCE, 1.0)
    mosaic = np.empty((height, width))
    mosaic[::2, ::2], mosaic[1::2, 1::2] = seen[::2, ::2, 0], seen[1::2, 1::2, 2]
    mosaic[::2, 1::2], mosaic[1::2, ::2] = seen[::2, 1::2, 1], seen[1::2, ::2, 1]
    codes = np.round(BLACK + mosaic * (WHITE - BLACK)).astype(np.uint16)
    rationals = [round(v * 10000) for row in XYZ_TO_CAMERA for v in row]
    matrix = [part for value in rationals for part in (value, 10000)]
    neutral = [part for value in BALANCE for part in (round(value * 10000), 10000)]
    tags = [
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, b"\0\1\1\2", True),
        (50706, "B", 4, b"\1\4\0\0", True),
        (50707, "B", 4, b"\1\1\0\0", True),
        (50708, "s", 0, "Ferry counter", True),
        (50714, "H", 1, BLACK, True),
        (50717, "I", 1, WHITE, True),
        (50721, "2i", 9, matrix, True),
        (50728, "2I", 3, neutral, True),
        (50730, "2i", 1, (round(exposure * 100), 100), True),
        (50778, "H", 1, 21, True),
        *extra,
    ]
    tifffile.imwrite(path, codes, photometric=32803, extratags=tags, metadata=None)
