"""Arrays by what they hold, for annotations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Mask = NDArray[np.bool_]
Codes = NDArray[np.uint8]
"""Display codes, sRGB where nothing else is said."""
