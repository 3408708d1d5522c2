"""What a still shows of its clipped areas, which their lost light is estimated from."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32, Float64
from frontglass.picture.clipped import Labels, Outline
from frontglass.picture.lamp_light import Areas, lamp_light
from frontglass.picture.lamp_likeness import solid_share, warm_share

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
TOUCHING = 0.9
"""An area that runs along the frame for that much of its width goes on outside."""


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
    shallow : ndarray
        How much less deep it is than the deepest that may be a lamp. [octave], <= 0
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
    shallow: Float64
    core_share: Float64
    aureole: Float64
    lamp_share: Float64
    frame_share: Float64
    rim_light: Float64
    frame_light: Float64
    lamp_lit: Float64
    closure_stops: float
    crumbs: float


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
        shallow=_shallow(deepest / step, lamp_share * core_share),
        core_share=core_share,
        aureole=_aureole(edge, far) * _alone(found, area),
        lamp_share=lamp_share,
        frame_share=share,
        rim_light=rim_light,
        frame_light=frame_light,
        lamp_lit=lit.share * like,
        closure_stops=lit.closure_stops,
        crumbs=lit.crumbs,
    )


def _aureole(edge: Float64, far: Float64) -> Float64:
    """How far light is bright beside the edge, beyond a blurred rim too, and falls."""
    aureole = np.clip((edge - 0.55) / 0.1, 0, 1) * np.clip((far - 0.2) / 0.1, 0, 1)
    return np.nan_to_num(aureole * np.clip((0.85 - far / edge) / 0.1, 0, 1))


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


def _shallow(deep: NDArray[np.floating], lamp: Float64) -> Float64:
    """Octaves of depth below the deepest area that may be a `lamp`: 1 pixel where there is less."""
    depth = np.maximum(deep, 1).astype(np.float64)
    most = max(float((depth * lamp).max(initial=1)), 1)
    return np.asarray(np.minimum(np.log2(depth / most), 0))


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
