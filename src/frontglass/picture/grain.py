"""Grain: the noise that a sensor added to a still, told from what the lens saw.

The noise never went through a filter, so it must not be spread with the light. It is what in flat
parts is left of the finest bands of a wavelet decomposition (see `grain_of`), by as much as
`NoiseCurve` says a still has of it.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.picture.noise_curve import NoiseCurve, bands_of, level_index, noise_curve_of

Float32 = NDArray[np.float32]

CELL_PX, CELLS_AROUND = 4, 5
"""Whether a place is flat is judged from so wide cells, and so many of them each way."""
FLAT, NOT_FLAT = (1.4, 1.6, 2.1), (2.2, 2.5, 3.2)
"""Variance, over that of the noise, up to which all is noise, and from which on nothing is; in
coarser bands fewer coefficients tell it."""
FARTHEST_VARIANCE, OUTLIER_VARIANCE = 20.0, 10.0
"""Squares of deviations that count in full, and beyond which a pixel is detail in any case."""
TILE_PX, MARGIN_PX = 448, 40
"""Tiles fit a processor's cache; bands and cells reach 36 px. Both are whole cells."""
FAINT = 0.003
"""Light that is as noisy as none: readout noise, over the noise of light. [white = 1]"""


def grain_of(light: Float32, code_step: float) -> Float32 | None:
    """Return the noise of a still, or None if it has none to speak of.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light of the still, as its codes show it.
    code_step : float
        Step between codes, over white: 1 / 255 for 8 bits.

    Returns
    -------
    ndarray, shape (H, W, 3), float32, or None
        What the sensor added, of either sign; 0 in detail.

    Notes
    -----
    Undecimated wavelets of three bands [Starck2007]. In each a coefficient is noise where its
    surroundings, in the quietest of the windows that hold the pixel, vary by no more than the
    noise does [Mihcak1999], and where it is no outlier itself. What is left is the picture: it
    keeps all its edges and whatever stands out of the noise.
    """
    curve = noise_curve_of(light, code_step)
    if curve is None:
        return None
    height, width, _ = light.shape
    out = np.empty_like(light)

    def some(place: tuple[int, int]) -> None:
        top, left = place
        first, before = max(0, top - MARGIN_PX), max(0, left - MARGIN_PX)
        bottom, right = min(top + TILE_PX, height), min(left + TILE_PX, width)
        around = light[first : bottom + MARGIN_PX, before : right + MARGIN_PX]
        own = _grain_of_tile(np.ascontiguousarray(around), curve)
        out[top:bottom, left:right] = own[
            top - first : bottom - first, left - before : right - before
        ]

    tiles = [(y, x) for y in range(0, height, TILE_PX) for x in range(0, width, TILE_PX)]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        for _ in pool.map(some, tiles):
            pass
    return out


def _grain_of_tile(light: Float32, curve: NoiseCurve) -> Float32:
    total = np.zeros_like(light)
    size = light.shape[1], light.shape[0]
    cells = -(-size[0] // CELL_PX), -(-size[1] // CELL_PX)
    window = np.ones((CELLS_AROUND, CELLS_AROUND), np.uint8)
    index = None
    for band, (detail, coarse) in enumerate(bands_of(light)):
        index = level_index(coarse) if index is None else index
        squares = cv2.multiply(detail, detail)
        cv2.multiply(squares, curve.precision(index, band), dst=squares)
        cv2.threshold(squares, FARTHEST_VARIANCE, 0, cv2.THRESH_TRUNC, dst=squares)
        around = cv2.resize(squares, cells, interpolation=cv2.INTER_AREA)
        around = cv2.blur(around, (CELLS_AROUND, CELLS_AROUND), borderType=cv2.BORDER_REFLECT)
        around = cv2.erode(around, window, borderType=cv2.BORDER_REFLECT)
        wide = NOT_FLAT[band] - FLAT[band]
        flat = np.clip((np.float32(NOT_FLAT[band]) - around) / np.float32(wide), 0, 1)
        share = cv2.resize(flat, size, interpolation=cv2.INTER_LINEAR)
        cv2.threshold(squares, OUTLIER_VARIANCE, 1, cv2.THRESH_BINARY_INV, dst=squares)
        cv2.multiply(share, squares, dst=share)
        cv2.accumulateProduct(share, detail, total)
    return total
