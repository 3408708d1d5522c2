"""Clipped regions of a still: where white is only the end of the scale, and what shows it.

A lamp three hundred times white is stored as white. What is left of it is its outline, the light
round it, the channels that did not reach the end, and how rarely large areas are that bright.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Labels = NDArray[np.int32]

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
0.10 (rms over crops of 28 panoramas), by means of squares by 0.03, and told levels as well."""
CODES = 256
LOWEST_CLIP_CODE, USUAL_CODES = 200, 32
"""No camera's white is stored darker than this; common practice, no source."""
SPIKE = 4.0
FEWEST_PX = 4
EDGE_PX = 2.5
NARROWEST_RING_PX, RING_SHARE = 1.0, 0.003
"""Width of the ring that a lamp's colour is read from, at least, and as a share of the frame."""


class Outline(NamedTuple):
    """Clipped regions of a still as they lie in it.

    Parameters
    ----------
    mask : ndarray, shape (H, W, 3), float32
        How far each sample is clipped. [1], in [0, 1].
    labels : ndarray, shape (H, W), int32
        Number of the region a pixel belongs to, from 1; 0 is none.
    regions : int
        Number of regions.
    levels : ndarray, shape (3,)
        Light at which each channel ends.
    """

    mask: Float32
    labels: Labels
    regions: int
    levels: Float32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RegionFeatures:
    """What a still shows of its clipped regions; each array has one entry per region.

    Parameters
    ----------
    x_px, y_px : ndarray
        Centre. [px]
    area_px : ndarray
        Pixels.
    area_share : ndarray
        Their share of the frame. [1]
    whole_share : ndarray
        Of the region, where all three channels end. [1], in [0, 1]
    edge : ndarray
        Mean light of the pixels just outside, over the clipping level. [1]; nan if there are none.
    frame_median : float
        Median light of the still, over the clipping level. [1]
    ring_light : ndarray, shape (N, 3)
        Mean light per channel in a narrow ring outside.
    """

    x_px: Float64
    y_px: Float64
    area_px: Float64
    area_share: Float64
    whole_share: Float64
    edge: Float64
    frame_median: float
    ring_light: Float64


def outline(light: Float32, white: float = 1.0) -> Outline:
    """Clipped regions of a still.

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
    relative = np.minimum(light / levels, 1)
    clipped = np.zeros(light.shape[:2], dtype=np.uint8)
    if float(relative.max()) > FILLED_FROM:
        square = np.ones((3, 3), np.uint8)
        closed = np.asarray(cv2.morphologyEx(relative, cv2.MORPH_CLOSE, square), np.float32)
        # Closing fills dips, not gaps.
        np.minimum(closed, relative * np.float32(CLIPPED_FROM / FILLED_FROM), out=closed)
        clipped = (brightest_channel(closed) > CLIPPED_FROM).astype(np.uint8)
    count, labels = cv2.connectedComponents(clipped, connectivity=8)
    mask = _mask(relative, clipped)
    return Outline(mask, np.asarray(labels, dtype=np.int32), count - 1, levels)


def _mask(relative: Float32, clipped: NDArray[np.uint8]) -> Float32:
    """How far each channel of clipped areas ends: its own light or that of the area round it."""
    mask = np.zeros_like(relative)
    if not clipped.any():
        return mask
    inside = clipped.astype(np.float32)
    near = np.maximum(_square_mean(inside), 1e-6)
    for channel in range(3):
        own = relative[..., channel] * inside
        share = np.maximum(own, _square_mean(own) / near)
        share = np.clip((share - HELD_FROM) / (HELD_TO - HELD_FROM), 0, 1) * inside
        mask[..., channel] = share * share * (3 - 2 * share)
    return mask


def _square_mean(values: Float32) -> Float32:
    return np.asarray(cv2.blur(values, (DIP_PX, DIP_PX), borderType=cv2.BORDER_REFLECT))


def brightest_channel(light: Float32) -> Float32:
    """Largest of the three channels; numpy's maximum along a short axis takes ten times as long."""
    return np.asarray(cv2.max(cv2.max(light[..., 0], light[..., 1]), light[..., 2]))


def clipping_levels(light: Float32, white: float = 1.0) -> Float32:
    """Light at which each channel ends, shape (3,).

    Notes
    -----
    The highest code at which pixels pile up: several times as many as at the codes below it. Where
    nothing piles up, the highest code itself.
    """
    levels = np.full(3, white, dtype=np.float32)
    lowest = white * ((LOWEST_CLIP_CODE - USUAL_CODES) / (CODES - 1)) ** 2.4
    for channel in range(3):
        bright = light[..., channel][light[..., channel] > lowest]
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
    """Features of each clipped region, which its lost light is estimated from."""
    number = found.regions + 1
    inside = found.labels > 0
    owner, away = _nearest(found.labels)
    area = np.bincount(found.labels.ravel(), minlength=number)[1:].astype(np.float64)
    rows, columns = np.nonzero(inside)
    own = found.labels[inside]

    def mean_inside(values: NDArray[np.generic]) -> Float64:
        return np.asarray(np.bincount(own, weights=values, minlength=number)[1:] / area)

    edge = ~inside & (away <= EDGE_PX)
    ring = ~inside & (away <= EDGE_PX + max(NARROWEST_RING_PX, RING_SHARE * away.shape[1]))
    step = max(1, round((inside.size / ACCURACY.median_px) ** 0.5))
    frame = _brightness(light[::step, ::step], found.levels)
    return RegionFeatures(
        x_px=mean_inside(columns),
        y_px=mean_inside(rows),
        area_px=area,
        area_share=area / inside.size,
        whole_share=mean_inside(found.mask[inside].min(axis=1)),
        edge=_mean_by(owner[edge], _brightness(light[edge], found.levels), number),
        frame_median=float(np.median(frame)),
        ring_light=np.stack(
            [_mean_by(owner[ring], light[..., c][ring], number) for c in range(3)], axis=1
        ),
    )


def _brightness(light: Float32, levels: Float32) -> Float32:
    """Mean of the channels, each over its clipping level."""
    return np.asarray(np.clip(light / levels, 0, 1).mean(axis=-1))


def depth_within(labels: Labels) -> Float32:
    """How deep in its region each pixel lies, over the region's mean; 0 outside."""
    inside = labels > 0
    away = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 5)
    depth: Float32 = np.asarray(away, dtype=np.float32)
    own = labels[inside]
    mean = np.bincount(own, weights=depth[inside]) / np.maximum(np.bincount(own), 1)
    depth[inside] /= mean[own]
    return depth


def _mean_by(index: Labels, values: Float32, number: int) -> Float64:
    """Mean of `values` per region; nan where a region has none."""
    total = np.bincount(index, weights=values, minlength=number)[1:]
    many = np.bincount(index, minlength=number)[1:]
    return np.asarray(np.where(many > 0, total, np.nan) / np.maximum(many, 1))


def _nearest(labels: Labels) -> tuple[Labels, Float32]:
    """Region nearest to each pixel, and how far away it is [px]."""
    away, component = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_CCOMP
    )
    # OpenCV numbers the regions its own way.
    inside = labels > 0
    names = np.zeros(int(component.max()) + 1, dtype=np.int32)
    names[component[inside]] = labels[inside]
    return names[component], np.asarray(away, dtype=np.float32)
