"""Rooms lit by lamps of known luminance alone, as a meter would expose them.

A wall and a floor of Lambert's law under lamps of small size: what each point sends is a sum over
the lamps, in closed form. So levels above white are known, and none of them was fitted to.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.picture.lamp_kinds import KINDS

Float32 = NDArray[np.float32]

WIDTH, HEIGHT, FIELD_DEG = 512, 320, 60.0
METER = 0.12
"""Log-average light of an exposed scene over white, as in the open scenes."""
SIZES_M = {
    "candle": (0.012, 0.03), "globe": (0.24, 0.24), "bulb": (0.06, 0.08), "lampshade": (0.3, 0.25),
    "lantern": (0.4, 0.4), "tube": (1.2, 0.03), "led-tape": (1.5, 0.015), "screen": (0.4, 0.25),
    "filament": (0.02, 0.0006), "led-point": (0.004, 0.004), "neon": (0.8, 0.015),
}  # fmt: skip
"""Width and height; common sizes, no source."""
POINTS_CD_M2 = {"filament": 7e6, "led-point": 5e6}
"""Luminance of lamps that the kinds know by their intensity: a table's (IES), from memory."""
SPREAD_STOPS = 1.0
"""Lamps of one kind differ by so much, as a standard deviation."""
BLOOM_SHARE, BLOOM_DEG = 0.03, 0.25
"""Light that a phone's lens spreads about a lamp, and how far; common practice, no source."""


class LampRoom(NamedTuple):
    """A room as it is exposed.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Its light over white.
    white_cd_per_m2 : float
        White.
    lamps : tuple of (float, float, str)
        Where its lamps are [px], and their kinds.
    """

    light: Float32
    white_cd_per_m2: float
    lamps: tuple[tuple[float, float, str], ...]


def lamp_room(seed: int) -> LampRoom:
    """Room with two to six lamps of one to three kinds, by chance."""
    rng = np.random.default_rng(seed)
    kinds = rng.choice(list(SIZES_M), rng.integers(1, 4), replace=False)
    px_per_m_at_1 = WIDTH / 2 / math.tan(math.radians(FIELD_DEG / 2))
    far = rng.uniform(3.5, 7)
    columns = (np.arange(WIDTH) + 0.5 - WIDTH / 2) / px_per_m_at_1
    rows = (np.arange(HEIGHT) + 0.5 - HEIGHT / 2) / px_per_m_at_1
    x, y = np.meshgrid(columns, rows)
    floor_at = np.maximum(1.5 / np.maximum(y, 1e-6), 0)  # a camera 1.5 m above the floor
    is_floor = floor_at < far
    depth = np.where(is_floor, floor_at, far)
    grain = cv2.GaussianBlur(rng.normal(size=(HEIGHT, WIDTH)), (0, 0), 6)
    grey = np.where(is_floor, 0.2, 0.45) * 2.0 ** (0.5 * grain / grain.std())
    irradiance = np.full((HEIGHT, WIDTH), 1e-3)
    drawn, lamps = np.zeros((HEIGHT, WIDTH)), []
    for _ in range(rng.integers(2, 7)):
        kind = str(rng.choice(kinds))
        wide, high = SIZES_M[kind]
        luminance = (KINDS[kind].cd_per_m2 or POINTS_CD_M2[kind]) * 2.0 ** rng.normal(
            0, SPREAD_STOPS
        )
        z = rng.uniform(0.3, 0.7) * far
        u, v = rng.uniform(0.1, 0.9) * WIDTH, rng.uniform(0.1, 0.6) * HEIGHT
        place = ((u - WIDTH / 2) / px_per_m_at_1 * z, (v - HEIGHT / 2) / px_per_m_at_1 * z, z)
        away = [p - q for p, q in zip((x * depth, y * depth, depth), place, strict=True)]
        squared = sum(part**2 for part in away) + wide * high
        cosine = np.where(is_floor, away[1], away[2]) / np.sqrt(squared)
        irradiance += luminance * wide * high * math.pi / 4 * np.maximum(cosine, 0) / squared
        size = (wide / z * px_per_m_at_1, high / z * px_per_m_at_1)
        drawn = np.maximum(drawn, luminance * covered((HEIGHT, WIDTH), u, v, *size))
        lamps.append((u, v, kind))
    warm = np.array([1.25, 1.0, 0.6])
    seen = (grey * irradiance / math.pi)[..., np.newaxis] * warm
    shown = np.where(drawn[..., np.newaxis] > 0, np.maximum(seen, drawn[..., None] * warm), seen)
    light = bloomed(shown.astype(np.float32), px_per_m_at_1)
    average = np.exp(np.log(light.mean(axis=2)).mean())
    white = float(average / METER * 2.0 ** rng.normal(0, 0.5))
    return LampRoom((light / white).astype(np.float32), white, tuple(lamps))


def covered(
    shape: tuple[int, int], x: float, y: float, wide: float, high: float
) -> NDArray[np.float64]:
    """How much of each pixel an ellipse covers, by eight rows and columns of points in it."""
    part = (np.arange(8) + 0.5) / 8
    left, top = math.floor(x - wide / 2) - 1, math.floor(y - high / 2) - 1
    columns = np.arange(max(0, left), min(shape[1], math.ceil(x + wide / 2) + 2))
    rows = np.arange(max(0, top), min(shape[0], math.ceil(y + high / 2) + 2))
    across = ((columns[:, None] + part) - x) / (wide / 2)
    down = ((rows[:, None] + part) - y) / (high / 2)
    inside = down[:, None, :, None] ** 2 + across[None, :, None, :] ** 2 < 1
    share = np.zeros(shape)
    share[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] = inside.mean(axis=(2, 3))
    # A lamp smaller than the points' steps has its light all the same.
    return share * (math.pi / 4 * wide * high / max(share.sum(), 1e-9))


def bloomed(light: Float32, px_per_rad: float) -> Float32:
    """Light behind a lens that blurs by half a pixel and spreads a little of it."""
    sharp = cv2.GaussianBlur(light, (0, 0), 0.6)
    wide = cv2.GaussianBlur(light, (0, 0), math.radians(BLOOM_DEG) * px_per_rad)
    wider = cv2.GaussianBlur(light, (0, 0), 4 * math.radians(BLOOM_DEG) * px_per_rad)
    spread = 0.8 * wide + 0.2 * wider
    return np.asarray((1 - BLOOM_SHARE) * sharp + BLOOM_SHARE * spread, dtype=np.float32)
