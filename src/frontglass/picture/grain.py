"""Grain: the noise that a sensor added to a still, told from what the lens saw.

The noise never went through a filter, so it must not be spread with the light. It is what in flat
parts is left of the finest bands of a wavelet decomposition (see `grain_of`), by as much as
`NoiseCurve` says a still has of it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32
from frontglass.heap import take_pages
from frontglass.picture.noise_curve import (
    NOTHING,
    NoiseCurve,
    Samples,
    level_index,
    noise_curve_of,
    with_margin,
)
from frontglass.threads import for_each

CELL_PX, CELLS_AROUND = 4, 5
"""Whether a place is flat is judged from so wide cells, and from squares of so many of them."""
FARTHEST_CELL = CELLS_AROUND // 2
"""From a cell to the farthest one of a square round it, and as far again to one of any with it."""
FLAT, NOT_FLAT = (1.4, 1.6, 2.1), (2.2, 2.5, 3.2)
"""Variance, over that of the noise, up to which all is noise, and from which on nothing is; in
coarser bands fewer coefficients tell it."""
FARTHEST_VARIANCE, OUTLIER_VARIANCE = 20.0, 10.0
"""Squares of deviations that count in full, and beyond which a pixel is detail in any case."""
TALL_PX, WIDE_PX, MARGIN_PX = 192, 1024, 8
"""Filters end in the margins of tiles, which are whole cells. Tiles of a quarter as much fit a
processor's cache better, and take a quarter longer: margins, and threads that wait for each other
to say what comes next."""
KEPT = np.array([-1, 10, -1], np.float32) / 8
"""Sharpens as much as OpenCV's enlarging softens."""
MOST_STEPS = 13_000
"""Of 32,767 that there are: where a coarse band is enlarged twice, it may overshoot by 2.44."""
PARTS = 1 << 14
"""Of a share."""
FAINT = 0.003
"""Light that is as noisy as none: readout noise, over the noise of light. [white = 1]"""


class Grain(NamedTuple):
    """Noise of a still: whole numbers of steps, which take half the room of light.

    Parameters
    ----------
    steps : ndarray, shape (H, W, 3), int16
        What the sensor added, of either sign; 0 in detail.
    step : float
        Light of one step.
    """

    steps: NDArray[np.int16]
    step: float

    def at(self, where: Any) -> Float32:
        """Light of some rows or pixels of it."""
        return np.asarray(self.steps[where] * np.float32(self.step))


def grain_of(
    light: Float32, code_step: float, room: NDArray[np.int16] | None = None
) -> Grain | None:
    """Return the noise of a still, or None if it has none to speak of.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light of the still, as its codes show it.
    code_step : float
        Step between codes, over white: 1 / 255 for 8 bits.
    room : ndarray, shape (H, W, 3), int16, or None
        What is found is laid there; None makes room for it.

    Returns
    -------
    Grain or None

    Notes
    -----
    Three bands of wavelets, as in [Starck2007] but on fewer pixels where they are coarser: a
    Laplacian pyramid, which loses nothing. In each a coefficient is noise where its surroundings,
    in the quietest of the windows that hold the pixel, vary by no more than the noise does
    [Mihcak1999], and where it is no outlier itself. What is left is the picture: it keeps all its
    edges and whatever stands out of the noise.
    """
    curve = noise_curve_of(light, code_step)
    return None if curve is None else grain_by(curve, light, room)


def grain_by(curve: NoiseCurve, light: Float32, room: NDArray[np.int16] | None = None) -> Grain:
    """Return the noise of light, or of a part of it, that is so noisy."""
    # No band of it is louder than what is an outlier.
    step = float(np.sqrt(OUTLIER_VARIANCE / curve.precisions.min(axis=(1, 2))).sum()) / MOST_STEPS
    steps = np.empty(light.shape, np.int16) if room is None else room
    _lay_noise(steps, step, light, curve, 0)
    return Grain(steps, step)


