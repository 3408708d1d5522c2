"""Pieces of a plane small enough for a processor's cache, and precision."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY

Float32 = NDArray[np.float32]
Plane = NDArray[Any]

ROWS_AT_ONCE, COLUMNS_AT_ONCE = 32, 192


_is_single: ContextVar[bool] = ContextVar("single_precision", default=False)


@contextmanager
def single_precision() -> Iterator[None]:
    """Let small frames meanwhile be spread as large ones are, in half the time."""
    before = _is_single.set(True)
    try:
        yield
    finally:
        _is_single.reset(before)


def precision_for(light: Float32, share: float) -> np.dtype[Any]:
    """Precision for light of shape (H, W, 3) of which a share is spread over the whole frame."""
    root_mean_square = cv2.norm(light, cv2.NORM_L2) / math.sqrt(light.size)
    small = light.shape[0] * light.shape[1] < ACCURACY.single_from_px and not _is_single.get()
    is_double = small or root_mean_square * share > ACCURACY.single_rms
    return np.dtype(np.float64 if is_double else np.float32)


def in_place(transform: Callable[..., Plane], plane: Plane, **how: int) -> None:
    """Put the transform where its input was; scipy does so when it may, but does not promise it."""
    out = transform(plane, overwrite_x=True, **how)
    if not np.may_share_memory(out, plane):
        plane[:] = out
