"""Light of endless haze, as a still lets it be estimated.

Droplets send on the light of all that surrounds them, and once more the light that other droplets
have sent on. They turn most of it by little, so haze before a bright wall is brighter than before a
dark one. A still shows half of that light at best; the rest is that of walls that nobody sees.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import cv2
import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.optics.air import henyey_greenstein, transmittance
from frontglass.picture.lamps_in_air import LampsAndRest

if TYPE_CHECKING:
    from frontglass.elements.haze import Haze


SCATTERED_AGAIN = 0.3
"""Airlight that glow adds by being scattered again, over the mean glow of the frame. Traced in two
rooms at 0.03 and 0.05 per metre: 0.30 to 0.33."""
DARKER_OUTSIDE = 0.25
"""What walls outside the frame take from it where all light is that of the frame's lamps: half
comes from there, and walls farther from these lamps are taken to be half as bright."""

OUTSIDE_WALLS = 0.4
"""Light of a lamp outside the frame that walls beside it send back, over the lamp's. A wall of that
reflectance does, on average over the half of space before it."""


def estimated_airlight(
    light: Float32,
    distance_m: Float32,
    haze: Haze,
    found: LampsAndRest,
    *,
    glow: Float64,
    px_per_rad: float,
) -> Float64:
    """Light of endless haze, apart from what lamps send straight into it.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    distance_m : ndarray, shape (H, W), float32
        Along each ray [m].
    haze : Haze
        The haze.
    found : LampsAndRest
        Lamps of the frame.
    glow : ndarray, shape (3,)
        Mean light that lamps and beams add to the frame by haze.
    px_per_rad : float
        Scale of the picture.

    Returns
    -------
    ndarray, shape (rows, columns, 3)
        Over equal parts of the frame, coarse enough to be interpolated. Before an evenly lit wall
        it is the wall's light, times the albedo.

    Notes
    -----
    The light of what is no lamp, each pixel weighted by how much haze is before it: a thing near
    the lens fills much of what the lens sees, and little of what the haze does. Where it is looked
    at, weighted by the phase function too. To it comes 0.3 of the mean glow.
    """
    # Lamps left out, neighbours are much alike: a grid of pixels tells the mean within a percent.
    step = max(1, math.isqrt(distance_m.size // ACCURACY.airlight_px))
    grid = np.s_[step // 2 :: step, step // 2 :: step]
    weight = (1 - transmittance(haze.extinction(1), distance_m[grid])).astype(np.float32)
    weight *= ~found.mask(distance_m.shape)[grid]
    shape = _parts(distance_m.shape)
    if not weight.any():  # clear air, or nothing but lamps
        return np.tile(haze.albedo * np.maximum(found.rest, 0.0), (*shape, 1))
    size = shape[1], shape[0]
    weights = cv2.resize(weight, size, interpolation=cv2.INTER_AREA).astype(np.float64)
    lit = cv2.resize(light[grid] * weight[..., None], size, interpolation=cv2.INTER_AREA)
    ways, solid = _ways(shape, distance_m.shape, px_per_rad)
    haze_before = (weights.ravel() * solid)[:, np.newaxis]
    seen = lit.reshape(-1, 3).astype(np.float64) * solid[:, np.newaxis]
    turned = henyey_greenstein(_cosines(ways, shape), haze.asymmetry)
    around = (turned @ seen) / (turned @ haze_before)
    mean = seen.sum(0) / haze_before.sum()
    level = (around * haze_before).sum(0) / haze_before.sum()
    darker = 1 - DARKER_OUTSIDE * found.lamp_share
    again = haze.albedo * SCATTERED_AGAIN * glow
    scale = haze.albedo * darker * np.divide(mean, level, out=np.ones(3), where=level > 0)
    return np.asarray(np.maximum(around * scale + again, 0).reshape(*shape, 3))


def _parts(frame: tuple[int, ...]) -> tuple[int, int]:
    """Rows and columns of the map: about as many parts as are allowed, and as square as can be."""
    side = math.sqrt(frame[0] * frame[1] / ACCURACY.airlight_parts)
    rows, columns = (max(1, min(n, round(n / max(side, 1)))) for n in frame)
    return rows, columns


def _ways(
    parts: tuple[int, int], frame: tuple[int, ...], px_per_rad: float
) -> tuple[Float64, Float64]:
    """Return unit vectors to the middles of the parts, and their solid angles but for a factor."""
    y, x = (
        ((np.arange(n) + 0.5) / n - 0.5) * side / px_per_rad
        for n, side in zip(parts, frame, strict=True)
    )
    down, right = np.meshgrid(y, x, indexing="ij")
    rays = np.stack([right, down, np.ones_like(right)], axis=-1).reshape(-1, 3)
    long = np.linalg.norm(rays, axis=1)
    return rays / long[:, np.newaxis], long**-3


def _cosines(ways: Float64, parts: tuple[int, int]) -> Float64:
    """Return cosines between parts; none is looked at more narrowly than half way to the next."""
    beside = ways[1] if parts[1] > 1 else ways[-1]
    half_way = math.acos(min(float(ways[0] @ beside), 1.0)) / 2
    return np.asarray(np.minimum(ways @ ways.T, math.cos(half_way)))