class _Tile(NamedTuple):
    """Part of a frame that fits a processor's cache."""

    top: int
    left: int
    height: int
    width: int

    def of(self, frame: Samples, px: int = 1, more: int = 0) -> Samples:
        """Return it and a margin, or a wider one, of a frame whose pixels are so many wide."""
        top, left, height, width = (length // px for length in self)
        return with_margin(frame, (top, left), (height, width), MARGIN_PX // px + more)

    def inner(self, frame: NDArray[Any], values: Samples, px: int = 1) -> tuple[Any, Samples]:
        """Return its place in a frame, and what stands there of values of it and its margin."""
        top, left, height, width = (length // px for length in self)
        here = frame[top : top + height, left : left + width]
        margin = MARGIN_PX // px
        return here, values[margin:, margin:][: here.shape[0], : here.shape[1]]


def _lay_noise(
    out: NDArray[np.int16], step: float, light: Float32, curve: NoiseCurve, band: int
) -> None:
    """Lay noise of a band and of all that are coarser, in steps of so much light.

    What varies round a place is known when all of it has been looked at. So tiles are gone through
    twice: what is no outlier is laid first, and as much of it stays as is noise, after the coarser
    bands, on half as many pixels along each side.
    """
    height, width = (-(-length // CELL_PX) * CELL_PX for length in light.shape[:2])
    cell_px = CELL_PX >> band
    half = np.empty((height // 2, width // 2, 3), np.float32)
    cells = np.empty((height // cell_px, width // cell_px, 3), np.float32)
    tiles = [
        _Tile(top, left, min(TALL_PX, height - top), min(WIDE_PX, width - left))
        for top in range(0, height, TALL_PX)
        for left in range(0, width, WIDE_PX)
    ]

    def look(tile: _Tile) -> None:
        if not tile.left:  # each its rows: all at once would let the others wait
            take_pages(out[tile.top : tile.top + TALL_PX])
            take_pages(half[tile.top // 2 : (tile.top + TALL_PX) // 2])
        detail, coarse, squares = _parts(tile.of(light), curve, band)
        here, own = tile.inner(half, coarse, 2)
        here[:] = own
        cv2.threshold(squares, FARTHEST_VARIANCE, 0, cv2.THRESH_TRUNC, dst=squares)
        here, own = tile.inner(cells, _means_of_cells(squares, cell_px), cell_px)
        here[:] = own
        cv2.threshold(squares, OUTLIER_VARIANCE, 1 / step, cv2.THRESH_BINARY_INV, dst=squares)
        here, own = tile.inner(out, detail)
        cv2.multiply(own, tile.inner(out, squares)[1], dst=here, dtype=cv2.CV_16S)

    for_each(look, tiles)
    coarser = None
    if (curve.precisions[band + 1 :] < NOTHING).any():
        coarser = np.empty(half.shape, np.int16)
        _lay_noise(coarser, step, half, curve, band + 1)

    def lay(tile: _Tile) -> None:
        flat = _flat_share(tile.of(cells, cell_px, 2 * FARTHEST_CELL), band)
        # Steps of shares and of noise are so small that whole numbers serve, in half of the time.
        parts = np.rint(flat * PARTS).astype(np.int16)
        own, share = tile.inner(out, _resized(parts, cell_px, cv2.INTER_LINEAR))
        cv2.multiply(share, own, dst=own, scale=1 / PARTS)
        if coarser is not None:
            cv2.add(own, tile.inner(out, _enlarged(tile.of(coarser, 2)))[1], dst=own)

    for_each(lay, tiles)


def _parts(light: Float32, curve: NoiseCurve, band: int) -> tuple[Float32, Float32, Float32]:
    """Detail of a band, what is coarser, and squares of detail over the variance of noise."""
    half = np.asarray(cv2.pyrDown(light), np.float32)
    detail = np.asarray(cv2.subtract(light, _enlarged(half)), np.float32)
    squares = np.asarray(cv2.multiply(detail, detail), np.float32)
    height, width = half.shape[:2]
    precision = curve.precision(level_index(half), band)
    wide = cv2.resize(precision, (2 * width, height), interpolation=cv2.INTER_NEAREST)
    by_twos = squares.reshape(height, 2, -1)
    by_twos *= np.asarray(wide, np.float32).reshape(height, 1, -1)
    return detail, half, squares


def _enlarged(half: Samples) -> Samples:
    """Return light on twice as many pixels along each side, by cubics through those there are."""
    return np.asarray(cv2.pyrUp(cv2.sepFilter2D(half, -1, KEPT, KEPT)), half.dtype)


def _flat_share(cells: Float32, band: int) -> Float32:
    """How far cells hold nothing but noise, by mean squares of a band over noise's variance.

    Those at the edges, whose surroundings are not all there, are left out.
    """
    around = cv2.blur(cells, (CELLS_AROUND, CELLS_AROUND), borderType=cv2.BORDER_REFLECT)
    window = np.ones((CELLS_AROUND, CELLS_AROUND), np.uint8)
    around = np.asarray(cv2.erode(around, window, borderType=cv2.BORDER_REFLECT), np.float32)
    wide = NOT_FLAT[band] - FLAT[band]
    inner = slice(2 * FARTHEST_CELL, -2 * FARTHEST_CELL)
    flat = (np.float32(NOT_FLAT[band]) - around[inner, inner]) / np.float32(wide)
    return np.asarray(np.clip(flat, 0, 1), np.float32)


def _means_of_cells(values: Float32, cell_px: int) -> Float32:
    """Means of squares of 1, 2 or 4 pixels; by halves they take half of the time."""
    while cell_px > 1:
        values, cell_px = _resized(values, 1 / 2, cv2.INTER_LINEAR), cell_px // 2
    return values


def _resized(values: Samples, times: float, interpolation: int) -> Samples:
    if times == 1:
        return values
    size = round(values.shape[1] * times), round(values.shape[0] * times)
    return np.asarray(cv2.resize(values, size, interpolation=interpolation), values.dtype)
