"""The older name of `convolve`, until nothing asks for it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.filters import Filter

Float32 = NDArray[np.float32]


def spread(
    light: Float32,
    halos: Sequence[Filter],
    *,
    surround: Surround,
    gain: float = 1.0,
    pedestal: Sequence[float] = (0.0, 0.0, 0.0),
) -> Float32:
    """See `convolve`."""
    out = convolve(light, halos, surround)
    return out * np.float32(gain) + np.asarray(pedestal, dtype=np.float32)
