"""A pair of stills laid over each other, and what it says of every ring."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np

from frontglass.arrays import Float32, Float64, Mask
from frontglass.choices import Surround
from frontglass.learning.pairs import Compared
from frontglass.learning.registration import STILL_PX, Similarity, seen_from
from frontglass.learning.rings import Rings

SOFTENED_PX = 2.4
"""Both stills are softened alike. Noise, coding errors and aliases of the bare one would otherwise
pass for detail that the glass takes, and so for light that it scatters by a few pixels."""
MARGIN_PX = 6
"""Splines and what is beyond the frame spoil so many pixels at its edge."""
RELATIVE_NOISE = 0.004
FLOOR_OF_MEAN = 1e-4
SLOPE_PX, CURVE = 0.2, 0.2
"""First guess of errors: of the light, of the mean light, of places, and of what pixels make of
sharp edges, before they are read."""
RINGS_FOR_PX, RUNG = 10, 0.5
"""How far a spline's ringing is followed, and how far above the light there it spoils it [ln]."""
NEAR_BY_PX = 3.0
MOVED_BLOCK_PX = 8
MOVED_SIGMAS, LEAST_MOVE = 3.5, 0.01
"""Mean of a block, in standard deviations of a pixel: what moved is off all over."""


@dataclass(frozen=True, kw_only=True)
class Laid:
    """Two stills of one view, both moved half way towards each other: linear light."""

    bare: Float32
    other: Float32
    source: Float32
    """What glass spreads: the bare light, and what its clipped lamps lost."""
    held: Mask
    """Where both stills hold light and neither clips."""
    rung: Mask
    """Where interpolation rings beside a lamp: alike in both, so that the fit may use it, but in
    stops it would look like an error of the glass."""
    px_per_rad: float
    is_coded: bool
    """Whether one of them held whole codes."""


def laid(pair: Compared, where: Similarity) -> Laid:
    """Pair moved half way each, so that what interpolation blurs is blurred in both alike."""
    half = where.half()
    height, width = pair.bare.shape[:2]
    bare, other = _softened(pair.bare), _softened(pair.other)
    side = 2 * math.ceil(2 * SOFTENED_PX) + 1
    away = cv2.dilate(pair.clipped.astype(np.uint8), np.ones((side, side), np.uint8))
    held = 1 - away.astype(np.float32)
    if where.farthest_px(width, height) >= STILL_PX:
        moved = [seen_from(held, half), seen_from(held, half.inverse())]
        held = np.minimum(*moved)
        edge = MARGIN_PX + int(np.ceil(where.farthest_px(width, height)))
        held[:edge] = held[-edge:] = 0
        held[:, :edge] = held[:, -edge:] = 0
    one, two = seen_from(bare, half.inverse()), seen_from(other, half)
    # Lost light is kept apart: softened, it would reach over what is compared.
    source = one
    if pair.lost is not None:
        source = one + np.maximum(seen_from(_softened(pair.lost), half.inverse()), 0)
    rung = np.zeros(held.shape, dtype=np.bool_) if one is bare else _rung(one) | _rung(two)
    return Laid(
        bare=one,
        other=two,
        source=source,
        held=held > 0.999,
        rung=rung,
        px_per_rad=pair.px_per_rad,
        is_coded=pair.is_coded,
    )


def evened(lost: Float32) -> Float32:
    """Light of clipped areas, that of each spread evenly over it."""
    areas, own = cv2.connectedComponents((lost.max(axis=2) > 0).astype(np.uint8))
    size = np.bincount(own.ravel(), minlength=areas)
    sums = [np.bincount(own.ravel(), one.ravel(), areas) for one in np.moveaxis(lost, 2, 0)]
    return np.stack([(one / size)[own] for one in sums], axis=2).astype(np.float32)


def _softened(light: Float32) -> Float32:
    return np.asarray(cv2.GaussianBlur(light, (0, 0), SOFTENED_PX), dtype=np.float32)


def _rung(light: Float32) -> Mask:
    """Where a spline rings beside a lamp: by 0.27 for every pixel away from it [Unser1999]."""
    lamp = level = np.log(np.maximum(light.mean(axis=2), 1e-9))
    for _ in range(RINGS_FOR_PX):
        lamp = np.maximum(lamp, np.asarray(cv2.dilate(lamp, np.ones((3, 3)))) + np.log(0.27))
    return np.asarray(lamp > level + RUNG, dtype=np.bool_)


class Columns(NamedTuple):
    """What each ring and a veil would change in the bare still."""

    changes: Float32
    """Light sent to a ring, less the light where it came from; the last one of a veil:
    shape (rings + 1, H, W, 3)."""
    blur: Float32
    """What a little blur would change: focus that breathed, a tripod that shook. It is told from
    the glass, and is none of it."""


