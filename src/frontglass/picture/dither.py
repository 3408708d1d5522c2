"""Fixed noise that breaks up the steps of 8-bit gradients."""

from __future__ import annotations

from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

TILE_PX = 128
_SEED = 1
_ROUNDS = 8
# Measured: noise of 4 x 4 px means falls to 0.6 of white noise at every level; more rounds or a
# narrower core are quieter half-way between codes and louder elsewhere (they near a chequer).
_CORE_PX = 0.75


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
    """Return the same noise with a triangular distribution on (-1, 1) codes."""
    rank = rank_tile().astype(np.float64)
    low = np.sqrt(2 * rank) - 1
    high = 1 - np.sqrt(2 * (1 - rank))
    return np.where(rank < 0.5, low, high).astype(np.float32)


class NoiseBand(NamedTuple):
    """TILE_PX rows of noise as wide as a picture, to be repeated downwards [code].

    Each has shape (TILE_PX, width, channels); the channels are shifted against each other.
    """

    uniform: NDArray[np.float32]
    """In (-1/2, 1/2)."""
    triangular: NDArray[np.float32]
    """In (-1, 1)."""


@lru_cache(maxsize=2)
def noise_band(width: int, channels: int) -> NoiseBand:
    """Return the noise for a picture of this width; a pixel's value depends on its place alone."""
    return NoiseBand(
        _wide(rank_tile() - np.float32(0.5), width, channels),
        _wide(triangular_tile(), width, channels),
    )


def _wide(tile: NDArray[np.float32], width: int, channels: int) -> NDArray[np.float32]:
    columns = np.arange(width) % TILE_PX
    # Shifts that share no small common multiple keep the channels' grains apart.
    planes = [
        np.roll(tile, (43 * channel, 71 * channel), axis=(0, 1))[:, columns]
        for channel in range(channels)
    ]
    # In rows: numpy would keep the order of the gathered columns, and adding that takes 20 times as
    # long.
    return np.ascontiguousarray(np.stack(planes, axis=-1))
