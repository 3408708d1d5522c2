"""Stills of a bracket laid over one another: shifts of a hand-held camera, undone."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64

UInt8 = NDArray[np.uint8]

SOFT_FROM, SOFT_TO = 0.8, 0.95
"""Share of the clipping level between which a sample loses its weight."""
FEWEST_SHARED_PX = 100
DIMMEST_SHARED = 0.002
"""Two stills are compared in no fewer pixels, and in none that is darker."""
BELIEVED_GAIN = 0.9
"""A shift is believed if it leaves less than this share of the difference."""
LARGEST_SHIFT_BITS, EXCLUDED_CODES = 6, 4
NARROWEST_LEVEL_PX = 40
"""Least squares begin with stills shrunk to this."""
WHOLE_WITHIN_PX = 0.05
"""A shift this close to whole pixels is one: whole shifts leave light as it is."""


def aligned(
    lights: Sequence[Float32], nominal: Sequence[float]
) -> tuple[list[Float32], list[tuple[float, float]]]:
    """Stills shifted onto the brightest, each by way of its brighter neighbour.

    Notes
    -----
    Bitmaps of a still that is mostly black say nothing: a shift is believed only if the two stills
    then agree better where both hold light. Edges are repeated where nothing was seen.
    """
    moved, shifts = [lights[0]], [(0.0, 0.0)]
    for i in range(1, len(lights)):
        scale = np.float32(2.0 ** (nominal[i] - nominal[i - 1]))
        light = lights[i]
        right, down = _shift(moved[i - 1], light, scale)
        if right or down:
            light = _shifted(light, right, down)
        moved.append(light)
        shifts.append((right, down))
    return moved, shifts


def _shift(bright: Float32, dark: Float32, scale: np.float32) -> tuple[float, float]:
    """Shift right and down [px] that lays `dark` on `bright`."""
    best, least = (0.0, 0.0), _disagreement(bright, dark, scale)
    if least is None:
        return best
    least *= BELIEVED_GAIN
    for start in ((0.0, 0.0), _bitmap_shift(bright, dark, scale)):
        shift = _least_squares_shift(bright, dark, scale, start)
        if np.allclose(shift, best, rtol=0, atol=WHOLE_WITHIN_PX):
            continue
        left = _disagreement(bright, _shifted(dark, *shift), scale)
        if left is not None and left < least:
            best, least = shift, left
    return best


def _bitmap_shift(bright: Float32, dark: Float32, scale: np.float32) -> tuple[float, float]:
    """Shift by median threshold bitmaps, in whole pixels."""
    # Each bit halves the stills once more, and OpenCV fails when nothing is left of them.
    bits = min(LARGEST_SHIFT_BITS, int(np.log2(min(dark.shape[:2]))) - 2)
    if bits < 1:
        return 0.0, 0.0
    aligner = cv2.createAlignMTB(max_bits=bits, exclude_range=EXCLUDED_CODES, cut=False)
    # Both as the dark still saw them: the same pixels are then above the median.
    right, down = aligner.calculateShift(_grey_codes(bright * scale), _grey_codes(dark))
    return float(right), float(down)


def _least_squares_shift(
    bright: Float32, dark: Float32, scale: np.float32, start: tuple[float, float]
) -> tuple[float, float]:
    """Shift of least squared difference, near `start`, from stills much shrunk to the full ones."""
    # Both end where the bright one does, or its clipped lamps would be differences.
    one = np.minimum(bright.mean(axis=2), SOFT_TO) * scale
    other = np.minimum(dark.mean(axis=2), SOFT_TO * scale)
    shift = np.array(start)
    level = max(0, int(np.log2(min(one.shape) / NARROWEST_LEVEL_PX)))
    while level >= 0 and one.size <= ACCURACY.alignment_px * 4**level:
        size = (one.shape[1] >> level, one.shape[0] >> level)
        ref, src = (
            cv2.GaussianBlur(cv2.resize(x, size, interpolation=cv2.INTER_AREA), (0, 0), 1.0)
            for x in (one, other)
        )
        shift = _stepped(np.asarray(ref), np.asarray(src), shift / 2**level) * 2**level
        level -= 1
    if np.abs(shift).max() >= min(one.shape) / 2:
        return start
    whole = np.rint(shift)
    shift = np.where(np.abs(shift - whole) < WHOLE_WITHIN_PX, whole, np.round(shift, 2))
    return float(shift[0]), float(shift[1])


def _stepped(ref: Float32, src: Float32, shift: Float64) -> Float64:
    """Return `shift` after a few steps towards that which lays `src` on `ref` [px]."""
    down, right = np.gradient(ref)
    slopes = np.stack([right, down], axis=-1)
    weight = 1 / (ref + np.float32(DIMMEST_SHARED))
    for _ in range(ACCURACY.alignment_steps):
        edge = int(np.abs(shift).max()) + 2
        if 2 * edge >= min(ref.shape):
            return shift
        inner = (slice(edge, -edge), slice(edge, -edge))
        off = ((_shifted(src, *shift.tolist()) - ref) * weight)[inner].ravel()
        rates = (slopes * weight[..., np.newaxis])[inner].reshape(-1, 2)
        step = np.linalg.lstsq(rates.T @ rates, rates.T @ off, rcond=None)[0]
        shift = shift + step
        if np.abs(step).max() < ACCURACY.alignment_last_px:
            break
    return shift


def _shifted(light: Float32, right: float, down: float) -> Float32:
    matrix = np.array([[1, 0, right], [0, 1, down]], dtype=np.float32)
    size = (light.shape[1], light.shape[0])
    is_whole = right == round(right) and down == round(down)
    kernel = cv2.INTER_NEAREST if is_whole else cv2.INTER_CUBIC
    moved = cv2.warpAffine(light, matrix, size, flags=kernel, borderMode=cv2.BORDER_REPLICATE)
    # Cubics swing below the dark beside a lamp.
    return np.asarray(moved if is_whole else np.maximum(moved, 0), dtype=np.float32)


def _disagreement(bright: Float32, dark: Float32, scale: np.float32) -> float | None:
    """Mean difference of two stills where both hold light; None where hardly any pixel does."""
    one, other = bright.mean(axis=2) * scale, dark.mean(axis=2)
    both = (bright.max(axis=2) < SOFT_FROM) & (one > DIMMEST_SHARED)
    if np.count_nonzero(both) < FEWEST_SHARED_PX:
        return None
    return float(np.abs(one[both] - other[both]).mean())


def _grey_codes(light: Float32) -> UInt8:
    grey = np.clip(light.mean(axis=2), 0, 1) ** np.float32(1 / 2.4)
    return np.asarray(np.rint(grey * 255), dtype=np.uint8)