def columns_of(pair: Laid, rings: Rings, surround: Surround) -> Columns:
    """Return what rings and a veil would change in the bare still of a pair."""
    changes = np.empty((len(rings) + 1, *pair.bare.shape), np.float32)
    for number in range(len(rings)):
        changes[number] = rings.spread(number, pair.source, pair.px_per_rad, surround)
    changes[-1] = np.array(cv2.mean(pair.source)[:3], dtype=np.float32)
    changes -= pair.bare
    blur = np.asarray(cv2.Laplacian(pair.bare, cv2.CV_32F), dtype=np.float32)
    return Columns(changes, blur)


def predicted(pair: Laid, columns: Columns, shares: Float64, gains: Float64) -> Float32:
    """Light behind the glass: shares has shape (3, rings + 1), gains (3,)."""
    out = pair.bare.copy()
    for channel in range(3):
        own = columns.changes[..., channel]
        out[..., channel] += np.tensordot(shares[channel].astype(np.float32), own, 1)
    return out * gains.astype(np.float32)


def slope_of(light: Float32) -> Float32:
    """How fast light changes from pixel to pixel."""
    right = cv2.Sobel(light, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(light, cv2.CV_32F, 0, 1, scale=1 / 8)
    return np.hypot(right, down)


def first_variance(pair: Laid) -> Float32:
    """Variance of what a model leaves, guessed before anything is known."""
    light = np.abs(pair.other)
    floor = FLOOR_OF_MEAN * np.array(cv2.mean(light)[:3], dtype=np.float32)
    edges = (SLOPE_PX * slope_of(pair.other)) ** 2
    edges += (CURVE * cv2.Laplacian(pair.other, cv2.CV_32F)) ** 2
    return np.asarray((RELATIVE_NOISE * light) ** 2 + floor**2 + edges, dtype=np.float32)


def read_variance(pair: Laid, model: Float32, use: Mask) -> Float32:
    """Variance of what a model leaves, as a sum of parts that grow with light and with slope."""
    from scipy.optimize import nnls

    left = pair.other - model
    out = np.empty_like(left)
    slope = slope_of(model) ** 2
    curve = np.abs(cv2.Laplacian(model, cv2.CV_32F)) ** 2
    for channel in range(3):
        light = np.maximum(model[..., channel], 0)
        scale = float(light[use].mean()) + 1e-12
        parts = [
            np.full_like(light, scale**2),
            light * scale,
            light**2,
            slope[..., channel],
            curve[..., channel],
        ]
        square = left[..., channel] ** 2
        # Means near by have the shape of the errors, whatever these come from. A guess that is far
        # off would take most of them for what moved, and never come back.
        near_by = cv2.GaussianBlur(np.where(use, square, np.float32(0)), (0, 0), NEAR_BY_PX)
        typical = np.asarray(near_by, dtype=np.float32) + np.float32(1e-12 * scale**2)
        rows = np.flatnonzero(use.ravel())
        if rows.size > 200_000:
            rows = rows[:: rows.size // 200_000 + 1]
        table = np.stack([part.ravel()[rows] for part in parts], axis=1).astype(np.float64)
        wanted = square.ravel()[rows].astype(np.float64)
        weight = 1 / typical.ravel()[rows].astype(np.float64)
        found = np.zeros(len(parts))
        for _ in range(4):
            found, _ = nnls(table * weight[:, None], wanted * weight)
            now = np.maximum(table @ found, 1e-30)
            # What moved is no noise: it counts as three standard deviations at most.
            wanted = np.minimum(square.ravel()[rows], 9 * now + 1e-12 * scale**2)
            weight = 1 / now
        out[..., channel] = sum(np.float32(f) * part for f, part in zip(found, parts, strict=True))
        out[..., channel] += np.float32((1e-5 * scale) ** 2) + (1e-4 * light) ** 2
    return out


def moved(pair: Laid, model: Float32, variance: Float32) -> Mask:
    """Where stills differ by more than glass and noise explain, in blocks."""
    least = (LEAST_MOVE * np.maximum(model, 0)) ** 2
    off = ((pair.other - model) / np.sqrt(variance + least)).mean(axis=2)
    off[~pair.held] = 0
    height, width = off.shape
    size = (max(1, width // MOVED_BLOCK_PX), max(1, height // MOVED_BLOCK_PX))
    blocks = cv2.resize(off, size, interpolation=cv2.INTER_AREA)
    seen = np.abs(blocks) > MOVED_SIGMAS
    wide = cv2.dilate(seen.astype(np.uint8), np.ones((3, 3), np.uint8))
    return np.asarray(
        cv2.resize(wide, (width, height), interpolation=cv2.INTER_NEAREST) > 0, dtype=np.bool_
    )
