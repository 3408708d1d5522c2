"""What in a frame is lamp: it shines from where it is, while the rest goes on beyond the frame."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.convolution.blocks import ROWS_AT_ONCE
from frontglass.threads import in_pieces

Float32 = NDArray[np.float32]

WHITE = 1.0
NEAR_SHARE = 0.25
"""Standard deviation of what is near, as a share of the frame's shorter side."""
NEAR_TIMES = 4.0
"""A lamp is brighter than the mean of what is near by that: it fills less than a quarter of it."""
SURE_TIMES = 2.0
"""What is so many times brighter than that again is a lamp with all its light."""
NODES, PX_PER_NODE = 64, 8


class LampPixels(NamedTuple):
    """Pixels of a frame that are lamp.

    Parameters
    ----------
    rows, columns : ndarray, shape (N,)
        Where they are, row by row.
    light : ndarray, shape (N, 3), float32
        Light of the lamp in each.
    """

    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    light: Float32

    def taken_from(self, light: Float32) -> Float32:
        """Return what is not lamp of `light`, shape (H, W, 3)."""
        rest = light.copy()
        rest[self.rows, self.columns] -= self.light
        return rest

    def over(self, shape: tuple[int, ...]) -> Float32:
        """Return them on a whole frame, shape (H, W, 3)."""
        whole = np.zeros(shape, np.float32)
        whole[self.rows, self.columns] = self.light
        return whole


def lamp_pixels(light: Float32) -> LampPixels | None:
    """Return what in a frame is lamp: brighter than white, and small.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light; 1 is diffuse white.

    Returns
    -------
    LampPixels or None
        A share of each pixel's light, the same for the three channels. None if nothing is lamp.

    Notes
    -----
    Of the brightest channel, over white and over four times the mean of what is near, the share
    rises smoothly from 0 at one to 1 at twice that. So a wall brighter than white stays what it
    is, however bright, and so does a sky or a window that fills a quarter of what is near.
    """
    height, width, _ = light.shape
    least = least_lamps(light)
    above, below, part = nodes_round(np.arange(height), height, len(least))
    found: dict[int, LampPixels] = {}

    def some(rows: slice) -> None:
        bright = np.flatnonzero(light[rows].reshape(-1) > WHITE) // 3
        # One place for each pixel, of which several channels may be bright.
        at = bright[np.flatnonzero(np.diff(bright, prepend=-1))]
        down, across = rows.start + at // width, at % width
        own, t = light[down, across], part[down]
        bound = (1 - t) * least[above[down], across] + t * least[below[down], across]
        share = share_of_lamp(np.maximum(np.maximum(own[:, 0], own[:, 1]), own[:, 2]) / bound)
        lit = np.flatnonzero(share)
        if lit.size:
            lamps = own[lit] * share[lit, np.newaxis]
            found[rows.start] = LampPixels(down[lit], across[lit], lamps)

    in_pieces(some, height, ROWS_AT_ONCE)
    if not found:
        return None
    parts = zip(*(found[row] for row in sorted(found)), strict=True)
    return LampPixels(*(np.concatenate(part) for part in parts))


def nodes_round(
    rows: NDArray[np.intp], height: int, count: int
) -> tuple[NDArray[np.intp], NDArray[np.intp], Float32]:
    """Nodes above and below rows of a frame, and how far on the way between them these lie."""
    y = np.clip((rows + 0.5) * count / height - 0.5, 0, count - 1)
    high = np.minimum(y.astype(np.intp), max(count - 2, 0))
    return high, np.minimum(high + 1, count - 1), (y - high).astype(np.float32)


def share_of_lamp(over: Float32) -> Float32:
    """How much of pixels is lamp that are so many times as bright as the least lamp."""
    t = np.clip((over - 1) / np.float32(SURE_TIMES - 1), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def least_lamps(light: Float32) -> Float32:
    """Light from which on a pixel is a lamp, on few rows and all columns."""
    height, width, _ = light.shape
    ratio = min(1.0, NODES / min(height, width))
    size = max(1, round(width * ratio)), max(1, round(height * ratio))
    # Of what fills a quarter of its surroundings every few pixels tell as much as all of them.
    step = max(1, min(height, width) // (PX_PER_NODE * NODES))
    some = light[step // 2 :: step, step // 2 :: step]
    coarse = cv2.resize(some, size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0], 3)
    near = NEAR_SHARE * min(size)
    mean = cv2.GaussianBlur(coarse.max(axis=2), (0, 0), near, borderType=cv2.BORDER_REFLECT)
    least = np.maximum(np.asarray(mean, np.float32) * np.float32(NEAR_TIMES), np.float32(WHITE))
    return np.asarray(cv2.resize(least, (width, size[1]), interpolation=cv2.INTER_LINEAR))
