"""What in a frame is lamp: it shines from where it is, while the rest goes on beyond the frame."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32
from frontglass.lit_pixels import LitPixels, pixels_above
from frontglass.rows_between import RowsBetween
from frontglass.threads import in_pieces

Places = NDArray[np.intp]

WHITE = 1.0
NEAR_SHARE = 0.25
"""Standard deviation of what is near, as a share of the frame's shorter side."""
NEAR_TIMES = 4.0
"""A lamp is brighter than the mean of what is near by that: it fills less than a quarter of it."""
SURE_TIMES = 2.0
"""What is so many times brighter than that again is a lamp with all its light."""
NODES, PX_PER_NODE = 64, 8
ROWS_AT_ONCE = 128


def lamp_pixels(light: Float32) -> LitPixels | None:
    """Return what in a frame is lamp: brighter than white, and small.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light; 1 is diffuse white.

    Returns
    -------
    LitPixels or None
        A share of each pixel's light, the same for the three channels. None if nothing is lamp.

    Notes
    -----
    Of the brightest channel, over white and over four times the mean of what is near, the share
    rises smoothly from 0 at one to 1 at twice that. So a wall brighter than white stays what it
    is, however bright, and so does a sky or a window that fills a quarter of what is near.
    """
    height = light.shape[0]
    least = least_lamps(light)
    found: dict[int, tuple[Places, Places, Float32]] = {}

    def some(rows: slice) -> None:
        down, across = pixels_above(light[rows], WHITE)
        found[rows.start] = lamps_among(light, least, down + rows.start, across)

    in_pieces(some, height, ROWS_AT_ONCE)
    parts = zip(*(found[row] for row in sorted(found)), strict=True)
    rows, columns, lamps = (np.concatenate(part) for part in parts)
    return LitPixels(light.shape, (rows, columns), lamps) if len(rows) else None


def lamps_among(
    light: Float32, least: RowsBetween, rows: Places, columns: Places
) -> tuple[Places, Places, Float32]:
    """Pixels of a frame, of some, that are lamp, and the light of the lamp in each."""
    own = light[rows, columns]
    over = np.maximum(np.maximum(own[:, 0], own[:, 1]), own[:, 2]) / least.at(rows, columns)
    share = share_of_lamp(np.asarray(over, np.float32))
    lit = np.flatnonzero(share)
    return rows[lit], columns[lit], own[lit] * share[lit, np.newaxis]


def share_of_lamp(over: Float32) -> Float32:
    """How much of pixels is lamp that are so many times as bright as the least lamp."""
    t = np.clip((over - 1) / np.float32(SURE_TIMES - 1), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def least_lamps(light: Float32) -> RowsBetween:
    """Light from which on a pixel is a lamp."""
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
    return RowsBetween.of(least, height, width)
