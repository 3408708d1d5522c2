"""Clipped areas of a still: where white is only the end of the scale, and what shows it.

A lamp three hundred times white is stored as white. What is left of it is its outline, the light
round it, and the channels that did not reach the end.
"""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.lit_pixels import first_of_each

Labels = NDArray[np.int32]
Places = NDArray[np.int32]

CLIPPED_FROM = 0.9525
"""Share of the clipping level from which on a pixel is clipped; common practice, no source."""
FILLED_FROM = 0.876
"""What is darker is a gap in a clipped area, no dip."""
HELD_FROM, HELD_TO = 0.86, 0.97
"""A channel of a clipped pixel ends in none of it up to the first share, in all of it from the
second on."""
DIP_PX = 5
"""Dips narrower than that are filled. Where colour changes, a JPEG of quality 75 pulls the weakest
channel of many a clipped pixel below `FILLED_FROM`: judged pixel by pixel, `whole_share` moved by
0.10 (rms over crops of 28 panoramas), by means over squares by 0.03."""
CODES = 256
LOWEST_CLIP_CODE, USUAL_CODES = 200, 32
"""No camera's white is stored darker than this; common practice, no source."""
SPIKE = 4.0
FEWEST_PX = 4
BAND_PX = 64
"""Rows looked through at a time: what fits a cache is read once."""


class Outline(NamedTuple):
    """Clipped areas of a still; N pixels clip in them.

    Parameters
    ----------
    shape : tuple of 2 int
        Height and width of the still. [px]
    at : ndarray, shape (N,)
        Which pixels, counted row by row.
    owner : ndarray, shape (N,), int32
        Area that each belongs to, from 0.
    own : ndarray, shape (N, 3), float32
        Its light.
    held : ndarray, shape (N, 3), float32
        How far each of its samples is clipped. [1], in [0, 1].
    depth : ndarray, shape (N,), float32
        How far it is from what does not clip. [px], about 1 at the edge.
    boxes : ndarray, shape (R, 4)
        Left, top, width, height of each area. [px]
    rim : tuple of two ndarray
        Pixels just outside of areas, and the area of each.
    centres : ndarray, shape (R, 2)
        Column and row of each area's middle. [px]
    levels : ndarray, shape (3,)
        Light at which each channel ends.
    """

    shape: tuple[int, int]
    at: Places
    owner: Labels
    own: Float32
    held: Float32
    depth: Float32
    boxes: Labels
    rim: tuple[Places, Labels]
    centres: Float64
    levels: Float32

    @property
    def regions(self) -> int:
        """Number of areas."""
        return len(self.boxes)

    @property
    def labels(self) -> Labels:
        """Number of the area that each pixel belongs to, from 1; 0 is none. Shape (H, W)."""
        labels = np.zeros(self.shape, np.int32)
        labels.ravel()[self.at] = self.owner + 1
        return labels

    def sums(self, values: NDArray[np.generic]) -> Float64:
        """Sum of `values`, one for each pixel, over each area."""
        return np.asarray(np.bincount(self.owner, values, self.regions))


