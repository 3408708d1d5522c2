"""Fixed noise that breaks up the steps of 8-bit gradients."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

TILE_PX = 128
_SEED = 1
_ROUNDS = 16
_CORE_PX = 1.5


@cache
def rank_tile() -> NDArray[np.float32]:
    """Blue noise with uniform values, tiling without a seam.

    Returns
    -------
    ndarray, shape (TILE_PX, TILE_PX), float32
        Every rank once, as (rank + 1/2) / count: in (0, 1), never at either end.

    Notes
    -----
    White noise is high-passed and its values replaced by their ranks, in turns, until
    both the spectrum and the distribution hold: an eye sees grain that is fine
    everywhere instead of the clumps of white noise.
    """
    shape = (TILE_PX, TILE_PX)
    noise = np.random.default_rng(_SEED).random(shape)
    fy = np.fft.fftfreq(TILE_PX)[:, np.newaxis]
    fx = np.fft.rfftfreq(TILE_PX)[np.newaxis, :]
    high_pass = 1 - np.exp(-2 * (np.pi * _CORE_PX) ** 2 * (fx**2 + fy**2))
    for _ in range(_ROUNDS):
        noise = np.fft.irfft2(np.fft.rfft2(noise) * high_pass, s=shape)
        ranks = np.empty(noise.size)
        ranks[np.argsort(noise, axis=None, kind="stable")] = np.arange(noise.size)
        noise = ((ranks + 0.5) / noise.size).reshape(shape)
    return noise.astype(np.float32)


@cache
def triangular_tile() -> NDArray[np.float32]:
    """The same noise with a triangular distribution on (-1, 1) codes."""
    rank = rank_tile().astype(np.float64)
    low = np.sqrt(2 * rank) - 1
    high = 1 - np.sqrt(2 * (1 - rank))
    return np.where(rank < 0.5, low, high).astype(np.float32)  # noqa: PLR2004 (the middle)


def tile_rows(tile: NDArray[np.float32], first: int, rows: int, width: int, channels: int) -> (
    NDArray[np.float32]
):
    """Noise for rows `first` ... `first + rows` of a picture, per channel shifted.

    The value depends on the pixel's place alone, so strips do not show.
    """
    y = np.arange(first, first + rows)[:, np.newaxis]
    x = np.arange(width)[np.newaxis, :]
    planes = [
        tile[(y + 43 * channel) % TILE_PX, (x + 71 * channel) % TILE_PX]
        for channel in range(channels)
    ]
    return np.stack(planes, axis=-1)
