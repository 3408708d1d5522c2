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
) -> Float32:
    """Take the recovered light that went straight on out of `seen`, in place, and return it.

    Parameters
    ----------
    seen : ndarray, shape (H, W, 3), float32
        ``base + recovered`` after the elements.
    base, recovered : ndarray, shape (H, W, 3), float32
        The still, and the light that it had lost.
    elements : sequence of Element
        What the light went through.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        What was taken out.

    Notes
    -----
    What is left is the direct light of the base and all that was spread. A lamp never falls below
    what the still showed of it, unless it does with all its light: a real lamp behind glass is
    still far above white.
    """
    direct = np.array(
        [math.prod(part.direct_share(c) for part in elements) for c in CHANNELS], np.float32
    )
    lamp = _lit(recovered)
    whole = seen[lamp]
    without = np.maximum(whole - recovered[lamp] * direct, np.minimum(whole, base[lamp]))
    seen[lamp] = without
    taken = np.zeros_like(seen)
    taken[lamp] = whole - without
    return taken


def _lit(recovered: Float32) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the pixels that gave back any light: few, in few rows."""
    rows = np.flatnonzero(recovered.reshape(recovered.shape[0], -1).max(axis=1) > 0)
    some = recovered[rows]
    down, across = np.nonzero((some[..., 0] > 0) | (some[..., 1] > 0) | (some[..., 2] > 0))
    return rows[down], across
