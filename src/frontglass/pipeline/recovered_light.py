"""Light recovered for clipped lamps: what they send spreads, what they show stays."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from frontglass.elements import Element

Float32 = NDArray[np.float32]

CHANNELS = (0, 1, 2)


def without_direct(
    seen: Float32, base: Float32, recovered: Float32, elements: Sequence[Element]
) -> None:
    """Take the recovered light that went straight on out of `seen`, in place.

    Parameters
    ----------
    seen : ndarray, shape (H, W, 3), float32
        ``base + recovered`` after the elements.
    base, recovered : ndarray, shape (H, W, 3), float32
        The still, and the light that it had lost.
    elements : sequence of Element
        What the light went through.

    Notes
    -----
    What is left is the direct light of the base and all that was spread. A lamp never falls below
    what the still showed of it, unless it does with all its light: a real lamp behind glass is
    still far above white.
    """
    direct = np.array(
        [math.prod(part.direct_share(c) for part in elements) for c in CHANNELS], np.float32
    )
    lamp = (recovered > 0).any(axis=2)
    whole = seen[lamp]
    without = whole - recovered[lamp] * direct
    seen[lamp] = np.maximum(without, np.minimum(whole, base[lamp]))
