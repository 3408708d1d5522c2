"""How noisy a still is, by level, channel and how fine the noise is: read from its pixels."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32, Float64

Index = NDArray[np.uint8]
Samples = TypeVar("Samples", Float32, NDArray[np.int16])
"""Light, or whole numbers of steps of it."""

BANDS = 3
SPLINE = np.array([1, 4, 6, 4, 1], np.float32) / 16
LEVELS = 256
BINS = 20
BLOCK_PX = 16
BLOCKS_AT_ONCE = 64
"""Of a row: with what they become they fit a processor's cache."""
FEWEST_BLOCKS = 24
MOST_BLOCKS = 10_000
FAINT = 0.003
QUIETEST = 0.05
NOTHING = np.float32(1e12)
"""One over the variance where there is no noise."""
LEAST_CODES = 0.35
"""Standard deviation, in steps between codes, from which on it is noise; rounding makes 0.29."""
NARROW, WIDE = 1.5, 3.0
PEAKED, BELOW, COARSE = 0.6, 0.35, 1.0
"""Blocks of noise vary alike. Of those within a factor of three of their cluster more than so many
are within 1.5; few vary less, over those in its lower half; and noise is finer than detail is: the
third band holds no more than the second. Of café and open panoramas, clean and with noise of
several kinds, coded in JPEG, these tell most clusters of noise from those of faint detail."""
LEAST_SHARE, MOST_CODES = 0.02, 16.0
"""A cluster of fewer blocks of a level, or of so many steps between 8-bit codes, is detail."""
OUTLIER, RISE = 3.0, 1.5
"""Variance of the root of light is much the same at all levels, or grows to the dark: a level that
has so many times what most blocks of the still have is detail, and one may have little more than a
brighter one has, over the light."""
MOSTLY = 0.15
DARKEST, BRIGHTEST = 1, 0.75
"""Bins from which on, and roots of light up to which, a still without noise would show it."""


class NoiseCurve(NamedTuple):
    """Variance of noise, over the light, by level.

    Parameters
    ----------
    precisions : ndarray, shape (BANDS, 256, 3), float32
        One over the variance of each band of linear light, by the root of the level.
    """

    precisions: Float32

    def precision(self, index: Index, band: int) -> Float32:
        """One over the variance where `level_index` says so, shape (H, W, 3)."""
        return np.asarray(cv2.LUT(index, self.precisions[band].reshape(1, LEVELS, 3)))


def level_index(level: Float32) -> Index:
    """Return where levels of light stand in a `NoiseCurve`."""
    root = cv2.threshold(level, 0, 0, cv2.THRESH_TOZERO)[1]  # a fourth of the time of a maximum
    np.sqrt(root, out=root)
    return np.asarray(cv2.convertScaleAbs(root, alpha=LEVELS - 1), np.uint8)


def with_margin(
    light: Samples, place: tuple[int, int], size: tuple[int, int], margin_px: int
) -> Samples:
    """Part of a frame with a margin all round; beyond the frame lies its mirror image."""
    parts, ends = [], []
    for start, own, length in zip(place, size, light.shape, strict=False):
        first, last = start - margin_px, start + own + margin_px
        parts.append(slice(max(first, 0), last))
        ends.append((max(-first, 0), max(last - length, 0)))
    (top, bottom), (left, right) = ends
    around = light[parts[0], parts[1]]
    if not any((top, bottom, left, right)):
        return around
    whole = cv2.copyMakeBorder(around, top, bottom, left, right, cv2.BORDER_REFLECT)
    return np.asarray(whole, light.dtype)


def smoothed(light: Float32) -> Float32:
    """Light without its finest band; round the edges lies its mirror image."""
    mean = cv2.sepFilter2D(light, cv2.CV_32F, SPLINE, SPLINE, borderType=cv2.BORDER_REFLECT)
    return np.asarray(mean, np.float32)


