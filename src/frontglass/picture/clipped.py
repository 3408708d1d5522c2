"""Clipped areas of a still: where white is only the end of the scale, and what shows it.

A lamp three hundred times white is stored as white. What is left of it is its outline, the light
round it, and the channels that did not reach the end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.picture.lamp_light import Areas, lamp_light
from frontglass.picture.lamp_likeness import solid_share, warm_share

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
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
ROUND_PX = 256
"""What lies round an area is read on about so many pixels across, whatever the still has: rings
are shares of the frame."""
EDGE_PX, FAR_PX = 2.5, (4.0, 10.0)
NEAR_PX, AROUND_PX = (2.2, 3.2), (8.0, 13.0)
"""Ends of the rings on those pixels: the edge, and farther out; just beyond a blurred edge, and
where what surrounds an area begins."""
CORE_FROM, CORE_WHOLE = 0.6, 0.95
"""An area's inner part begins at that share of the way from its edge to its middle; it ends in all
channels where so much of it does, for a JPEG pulls the weakest channel of small lamps down."""
HARD_EDGE, SOFT_EDGE = 0.75, 0.95
"""Light at the edge, over the clipping level, of what may be a lamp and of what is none."""
SMALL_SHARE, LARGE_SHARE = 0.2, 0.5
"""Of the frame: up to the first an area may be a lamp, from the second on it is a sky or a wall."""
TOUCHING = 0.3
"""An area that runs along the frame for that much of its width goes on outside."""


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RegionFeatures:
    """What a still shows of its clipped areas; each array has one entry per area.

    Parameters
    ----------
    x_px, y_px : ndarray
        Centre. [px]
    area_px : ndarray
        Pixels.
    deepest_px : ndarray
        Greatest distance from its edge. [px]
    core_share : ndarray
        Of its inner part, where all three channels end. [1], in [0, 1]
    aureole : ndarray
        How far light falls off round it as round the sun or a naked lamp: bright beside the edge,
        darker soon, on all sides, and most of what clips. [1], in [0, 1]
    lamp_share : ndarray
        How much it may be a lamp: not where white comes up softly, as on a wall, nor where it is
        much of the frame. [1], in [0, 1]
    frame_share : ndarray
        Of the frame. [1], in (0, 1]
    rim_light : ndarray, shape (R, 3)
        Mean light per channel just outside, less that farther out; nan if there is none.
    frame_light : ndarray, shape (3,)
        Mean light of the still, up to white.
    lamp_lit : ndarray
        How much the still looks as if lamps in it lit it, and the area as if it were one of them.
        [1], in [0, 1]
    closure_stops : float
        Level over white at which its lamps send as much light as all the rest shows. [stop]
    crumbs : float
        How much its areas look like crumbs of a sky between leaves. [1], in [0, 1]
    """

    x_px: Float64
    y_px: Float64
    area_px: Float64
    deepest_px: Float64
    core_share: Float64
    aureole: Float64
    lamp_share: Float64
    frame_share: Float64
    rim_light: Float64
    frame_light: Float64
    lamp_lit: Float64
    closure_stops: float
    crumbs: float


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
        first = np.flatnonzero(np.diff(pixel, prepend=-1))
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
    cell, own = cell[here], own[here]

    def mean(values: Float32 | None) -> Float32:
        plane = np.bincount(cell, values, near.size).astype(np.float32).reshape(shape)
        blurred = cv2.blur(plane, size, borderType=cv2.BORDER_REFLECT)
        return np.asarray(blurred, np.float32).ravel()[cell]

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


def region_features(light: Float32, found: Outline) -> RegionFeatures:
    """Features of each clipped area, which its lost light is estimated from."""
    width = found.shape[1]
    rows, columns = np.divmod(found.at, width)
    area = np.maximum(np.bincount(found.owner, minlength=found.regions), 1).astype(np.float64)
    deepest = np.zeros(found.regions, np.float32)
    np.maximum.at(deepest, found.owner, found.depth)
    step = max(1, round(width / ROUND_PX))
    small = light[step // 2 :: step, step // 2 :: step]
    owner, away = _nearest(found, small.shape[:2], step)
    relative = np.minimum(small / found.levels, 1).mean(axis=2)

    def ring(values: Float32, low: float, high: float) -> Float64:
        """Mean of what lies so far from each area; nan where nothing does."""
        here = (away > low) & (away <= high)
        total = np.bincount(owner[here], values[here], found.regions + 1)[1:]
        many = np.bincount(owner[here], minlength=found.regions + 1)[1:]
        return np.asarray(np.where(many > 0, total, np.nan) / np.maximum(many, 1))

    def beyond(channel: int) -> Float64:
        """Light at the rim of each area that the still has not farther out."""
        at, owner_of = found.rim
        many = np.maximum(np.bincount(owner_of, minlength=found.regions), 1)
        rim = np.bincount(owner_of, light.reshape(-1, 3)[at, channel], found.regions) / many
        plane = small[..., channel]
        farther, mean = ring(plane, *FAR_PX), float(np.minimum(plane, 1).mean())
        # Specks round a lamp may own all that lies farther out.
        return np.asarray(rim - np.where(np.isfinite(farther), farther, np.minimum(mean, rim)))

    edge, far = ring(relative, 0, EDGE_PX), ring(relative, *FAR_PX)
    near, around = ring(relative, *NEAR_PX), ring(relative, *AROUND_PX)
    # Bright beside the edge, beyond a blurred rim too, and falling.
    aureole = np.clip((edge - 0.55) / 0.1, 0, 1) * np.clip((far - 0.2) / 0.1, 0, 1)
    aureole *= np.clip((0.85 - far / edge) / 0.1, 0, 1)
    share = area / math.prod(found.shape)
    lamp_share = _lamp_share(edge, share)
    core_share = _core_share(found, deepest)
    rim_light = np.stack([beyond(channel) for channel in range(3)], axis=1)
    frame_light = np.minimum(small, found.levels).mean(axis=(0, 1), dtype=np.float64)
    like = solid_share(rows, columns, found.owner, deepest)
    like *= warm_share(rim_light, frame_light, area * core_share * like)
    lit = lamp_light(
        np.minimum(small / found.levels, 1)[away > 0],
        Areas(share * lamp_share * like, core_share, near, around, share),
    )
    return RegionFeatures(
        x_px=found.centres[:, 0],
        y_px=found.centres[:, 1],
        area_px=area,
        deepest_px=deepest.astype(np.float64),
        core_share=core_share,
        aureole=np.nan_to_num(aureole) * _alone(found, area),
        lamp_share=lamp_share,
        frame_share=share,
        rim_light=rim_light,
        frame_light=frame_light,
        lamp_lit=lit.share * like,
        closure_stops=lit.closure_stops,
        crumbs=lit.crumbs,
    )


def _alone(found: Outline, area: Float64) -> NDArray[np.bool_]:
    """Whether areas end inside the frame, and are most of what clips."""
    most = area > len(found.at) / 2
    if not most.any():
        return most
    rows, columns = np.divmod(found.at, found.shape[1])
    on_frame = (rows == 0) | (rows == found.shape[0] - 1)
    on_frame |= (columns == 0) | (columns == found.shape[1] - 1)
    return np.asarray(most & (found.sums(on_frame) < TOUCHING * np.sqrt(area)))


def _lamp_share(edge: Float64, share: Float64) -> Float64:
    """How far areas of that light at the edge, and that share of the frame, may be lamps."""
    hard = np.clip((SOFT_EDGE - edge) / (SOFT_EDGE - HARD_EDGE), 0, 1)
    larger = np.log2(share / SMALL_SHARE) / np.log2(LARGE_SHARE / SMALL_SHARE)
    return np.asarray(np.nan_to_num(hard, nan=1.0) * (1 - np.clip(larger, 0, 1)))


def _core_share(found: Outline, deepest: Float32) -> Float64:
    """How much of the inner part of each area ends in all channels. Rims of small lamps mix."""
    inner = np.flatnonzero(found.depth >= (CORE_FROM * deepest)[found.owner])
    held, owner = found.held[inner], found.owner[inner]
    whole = np.minimum(np.minimum(held[:, 0], held[:, 1]), held[:, 2])
    many = np.maximum(np.bincount(owner, minlength=found.regions), 1)
    return np.minimum(np.bincount(owner, whole, found.regions) / many / CORE_WHOLE, 1)


def _nearest(found: Outline, shape: tuple[int, ...], step: int) -> tuple[Labels, Float32]:
    """Area nearest to each of every `step` pixels, from 1, and how far away it is on them."""
    labels = np.zeros(shape, np.int32)
    rows, columns = np.divmod(found.at, found.shape[1])
    rows, columns = (
        np.minimum(place // step, size - 1)
        for place, size in zip((rows, columns), shape, strict=True)
    )
    labels[rows, columns] = found.owner + 1
    away, component = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_CCOMP
    )
    # OpenCV numbers the areas its own way.
    inside = labels > 0
    names = np.zeros(int(component.max()) + 1, dtype=np.int32)
    names[component[inside]] = labels[inside]
    return names[component], np.asarray(away, dtype=np.float32)
