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

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Labels = NDArray[np.int32]

SOFT_FROM, SOFT_TO = 0.92, 0.985
"""Share of the clipping level at which a pixel begins to count as clipped, and counts whole."""
CODES = 256
LOWEST_CLIP_CODE = 200
"""No camera's white is stored darker than this; common practice, no source."""
SPIKE = 4.0
FEWEST_PX = 4
EDGE_PX = 1.5
NARROWEST_RING_PX, RING_SHARE = 2.0, 0.003
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
class Signs:
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
    highest code. Dips that JPEG rings into a clipped area are closed before they count.
    """
    levels = clipping_levels(light, white)
    relative = cv2.morphologyEx(light / levels, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    relative = np.minimum(relative, light / levels / SOFT_FROM)  # closing fills dips, not gaps
    ramp = np.clip((relative - SOFT_FROM) / (SOFT_TO - SOFT_FROM), 0, 1)
    mask = np.asarray(ramp * ramp * (3 - 2 * ramp), dtype=np.float32)
    clipped = (mask.max(axis=2) > 0.5).astype(np.uint8)
    count, labels = cv2.connectedComponents(clipped, connectivity=8)
    return Outline(mask, np.asarray(labels, dtype=np.int32), count - 1, levels)


def clipping_levels(light: Float32, white: float = 1.0) -> Float32:
    """Light at which each channel ends, shape (3,).

    Notes
    -----
    The highest code at which pixels pile up: several times as many as at the codes below it. Where
    nothing piles up, the highest code itself.
    """
    levels = np.full(3, white, dtype=np.float32)
    for channel in range(3):
        codes = np.clip(light[..., channel] / np.float32(white), 0, 1) ** np.float32(1 / 2.4)
        counts = np.bincount(np.rint(codes * (CODES - 1)).astype(np.intp).ravel(), minlength=CODES)
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


def signs(light: Float32, found: Outline) -> Signs:
    """Return what the still shows of each region; see `Signs`."""
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
    brightness = np.clip(light / found.levels, 0, 1).mean(axis=2)
    return Signs(
        x_px=mean_inside(columns),
        y_px=mean_inside(rows),
        area_px=area,
        area_share=area / inside.size,
        whole_share=mean_inside(found.mask.min(axis=2)[inside]),
        edge=_mean_by(owner[edge], brightness[edge], number),
        frame_median=float(np.median(brightness)),
        ring_light=np.stack(
            [_mean_by(owner[ring], light[..., c][ring], number) for c in range(3)], axis=1
        ),
    )


def depth_within(labels: Labels) -> Float32:
    """How deep in its region each pixel lies, over the region's mean; 0 outside."""
    depth = cv2.distanceTransform((labels > 0).astype(np.uint8), cv2.DIST_L2, 5)
    total = np.bincount(labels.ravel(), weights=depth.ravel())
    mean = total / np.maximum(np.bincount(labels.ravel()), 1)
    mean[0] = 1
    return np.asarray(depth / mean[labels], dtype=np.float32)


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