def bands_of(light: Float32) -> Iterator[tuple[Float32, Float32]]:
    """Bands of light, finest first, each with what is coarser; its sides whole times 4 px.

    Up to 14 px from the edges it is not right: a row is followed by the next one there.
    """
    height, width, channels = light.shape
    for step in (2**band for band in range(BANDS)):
        # A filter of every 2nd pixel is one of all pixels where rows and columns are taken by twos.
        coarse = smoothed(light.reshape(height // step, width, channels * step))
        coarse = coarse.reshape(light.shape)
        yield np.asarray(cv2.subtract(light, coarse), np.float32), coarse
        light = coarse


def noise_curve_of(light: Float32, code_step: float) -> NoiseCurve | None:
    """Return how noisy a still is, or None if it is not, or does not tell.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light of the still, as its codes show it.
    code_step : float
        Step between codes, over white.

    Notes
    -----
    Blocks of one level that hold nothing but noise vary alike, and less than those that hold
    detail [Liu2008], [Foi2008]: the quietest cluster of blocks is the noise. Where blocks of a
    level do not cluster they tell nothing. Over the light noise falls, so levels bound others.
    """
    levels, variances = _blocks(light)
    # Of the root of light, where the noise of light is the same at all levels.
    variances /= 4 * (levels + FAINT)
    total = variances.sum(axis=0)
    least = (LEAST_CODES * code_step * _slope(levels)) ** 2 / (4 * (levels + FAINT))
    place = np.minimum((np.sqrt(np.clip(levels, 0, 1)) * BINS).astype(np.intp), BINS - 1)
    precisions = np.full((BANDS, LEVELS, 3), NOTHING, np.float32)
    most = least * (MOST_CODES / (255 * LEAST_CODES * code_step)) ** 2
    found = np.full((3, BINS, BANDS), np.nan)
    counts = np.zeros((3, BINS))
    for channel in range(3):
        for own in range(DARKEST, BINS):
            here = place[:, channel] == own
            found[channel, own], counts[channel, own] = _noise(
                variances[:, here, channel],
                total[here, channel],
                least[here, channel],
                most[here, channel],
            )
    found[found.sum(axis=2) > OUTLIER * _median(found.sum(axis=2), counts)] = np.nan
    for channel in range(3):
        curve = _curve(found[channel])
        if curve is not None:
            roots = np.arange(LEVELS) / (LEVELS - 1)
            variance = np.maximum(curve * 4 * (roots**2 + FAINT), 1 / NOTHING)
            precisions[:, :, channel] = (1 / variance).astype(np.float32)
    return NoiseCurve(precisions) if (precisions < NOTHING).any() else None


def _blocks(light: Float32) -> tuple[Float64, Float64]:
    """Mean light of blocks, shape (N, 3), and mean squares of its bands, (BANDS, N, 3)."""
    height, width, _ = light.shape
    tall = BLOCK_PX * 4
    across = width // BLOCK_PX
    every = max(1, (height // BLOCK_PX) * across // MOST_BLOCKS)
    levels: list[Float64] = []
    squares: list[list[Float64]] = [[] for _ in range(BANDS)]
    for top in range(0, height - BLOCK_PX + 1 if across else 0, tall * every):
        down = min(4, (height - top) // BLOCK_PX)
        for left in range(0, across, BLOCKS_AT_ONCE):
            count = min(BLOCKS_AT_ONCE, across - left)
            size = down * BLOCK_PX, count * BLOCK_PX
            part = with_margin(light, (top, left * BLOCK_PX), size, BLOCK_PX)
            own = np.s_[BLOCK_PX:-BLOCK_PX, BLOCK_PX:-BLOCK_PX]
            for band, (detail, coarse) in enumerate(bands_of(part)):
                level = coarse
                inner = np.ascontiguousarray(detail[own])
                squares[band].append(_over_blocks(np.asarray(inner * inner), count, down))
            levels.append(_over_blocks(np.ascontiguousarray(level[own]), count, down))
    if not levels:
        return np.zeros((0, 3)), np.zeros((BANDS, 0, 3))
    return np.concatenate(levels), np.stack([np.concatenate(own) for own in squares])


def _over_blocks(values: Float32, across: int, down: int) -> Float64:
    means = cv2.resize(values, (across, down), interpolation=cv2.INTER_AREA)
    return np.asarray(means, np.float64).reshape(-1, 3)


def _slope(level: Float64) -> Float64:
    """Light over codes, of the display curve of IEC 61966-2-1."""
    above = 2.4 / 1.055 * np.maximum(level, 1e-6) ** (1 - 1 / 2.4)
    return np.where(level > 0.0031308, above, 1 / 12.92)


def _median(values: Float64, counts: Float64) -> float:
    """Median of values that count for so many each, of those that are known."""
    order = np.argsort(values, axis=None)
    sums = np.cumsum(counts.ravel()[order])
    return float(values.ravel()[order][np.searchsorted(sums, sums[-1] / 2)])


def _noise(bands: Float64, total: Float64, least: Float64, most: Float64) -> tuple[Float64, int]:
    """Variance of each band in the quietest cluster of blocks of a level, and how many these are.

    NaN if there is none.
    """
    nothing = np.full(BANDS, np.nan), 0
    noisy = total > least
    if (~noisy).sum() >= FEWEST_BLOCKS and (~noisy).mean() > MOSTLY:
        # No more than rounding: as much at most is at other levels, for what they are.
        return np.array([float(np.median(least)), 0.0, 0.0]), int((~noisy).sum())
    if noisy.sum() < FEWEST_BLOCKS or (~noisy).mean() > QUIETEST:
        return nothing
    own = total[noisy]
    middle = float(np.quantile(own, QUIETEST))
    for _ in range(12):
        some = own[(own > middle / WIDE) & (own < middle * NARROW)]
        if not some.size:  # It lies in a gap, where nothing clusters.
            break
        middle = float(np.median(some))
    near = (own > middle / WIDE) & (own < middle * WIDE)
    narrow = (own > middle / NARROW) & (own < middle * NARROW)
    count = int(narrow.sum())
    if count < max(FEWEST_BLOCKS, LEAST_SHARE * own.size) or count < PEAKED * near.sum():
        return nothing
    lower = (own > middle / NARROW) & (own <= middle)
    if (near & (own <= middle / NARROW)).sum() > BELOW * lower.sum():
        return nothing
    found = bands[:, noisy][:, narrow].mean(axis=1)
    is_detail = found[2] > COARSE * found[1] or middle > float(np.median(most))
    return nothing if is_detail else (found, count)


def _curve(found: Float64) -> Float64 | None:
    """Variance of each band of the root of light at all levels, from some of them."""
    known = np.flatnonzero(np.isfinite(found[:, 0]))
    if not known.size:
        return None
    roots = (known + 0.5) / BINS
    own = found[known].sum(axis=1)
    # Over the light it falls, and by itself it rises, but where a curve presses whites together.
    ratio = (roots[:, np.newaxis] / roots) ** 2
    darker, brighter = ratio >= 1, (ratio < 1) & (roots < BRIGHTEST)
    most = np.where(darker, own * ratio, np.where(brighter, RISE * own / ratio, np.inf)).min(axis=1)
    bounded = found[known] * (np.minimum(own, most) / own)[:, np.newaxis]
    bounded[bounded[:, 1] == 0] = 0
    at = np.arange(LEVELS) / (LEVELS - 1)
    return np.stack([np.interp(at, roots, bounded[:, band]) for band in range(BANDS)])
