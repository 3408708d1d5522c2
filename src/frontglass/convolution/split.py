"""Pixels split into parts, for what differs within one, and averaged again."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32


def most_parts(shape: tuple[int, int]) -> int:
    """How many parts along a side the pixels of a frame may be split into, at least 1."""
    affordable = math.isqrt(ACCURACY.split_up_to_px // (shape[0] * shape[1]))
    return max(1, min(affordable, ACCURACY.most_parts))


def on_split_pixels(light: Float32, parts: int, do: Callable[[Float32], Float32]) -> Float32:
    """Return what `do` makes of light, shape (H, W, 3), on pixels split into parts.

    A pixel is a square of its mean light, and so is each of its parts.
    """
    if parts == 1:
        return do(light)
    height, width, channels = light.shape
    fine = np.repeat(np.repeat(light, parts, axis=0), parts, axis=1)
    seen = do(fine).reshape(height, parts, width, parts, channels)
    return np.asarray(seen.mean(axis=(1, 3), dtype=np.float64).astype(np.float32))
