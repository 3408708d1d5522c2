"""Grain: the noise that a sensor added to a still, told from what the lens saw.

The noise never went through a filter, so it must not be spread with the light. It is what in flat
parts is left of the finest bands of a wavelet decomposition (see `grain_of`), by as much as
`NoiseCurve` says a still has of it.
"""

from __future__ import annotations

from itertools import product
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.picture.noise_curve import (
    STEPS,
    NoiseCurve,
    bands_of,
    level_index,
    noise_curve_of,
    with_margin,
)
from frontglass.threads import for_each

Float32 = NDArray[np.float32]

CELL_PX, CELLS_AROUND = 4, 5
"""Whether a place is flat is judged from so wide cells, and so many of them each way."""
FLAT, NOT_FLAT = (1.4, 1.6, 2.1), (2.2, 2.5, 3.2)
"""Variance, over that of the noise, up to which all is noise, and from which on nothing is; in
coarser bands fewer coefficients tell it."""
FARTHEST_VARIANCE, OUTLIER_VARIANCE = 20.0, 10.0
"""Squares of deviations that count in full, and beyond which a pixel is detail in any case."""
TILE_PX, MARGIN_PX = 320, 40
"""Tiles fit a processor's cache; bands and cells reach 36 px. Both are whole cells."""
MOST_STEPS = 32766
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


def grain_of(light: Float32, code_step: float) -> Grain | None:
    """Return the noise of a still, or None if it has none to speak of.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light of the still, as its codes show it.
    code_step : float
        Step between codes, over white: 1 / 255 for 8 bits.

    Returns
    -------
    Grain or None

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
    # No band of it is louder than what is an outlier.
    step = float(np.sqrt(OUTLIER_VARIANCE / curve.precisions.min(axis=(1, 2))).sum()) / MOST_STEPS
    out = np.empty(light.shape, np.int16)
    size = tuple(min(TILE_PX, -(-length // CELL_PX) * CELL_PX) for length in (height, width))

    def some(place: tuple[int, int]) -> None:
        here = out[place[0] : place[0] + size[0], place[1] : place[1] + size[1]]
        own = _grain_of_tile(with_margin(light, place, size, MARGIN_PX), curve)
        inner = own[MARGIN_PX:, MARGIN_PX:][: here.shape[0], : here.shape[1]]
        np.multiply(inner, np.float32(1 / step), out=here, casting="unsafe")

    for_each(some, product(range(0, height, size[0]), range(0, width, size[1])))
    return Grain(out, step)


def _grain_of_tile(light: Float32, curve: NoiseCurve) -> Float32:
    """Grain of a tile with its margin.

    Levels are read from every second pixel, and how a coarse band varies from as few of it as tell
    its waves.
    """
    total = np.zeros_like(light)
    cells = light.shape[1] // CELL_PX, light.shape[0] // CELL_PX
    level = None
    for band, (detail, coarse) in enumerate(bands_of(light)):
        level = level_index(_every(2, coarse)) if level is None else level
        some = _every(STEPS[band], detail)
        precision = _resized(curve.precision(level, band), some.shape, cv2.INTER_NEAREST)
        squares = np.asarray(cv2.multiply(some, some), np.float32)
        cv2.multiply(squares, precision, dst=squares)
        share = _resized(_flat_share(squares, band, cells), some.shape, cv2.INTER_LINEAR)
        cv2.threshold(squares, OUTLIER_VARIANCE, 1, cv2.THRESH_BINARY_INV, dst=squares)
        squares *= share
        share = _resized(squares, light.shape, cv2.INTER_LINEAR)
        cv2.accumulateProduct(share, detail, total)
    return total


def _flat_share(squares: Float32, band: int, cells: tuple[int, int]) -> Float32:
    """How far cells hold nothing but noise, by squares of a band over the variance of noise."""
    cv2.threshold(squares, FARTHEST_VARIANCE, 0, cv2.THRESH_TRUNC, dst=squares)
    around = cv2.resize(squares, cells, interpolation=cv2.INTER_AREA)
    around = cv2.blur(around, (CELLS_AROUND, CELLS_AROUND), borderType=cv2.BORDER_REFLECT)
    window = np.ones((CELLS_AROUND, CELLS_AROUND), np.uint8)
    around = np.asarray(cv2.erode(around, window, borderType=cv2.BORDER_REFLECT), np.float32)
    wide = NOT_FLAT[band] - FLAT[band]
    flat = (np.float32(NOT_FLAT[band]) - around) / np.float32(wide)
    return np.asarray(np.clip(flat, 0, 1), np.float32)


def _every(step: int, values: Float32) -> Float32:
    """Every so manyth pixel along both axes."""
    return _resized(values, (values.shape[0] // step, values.shape[1] // step), cv2.INTER_NEAREST)


def _resized(values: Float32, shape: tuple[int, ...], interpolation: int) -> Float32:
    size = shape[1], shape[0]
    if values.shape[1::-1] == size:
        return values
    return np.asarray(cv2.resize(values, size, interpolation=interpolation), np.float32)
