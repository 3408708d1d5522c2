"""Convolving light with filters: the one way in which anything spreads it over pixels."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.convolution.blocks import columns_of, precision_for
from frontglass.convolution.filters import Filter, Planes
from frontglass.convolution.mirrors import spread_among_mirrors
from frontglass.convolution.spread import spread
from frontglass.convolution.transfers import MirrorTransfer

Float32 = NDArray[np.float32]


def convolve(light: Float32, filters: Sequence[Filter], boundary: Surround) -> Float32:
    """Light after a filter per channel.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light, finite.
    filters : sequence of 3 Filter
        One per channel.
    boundary : Surround
        What lies outside the frame.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        Within 1e-3 of the local value plus 1e-4 of white of the sum over every pair of pixels.
    """
    offset = [f.veil * mean for f, mean in zip(filters, cv2.mean(light), strict=False)]
    laid = any(f.is_laid or not f.is_even for f in filters)
    if not laid:
        return spread(light, filters, surround=boundary, pedestal=offset)
    dtype = precision_for(light, 1 - min(f.direct for f in filters))
    shape = (light.shape[0], light.shape[1])
    planes = _kept_planes(tuple(filters), shape, dtype)
    columns = columns_of(shape[1])
    transfers = [
        MirrorTransfer(
            direct=f.direct,
            even=[p.even[:-1, some] for some in columns],
            odd=None if p.odd is None else [p.odd[1:-1, some] for some in columns],
        )
        for f, p in zip(filters, planes, strict=True)
    ]
    return spread_among_mirrors(light, transfers, offset)


@lru_cache(maxsize=1)
def _kept_planes(
    filters: tuple[Filter, ...], shape: tuple[int, int], dtype: np.dtype[Any]
) -> tuple[Planes, ...]:
    made = {f: f.cosine_planes(shape, dtype) for f in set(filters)}
    return tuple(made[f] for f in filters)