def outline(light: Float32, white: float = 1.0) -> Outline:
    """Clipped areas of a still.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    white : float
        Light of the file's highest code. > 0.

    Notes
    -----
    Each channel ends where its histogram piles up, which some cameras let happen below the
    highest code. Dips that JPEG rings into a clipped area are filled before they count.
    """
    levels = clipping_levels(light, white)
    height, width = light.shape[:2]
    step = -(-width // ACCURACY.outline_px)
    shape = -(-height // step), -(-width // step)
    at, is_clipped = _bright(light, levels)
    rows, columns = np.divmod(at, np.int32(width))
    cell = rows // step * shape[1] + columns // step
    gaps, area = np.ones(shape, np.uint8), np.zeros(shape, np.uint8)
    gaps.ravel()[cell] = 0
    area.ravel()[cell[is_clipped]] = 1
    # Closing fills dips, not gaps.
    area = np.asarray(cv2.morphologyEx(area, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)))
    area[gaps > 0] = 0
    _, labels, boxes, centres = cv2.connectedComponentsWithStats(area, connectivity=8)
    depth = np.asarray(cv2.distanceTransform(area, cv2.DIST_L2, 3), np.float32) * step
    inside = np.flatnonzero(area.ravel()[cell])
    at, rows, columns, cell = (place[inside] for place in (at, rows, columns, cell))
    own = light.reshape(-1, 3)[at]
    return Outline(
        shape=(height, width),
        at=at,
        owner=np.asarray(labels, np.int32).ravel()[cell] - 1,
        own=own,
        held=_held(np.minimum(own / levels, 1), cell, shape, step),
        depth=depth.ravel()[cell],
        boxes=np.asarray(boxes, np.int32)[1:, :4] * step,
        rim=_rim(np.asarray(labels, np.int32), step, width),
        centres=np.asarray(centres, np.float64)[1:] * step + (step - 1) / 2,
        levels=levels,
    )


def _rim(labels: Labels, step: int, width: int) -> tuple[Places, Labels]:
    """Pixels within one of `step` round areas, one for each such step, and the area of each."""
    names = labels.astype(np.float32)
    grown = cv2.dilate(names, np.ones((3, 3), np.uint8))
    rows, columns = np.nonzero((grown > 0) & (labels == 0))
    at = rows * step * width + columns * step
    return at.astype(np.int32), grown[rows, columns].astype(np.int32) - 1


def _bright(light: Float32, levels: Float32) -> tuple[Places, NDArray[np.bool_]]:
    """Pixels with a channel near its end, counted row by row, and whether one is at its end."""
    floor, is_even = np.float32(FILLED_FROM) * levels.min(), bool(np.ptp(levels) == 0)
    found, ended = [], []
    for top in range(0, light.shape[0], BAND_PX):
        band = light[top : top + BAND_PX].reshape(-1)
        # Most of a night is dark: what follows sees the rest alone.
        bright = np.flatnonzero(band > floor).astype(np.int32)
        relative = band[bright] / (levels[0] if is_even else levels[bright % 3])
        if not is_even:
            near = relative > FILLED_FROM
            bright, relative = bright[near], relative[near]
        pixel, is_end = bright // 3, relative > CLIPPED_FROM
        first = first_of_each(pixel)
        found.append(pixel[first] + top * light.shape[1])
        ended.append(np.logical_or.reduceat(is_end, first) if first.size else is_end)
    return np.concatenate(found), np.concatenate(ended)


def _held(own: Float32, cell: Places, shape: tuple[int, int], step: int) -> Float32:
    """How far each channel of clipped pixels ends: its own light, or the mean of the area near."""
    held = np.ones_like(own)
    least = np.minimum(np.minimum(own[:, 0], own[:, 1]), own[:, 2])
    doubtful = cell[least < HELD_TO]
    if not doubtful.size:
        return held
    size = (max(1, DIP_PX // step),) * 2
    near = np.zeros(shape, np.uint8)
    near.ravel()[doubtful] = 1
    # Twice as far: where the mean is wanted, and what it is the mean of.
    for _ in range(2):
        near = np.asarray(cv2.dilate(near, np.ones(size, np.uint8)))
    here = np.flatnonzero(near.ravel()[cell])
    own, cells = own[here], np.flatnonzero(near)
    # Sums over a few cells, not over all of a still.
    number = np.empty(near.size, np.int32)
    number[cells] = np.arange(cells.size)
    place = number[cell[here]]

    def mean(values: Float32 | None) -> Float32:
        sums = np.bincount(place, values, cells.size).astype(np.float32)
        if size > (1, 1):
            plane = np.zeros(shape, np.float32)
            plane.ravel()[cells] = sums
            blurred = cv2.blur(plane, size, borderType=cv2.BORDER_REFLECT)
            sums = np.asarray(blurred, np.float32).ravel()[cells]
        return sums[place]

    count = mean(None)
    for channel in range(3):
        share = np.maximum(own[:, channel], mean(own[:, channel]) / count)
        share = np.clip((share - HELD_FROM) / (HELD_TO - HELD_FROM), 0, 1)
        held[here, channel] = share * share * (3 - 2 * share)
    return held


def clipping_levels(light: Float32, white: float = 1.0) -> Float32:
    """Light at which each channel ends, shape (3,).

    Notes
    -----
    The highest code at which pixels pile up: several times as many as at the codes below it. Where
    nothing piles up, the highest code itself.
    """
    levels = np.full(3, white, dtype=np.float32)
    lowest = white * ((LOWEST_CLIP_CODE - USUAL_CODES) / (CODES - 1)) ** 2.4
    # Rows enough for the histogram; single lamps between them end at the same code.
    rows = light[:: max(1, light.shape[0] * light.shape[1] // ACCURACY.levels_px)]
    for channel in range(3):
        bright = rows[..., channel][rows[..., channel] > lowest]
        codes = np.minimum(bright / np.float32(white), 1) ** np.float32(1 / 2.4)
        counts = np.bincount(np.rint(codes * (CODES - 1)).astype(np.intp), minlength=CODES)
        if counts[CODES - 1] >= FEWEST_PX:
            continue
        for code in range(CODES - 2, LOWEST_CLIP_CODE, -1):
            usual = float(np.median(counts[code - 24 : code - 8]))
            below = float(np.mean(counts[code - 3 : code]))
            is_peak = counts[code] == counts[code:].max() and counts[code] >= 2 * below
            if is_peak and counts[code] >= max(FEWEST_PX, SPIKE * usual):
                levels[channel] = white * (code / (CODES - 1)) ** 2.4
                break
    return levels
