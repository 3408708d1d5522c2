"""Rooms, streets and window walls as boxes of Lambert's law, lit by light of known luminance.

Light goes to and fro between the walls (radiosity on patches), lamps stand in and out of the
frame, some send most of their light where the camera does not see it, and a camera balances
colours more or less. What each point shows follows from luminances alone, so that levels above
white are known. No furniture throws shadows.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from frontglass.picture.lamp_kinds import KINDS
from tests.picture.lamp_rooms import POINTS_CD_M2, SIZES_M, covered

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

WIDTH, HEIGHT = 256, 160
PATCHES = 8
STREET_SIZES_M = {
    "sodium": (0.5, 0.2), "led-street": (0.3, 0.1), "headlamp": (0.15, 0.12),
    "screen": (1.5, 0.6), "neon": (2.0, 0.05), "lit-window": (1.0, 1.4),
}  # fmt: skip
"""Width and height; common sizes, no source."""
STREET_CANDELA = {"sodium": 1500.0, "led-street": 1500.0, "headlamp": 3000.0}
HIDDEN = {"lampshade": 3.0, "globe": 0.3, "screen": 0.0, "headlamp": 0.2, "lit-window": 0.0}
"""Light sent where the camera does not look from, over what is seen: shades are open above and
below. From memory."""


class LitBox(NamedTuple):
    """A box as it is exposed: light over white, shape (H, W, 3), and white [cd/m2]."""

    light: Float32
    white_cd_per_m2: float


class Lamp(NamedTuple):
    """A lamp: place and size [m], luminance [cd/m2], all it sends over what is seen."""

    place: Float64
    wide: float
    high: float
    luminance: float
    sent: float


class Walls(NamedTuple):
    """A box about the camera at the origin, y down, z forward: two corners [m], and its faces.

    Faces are left, right, top, bottom, behind, ahead; each has a reflectance, luminance of its
    own, a share of which the rectangle `window` covers.
    """

    low: Float64
    high: Float64
    grey: Float64
    window: tuple[int, float, float, float, float, float] | None = None
    """Face, its rectangle in shares of the face, luminance."""


def lit_box(seed: int, scene: str = "room") -> LitBox:
    """A lamp-lit "room", a "street" at night, a "window" by day, or a room's "corner", by chance.

    In a corner neither lamp nor window is in the frame.
    """
    rng = np.random.default_rng([seed, ("room", "street", "window", "corner").index(scene)])
    for _ in range(100):
        walls = _walls(rng, scene)
        lamps = _lamps(rng, scene, walls)
        field, yaw = rng.uniform(45, 72), math.radians(rng.uniform(-30, 30))
        found = _seen(rng, scene, walls, lamps, field, yaw)
        if found is not None:
            return found
    raise AssertionError("no lamp came into the frame")


def _walls(rng: np.random.Generator, scene: str) -> Walls:
    ahead, behind = rng.uniform(2.5, 7), rng.uniform(0.5, 4)
    left, right, above = rng.uniform(1, 4), rng.uniform(1, 4), rng.uniform(0.9, 2.2)
    grey = rng.uniform(0.15, 0.7, 6)
    grey[2], grey[3] = rng.uniform(0.4, 0.85), rng.uniform(0.08, 0.4)
    window = None
    if scene == "street":
        ahead, behind, above = rng.uniform(20, 60), rng.uniform(5, 30), rng.uniform(8, 14)
        left, right = rng.uniform(3, 9), rng.uniform(3, 9)
        grey = rng.uniform(0.08, 0.35, 6)
        grey[2] = 0.0
    if scene == "window":
        face = int(rng.choice([0, 1, 5]))
        x, y = rng.uniform(0.1, 0.6), rng.uniform(0.1, 0.4)
        wide, high = rng.uniform(0.15, 0.4), rng.uniform(0.25, 0.5)
        luminance = KINDS["window"].cd_per_m2 * 2.0 ** rng.normal(0, 1)
        window = (face, x, y, x + wide, y + high, luminance)
    return Walls(np.array([-left, -above, -behind]), np.array([right, 1.5, ahead]), grey, window)


def _lamps(rng: np.random.Generator, scene: str, walls: Walls) -> list[Lamp]:
    sizes = STREET_SIZES_M if scene == "street" else SIZES_M
    most = {"room": 7, "corner": 7, "street": 14, "window": 2}[scene]
    kinds = rng.choice(list(sizes), rng.integers(1, 4), replace=False)
    lamps = []
    for _ in range(rng.integers(0 if scene == "window" else 1, most)):
        kind = str(rng.choice(kinds))
        wide, high = sizes[kind]
        luminance = KINDS[kind].cd_per_m2 or POINTS_CD_M2.get(kind, 0)
        if kind in STREET_CANDELA:
            luminance = STREET_CANDELA[kind] / (math.pi / 4 * wide * high)
        place = walls.low + (walls.high - walls.low) * rng.uniform(0.05, 0.95, 3)
        place[1] = rng.uniform(walls.low[1] + 0.1, 0.6)
        if scene == "street":
            place[1] = rng.uniform(-6, -3) if kind in {"sodium", "led-street"} else place[1] / 3
        sent = 1 + HIDDEN.get(kind, 0.0) * rng.uniform(0.5, 2)
        lamps.append(Lamp(place, wide, high, luminance * 2.0 ** rng.normal(0, 1), sent))
    return lamps


def _frame_of(walls: Walls, face: int) -> tuple[int, float, tuple[int, int]]:
    """Axis a face stands on, where, and its own two axes."""
    axis = face // 2
    own = ((2, 1), (0, 2), (0, 1))[axis]
    return axis, float((walls.high if face % 2 else walls.low)[axis]), own


def _patches(walls: Walls) -> tuple[Float64, Float64, Float64]:
    """Centres, inward normals and areas of the patches, face by face."""
    part = (np.arange(PATCHES) + 0.5) / PATCHES
    size = walls.high - walls.low
    places, normals, areas = [], [], []
    for face in range(6):
        axis, at, (u, v) = _frame_of(walls, face)
        place = np.empty((PATCHES, PATCHES, 3))
        place[..., axis] = at
        place[..., u] = (walls.low[u] + size[u] * part)[None, :]
        place[..., v] = (walls.low[v] + size[v] * part)[:, None]
        normal = np.zeros(3)
        normal[axis] = -1 if face % 2 else 1
        places.append(place.reshape(-1, 3))
        normals.append(np.tile(normal, (PATCHES**2, 1)))
        areas.append(np.full(PATCHES**2, size[u] * size[v] / PATCHES**2))
    return np.concatenate(places), np.concatenate(normals), np.concatenate(areas)


def _direct(place: Float64, normal: Float64, lamps: list[Lamp]) -> Float64:
    """Irradiance by lamps that send alike all round. [lx]"""
    total = np.zeros(place.shape[:-1])
    for lamp in lamps:
        away = lamp.place - place
        squared = (away**2).sum(-1) + lamp.wide * lamp.high
        cosine = np.maximum((away * normal).sum(-1), 0) / np.sqrt(squared)
        seen = lamp.luminance * math.pi / 4 * lamp.wide * lamp.high
        total += seen * lamp.sent * cosine / squared
    return np.asarray(total)


def _irradiance(walls: Walls, lamps: list[Lamp]) -> Float64:
    """What falls on each patch from other walls and the window. [lx], shape (6, n, n)"""
    place, normal, area = _patches(walls)
    away = place[None] - place[:, None]
    squared = (away**2).sum(-1) + area[None]
    here = np.maximum((away * normal[:, None]).sum(-1), 0)
    there = np.maximum(-(away * normal[None]).sum(-1), 0)
    factor = here * there / squared**2 / math.pi * area[None]
    factor /= np.maximum(factor.sum(1, keepdims=True), 1)
    grey = np.repeat(walls.grey, PATCHES**2)
    own = np.zeros(len(place))
    if walls.window is not None:
        face, x0, y0, x1, y1, luminance = walls.window
        part = (np.arange(PATCHES * 8) + 0.5) / PATCHES / 8
        inside = ((part > y0) & (part < y1))[:, None] & ((part > x0) & (part < x1))[None]
        share = inside.reshape(PATCHES, 8, PATCHES, 8).mean((1, 3))
        own[face * PATCHES**2 :][: PATCHES**2] = math.pi * luminance * share.ravel()
    direct = _direct(place, normal, lamps)
    leaving = np.linalg.solve(np.eye(len(place)) - grey[:, None] * factor, own + grey * direct)
    return np.asarray((factor @ leaving).reshape(6, PATCHES, PATCHES))


def _texture(rng: np.random.Generator, grey: float) -> Float64:
    """Reflectance of a face, 128 px square: pictures, doors and cloth on it."""
    face = np.full((128, 128), grey)
    for _ in range(rng.integers(2, 9)):
        x, y, wide, high = rng.integers(0, 110), rng.integers(0, 110), *rng.integers(6, 50, 2)
        face[y : y + high, x : x + wide] = min(0.85, grey * 2.0 ** rng.normal(-0.3, 1.2))
    grain = cv2.GaussianBlur(rng.normal(size=face.shape), (0, 0), 2)
    return np.asarray(np.minimum(face * 2.0 ** (0.3 * grain / grain.std()), 0.9))


def _seen(
    rng: np.random.Generator,
    scene: str,
    walls: Walls,
    lamps: list[Lamp],
    field_deg: float,
    yaw: float,
) -> LitBox | None:
    """The box in a camera, or None if neither lamp nor window is in the frame."""
    scale = WIDTH / 2 / math.tan(math.radians(field_deg / 2))
    turn = np.array([
        [math.cos(yaw), 0, math.sin(yaw)], [0, 1, 0], [-math.sin(yaw), 0, math.cos(yaw)]
    ])  # fmt: skip
    columns = (np.arange(WIDTH) + 0.5 - WIDTH / 2) / scale
    rows = (np.arange(HEIGHT) + 0.5 - HEIGHT / 2) / scale
    ray = np.stack([*np.meshgrid(columns, rows), np.ones((HEIGHT, WIDTH))], axis=-1) @ turn.T
    luminance, glass = _of_walls(rng, walls, lamps, ray)
    in_frame = int((glass > 0).any() or scene == "corner")
    lit = np.maximum(luminance, glass)
    for lamp in lamps if scene != "corner" else ():
        x, y, z = lamp.place @ turn
        if z < 0.3:
            continue
        u, v = x / z * scale + WIDTH / 2, y / z * scale + HEIGHT / 2
        size = lamp.wide / z * scale, lamp.high / z * scale
        if not (2 < u < WIDTH - 2 and 2 < v < HEIGHT - 2):
            continue
        in_frame += 1
        share = covered((HEIGHT, WIDTH), u, v, *size)
        lit = np.maximum(lit, share * lamp.luminance)
        luminance = np.where(share > 0, np.maximum(luminance, share * lamp.luminance), luminance)
    if not in_frame:
        return None
    kelvin = rng.uniform(0, 1) if scene != "window" else rng.uniform(-0.4, 0.2)
    warm = np.array([1.25, 1.0, 0.55]) ** (1.3 * kelvin)
    light = np.maximum(luminance, lit)[..., None] * warm
    light = through_lens(rng, light.astype(np.float32), scale)
    average = float(np.exp(np.log(np.maximum(light.mean(axis=2), 1e-9)).mean()))
    key = 0.08 * 2.0 ** rng.normal(0, 0.7)
    white = average / key
    return LitBox((light / white).astype(np.float32), white)


def _of_walls(
    rng: np.random.Generator, walls: Walls, lamps: list[Lamp], ray: Float64
) -> tuple[Float64, Float64]:
    """Luminance of the walls along rays, and of the window, 0 beside it. [cd/m2]"""
    with np.errstate(divide="ignore"):
        to = np.where(ray > 0, walls.high / ray, walls.low / ray)
    axis, depth = to.argmin(-1), to.min(-1)
    place = ray * depth[..., None]
    indirect = _irradiance(walls, lamps)
    luminance, glass = np.full(depth.shape, 0.003), np.zeros(depth.shape)
    for face in range(6):
        across, _, (u, v) = _frame_of(walls, face)
        texture = _texture(rng, walls.grey[face])
        here = (axis == across) & ((ray[..., across] > 0) == bool(face % 2))
        if not here.any():
            continue
        size = walls.high - walls.low
        share_u = (place[here][:, u] - walls.low[u]) / size[u]
        share_v = (place[here][:, v] - walls.low[v]) / size[v]
        normal = np.zeros(3)
        normal[across] = -1 if face % 2 else 1
        bent = ndimage.map_coordinates(
            indirect[face],
            [share_v * PATCHES - 0.5, share_u * PATCHES - 0.5],
            order=1,
            mode="nearest",
        )
        own = texture[(share_v * 127.9).astype(int), (share_u * 127.9).astype(int)]
        lux = bent + _direct(place[here], normal, lamps)
        luminance[here] += own * (walls.grey[face] > 0) * lux / math.pi
        if walls.window is not None and walls.window[0] == face:
            _, x0, y0, x1, y1, level = walls.window
            inside = (share_u > x0) & (share_u < x1) & (share_v > y0) & (share_v < y1)
            land = np.where(share_v > y0 + 0.6 * (y1 - y0), 0.3, 1.0)
            glass[here] = np.where(inside, level * land, 0)
    return luminance, glass


def through_lens(rng: np.random.Generator, light: Float32, scale: float) -> Float32:
    """Blurred by half a pixel or more, and a little of it spread far."""
    sharp = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.5, 0.9))
    width = math.radians(rng.uniform(0.15, 0.5)) * scale
    wide = [cv2.GaussianBlur(light, (0, 0), width * times) for times in (1, 4, 12)]
    spread = 0.7 * wide[0] + 0.2 * wide[1] + 0.1 * wide[2]
    share = rng.uniform(0.01, 0.04)
    return np.asarray((1 - share) * sharp + share * spread, dtype=np.float32)
