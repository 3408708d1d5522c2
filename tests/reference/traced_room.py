"""A waiting room full of haze, traced path by path: writes tests/data/traced_room_*.exr.

It shares no code with frontglass. A box of grey walls, a few boxes in it, bare lamps that shine
evenly; light goes from lamp to lens over any number of walls and droplets. Every piece of a path
adds, for each lamp, the light that droplets on it send on: one point per piece, drawn so that it
is dense where the lamp is near. So no lamp is met by chance, and grain is low.

Run ``python -m tests.reference.traced_room [PASSES]``; 200 take twenty minutes.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

DATA = Path(__file__).parents[1] / "data"
WIDTH, HEIGHT = 320, 180
BLOCK_PX = 10
ROWS_AT_A_TIME = 12
LENS_BLUR_PX = 1.0
BOUNCES = 7
ALBEDO, ASYMMETRY = 0.99, 0.75
EXTINCTIONS_PER_M = (0.03, 0.05)


@dataclass(frozen=True)
class Lamp:
    """A ball that shines evenly; place [m] right, up, forward of the lens, colour times level."""

    place: tuple[float, float, float]
    radius: float
    intensity: tuple[float, float, float]


@dataclass(frozen=True)
class Room:
    """A box, boxes in it, and lamps; metres right, up and forward of the lens."""

    name: str
    field_deg: float
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    boxes: tuple[tuple[tuple[float, ...], tuple[float, ...]], ...]
    wall: tuple[float, float, float]
    floor: tuple[float, float, float]
    box: tuple[float, float, float]
    lamps: tuple[Lamp, ...]


ROOMS = (
    Room(
        name="waiting", field_deg=50.0, low=(-3.2, -1.5, -2.5), high=(3.0, 1.7, 8.0),
        boxes=(
            ((-0.25, -1.5, 3.4), (0.2, 0.2, 3.65)),
            ((1.3, -1.5, 5.5), (3.0, -0.5, 6.3)),
            ((-3.2, -1.5, 4.4), (-2.2, 0.9, 4.9)),
        ),
        wall=(0.42, 0.45, 0.46), floor=(0.22, 0.2, 0.18), box=(0.35, 0.25, 0.16),
        lamps=(
            Lamp((-0.75, 0.45, 3.0), 0.05, (1.5, 1.1, 0.6)),
            Lamp((1.1, 0.75, 4.65), 0.06, (2.6, 1.9, 1.1)),
            Lamp((2.3, 0.9, 3.2), 0.05, (2.2, 2.2, 2.4)),
        ),
    ),
    Room(
        name="landing", field_deg=42.0, low=(-2.4, -1.6, -4.0), high=(4.2, 1.4, 6.6),
        boxes=(
            ((0.6, -1.6, 3.0), (1.3, -0.6, 3.6)),
            ((-2.4, -1.6, 5.2), (-1.2, 1.4, 6.6)),
        ),
        wall=(0.3, 0.28, 0.25), floor=(0.3, 0.3, 0.32), box=(0.5, 0.5, 0.45),
        lamps=(
            Lamp((0.85, 0.5, 4.2), 0.045, (1.6, 1.3, 0.9)),
            Lamp((-0.5, -0.2, 2.6), 0.035, (0.5, 0.42, 0.3)),
            Lamp((-0.55, 0.7, 5.6), 0.06, (2.0, 1.7, 1.2)),
            Lamp((-1.9, 0.8, 2.7), 0.05, (1.6, 1.7, 2.0)),
        ),
    ),
)  # fmt: skip


def column(values: tuple[float, ...]) -> Array:
    return np.asarray(values, np.float32)[:, None]


class Tracer:
    """Light of one room in air of one extinction [1/m], 0 for clear air."""

    def __init__(self, room: Room, extinction: float, rng: np.random.Generator) -> None:
        self.room, self.extinction, self.rng = room, np.float32(extinction), rng
        self.low, self.high = column(room.low), column(room.high)
        self.boxes = [(column(low), column(high)) for low, high in room.boxes]
        self.scale = np.float32(WIDTH / 2 / np.tan(np.radians(room.field_deg) / 2))

    def random(self, count: int) -> Array:
        return self.rng.random(count, dtype=np.float32)

    def rays(
        self, dx: Array | float, dy: Array | float, rows: slice = slice(0, HEIGHT)
    ) -> tuple[Array, Array]:
        """Origins and directions through the pixels of some rows, at (dx, dy) within each."""
        y, x = np.mgrid[rows, :WIDTH].reshape(2, -1)
        right = (x + dx - WIDTH / 2) / self.scale
        up = -(y + dy - HEIGHT / 2) / self.scale
        way = np.stack([right, up, np.ones(right.shape)]).astype(np.float32)
        way /= np.sqrt((way * way).sum(0))
        return np.zeros_like(way), way

    def met(self, start: Array, way: Array) -> tuple[Array, Array, Array]:
        """Distance to the wall or box that each ray meets, its normal, and what it reflects."""
        with np.errstate(divide="ignore"):
            inverse = 1 / np.where(way == 0, np.float32(1e-12), way)
        ends = np.where(way > 0, self.high, self.low)
        sides = (ends - start) * inverse
        axis = sides.argmin(0)
        far = sides.min(0)
        lane = np.arange(far.size)
        normal = np.zeros_like(way)
        normal[axis, lane] = -np.sign(way[axis, lane])
        colour = np.repeat(column(self.room.wall), far.size, axis=1)
        colour[:, (axis == 1) & (way[1] < 0)] = column(self.room.floor)
        for low, high in self.boxes:
            one, two = (low - start) * inverse, (high - start) * inverse
            entries = np.minimum(one, two)
            enter, leave = entries.max(0), np.maximum(one, two).min(0)
            hit = (enter < leave) & (enter > 1e-4) & (enter < far)
            far = np.where(hit, enter, far)
            side = entries.argmax(0)[hit]
            at = lane[hit]
            normal[:, hit] = 0
            normal[side, at] = -np.sign(way[side, at])
            colour[:, hit] = column(self.room.box)
        return far, normal, colour

    def clear(self, start: Array, end: Array) -> Array:
        """Whether nothing stands between two points."""
        way = end - start
        inverse = 1 / np.where(way == 0, np.float32(1e-12), way)
        free = np.ones(way.shape[1], bool)
        for low, high in self.boxes:
            one, two = (low - start) * inverse, (high - start) * inverse
            enter, leave = np.minimum(one, two).max(0), np.maximum(one, two).min(0)
            free &= ~((enter < leave) & (leave > 1e-4) & (enter < 1 - 1e-4))
        return free

    def from_surface(self, point: Array, normal: Array) -> Array:
        """Irradiance of the lamps over pi, each from a random point of its ball."""
        got = np.zeros((3, point.shape[1]), np.float32)
        for lamp in self.room.lamps:
            to = self.somewhere_on(lamp, point.shape[1]) - point
            away2 = (to * to).sum(0)
            away = np.sqrt(away2)
            cosine = np.maximum((to * normal).sum(0) / away, 0)
            light = cosine * np.exp(-self.extinction * away) / (np.pi * away2)
            light *= self.clear(point, point + to)
            got += light * column(lamp.intensity)
        return got

    def somewhere_on(self, lamp: Lamp, count: int) -> Array:
        way = self.rng.standard_normal((3, count), dtype=np.float32)
        way *= lamp.radius / np.sqrt((way * way).sum(0))
        return way + column(lamp.place)

    def from_air(self, start: Array, way: Array, far: Array) -> Array:
        """Light of the lamps that droplets on each piece of way send back along it."""
        got = np.zeros((3, far.size), np.float32)
        for lamp in self.room.lamps:
            place = self.somewhere_on(lamp, far.size)
            foot = ((place - start) * way).sum(0)
            apart = start + foot * way - place
            miss = np.maximum(np.sqrt((apart * apart).sum(0)), 1e-4)
            first, last = np.arctan(-foot / miss), np.arctan((far - foot) / miss)
            bend = first + (last - first) * self.random(far.size)
            along = np.clip(foot + miss * np.tan(bend), 0, far)
            point = start + along * way
            away = np.hypot(miss, along - foot)
            # Light flies from the lamp to the point and is turned against the way.
            cosine = (foot - along) / away
            light = self.phase(cosine) * (last - first) / miss
            light *= self.extinction * ALBEDO * np.exp(-self.extinction * (away + along))
            light *= self.clear(point, place)
            got += light * column(lamp.intensity)
        return got

    @staticmethod
    def phase(cosine: Array) -> Array:
        g = ASYMMETRY
        return np.asarray((1 - g * g) / (4 * np.pi * (1 + g * g - 2 * g * cosine) ** 1.5))

    def turned(self, way: Array) -> Array:
        """Directions after droplets, drawn from the phase function."""
        g = ASYMMETRY
        part = (1 - g * g) / (1 - g + 2 * g * self.random(way.shape[1]))
        return self.about(way, (1 + g * g - part * part) / (2 * g))

    def about(self, axis: Array, cosine: Array) -> Array:
        """Directions at an angle from an axis, at a random turn round it."""
        x, y, z = axis
        sign = np.where(z >= 0, np.float32(1), np.float32(-1))
        a = -1 / (sign + z)
        b = x * y * a
        one = np.stack([1 + sign * x * x * a, sign * b, -sign * x])
        two = np.stack([b, sign + y * y * a, -y])
        turn = 2 * np.pi * self.random(x.size)
        sine = np.sqrt(np.maximum(1 - cosine * cosine, 0))
        out = sine * (np.cos(turn) * one + np.sin(turn) * two) + cosine * axis
        return np.asarray(out / np.sqrt((out * out).sum(0)), np.float32)

    def lamps_seen(self, start: Array, way: Array, far: Array) -> tuple[Array, Array]:
        """Distance with lamps before walls, and the light of the lamp that a ray meets."""
        light = np.zeros((3, far.size), np.float32)
        for lamp in self.room.lamps:
            to = column(lamp.place) - start
            foot = (to * way).sum(0)
            inside = lamp.radius**2 - ((to * to).sum(0) - foot * foot)
            near = foot - np.sqrt(np.maximum(inside, 0))
            hit = (inside > 0) & (near > 0) & (near < far)
            far = np.where(hit, near, far)
            radiance = np.asarray(lamp.intensity, np.float32) / (np.pi * lamp.radius**2)
            light[:, hit] = radiance[:, None]
        return far, light

    def one_pass(self) -> dict[str, Array]:
        """One path through every pixel, some rows at a time: more would not fit a cache."""
        bands = [
            self.light_of(slice(top, min(top + ROWS_AT_A_TIME, HEIGHT)))
            for top in range(0, HEIGHT, ROWS_AT_A_TIME)
        ]
        return {name: np.concatenate([band[name] for band in bands], axis=1) for name in bands[0]}

    def light_of(self, rows: slice) -> dict[str, Array]:
        """Light from surfaces, and by way of droplets, one path a pixel."""
        count = WIDTH * (rows.stop - rows.start)
        start, way = self.rays(self.random(count), self.random(count), rows)
        far, normal, colour = self.met(start, way)
        far, shining = self.lamps_seen(start, way, far)
        is_lamp = shining.any(0)
        kept = np.exp(-self.extinction * far)
        point = start + far * way + 1e-4 * normal
        lit = colour * self.from_surface(point, normal)
        bounced = self.about(normal, np.sqrt(self.random(count)))
        lit += colour * self.path(point, bounced)
        surface = np.where(is_lamp, 0, lit)
        parts = {"surface": surface * kept, "lamp": shining * kept}
        if self.extinction:
            parts["single"] = self.from_air(start, way, far)
            share = 1 - kept
            along = -np.log1p(-self.random(count) * share) / self.extinction
            more = self.path(start + along * way, self.turned(way))
            parts["more"] = np.float32(ALBEDO) * share * more
        return parts

    def path(self, start: Array, way: Array) -> Array:
        """Light that comes against a way, apart from lamps met on it."""
        got = np.zeros((3, start.shape[1]), np.float32)
        weight = np.ones_like(got)
        for _ in range(BOUNCES):
            far, normal, colour = self.met(start, way)
            if self.extinction:
                got += weight * self.from_air(start, way, far)
                free = -np.log1p(-self.random(far.size)) / self.extinction
            else:
                free = np.full(far.shape, np.inf, np.float32)
            in_air = free < far
            along = np.where(in_air, free, far)
            start = start + along * way + np.where(in_air, 0, np.float32(1e-4)) * normal
            # Rounding must not put anything behind a wall: such a path would never end.
            start = np.clip(start, self.low + np.float32(1e-4), self.high - np.float32(1e-4))
            lit = colour * self.from_surface(start, normal)
            got += np.where(in_air, 0, weight * lit)
            off = self.about(normal, np.sqrt(self.random(far.size)))
            way = np.where(in_air, self.turned(way), off)
            weight = weight * np.where(in_air, np.float32(ALBEDO), colour)
        return got


def mean_of(one_pass: Callable[[], dict[str, Array]], passes: int) -> dict[str, Array]:
    """Mean of many passes, shape (H, W, 3) each."""
    sums: dict[str, NDArray[np.float64]] = {}
    for _ in range(passes):
        for name, light in one_pass().items():
            sums[name] = sums.get(name, 0) + light.astype(np.float64)
    return {
        name: (total.T / passes).reshape(HEIGHT, WIDTH, 3).astype(np.float32)
        for name, total in sums.items()
    }


def blurred(light: Array) -> Array:
    """Light after a lens that is not quite sharp, the frame mirrored at its edges."""
    reach = 5
    at = np.arange(-reach, reach + 1)
    kernel = np.exp(-(at**2) / (2 * LENS_BLUR_PX**2))
    kernel /= kernel.sum()
    for axis in (0, 1):
        pads = [(reach, reach) if a == axis else (0, 0) for a in range(3)]
        wide = np.pad(light, pads, mode="symmetric")
        size = light.shape[axis]
        light = sum(k * np.take(wide, np.arange(i, i + size), axis) for i, k in enumerate(kernel))
    return np.asarray(light, np.float32)


def blocks(light: Array) -> Array:
    """Means of blocks of pixels."""
    cut = light.reshape(HEIGHT // BLOCK_PX, BLOCK_PX, WIDTH // BLOCK_PX, BLOCK_PX, -1)
    return np.asarray(cut.mean((1, 3)))


def written(name: str, layers: dict[str, Array]) -> None:
    """Write light as half floats, the layer "" as plain RGB; a plane of distance stays float."""
    import OpenEXR

    channels = {}
    for layer, light in layers.items():
        if light.ndim == 2:
            channels[layer] = np.ascontiguousarray(light, np.float32)
            continue
        for c, plane in zip("RGB", np.moveaxis(light, -1, 0), strict=True):
            channels[f"{layer}.{c}".lstrip(".")] = np.ascontiguousarray(plane, np.float16)
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(header, channels).write(str(DATA / name))
    print(name, flush=True)


def main(passes: int) -> None:
    """Trace every room, clear and hazed, and write what the tests need."""
    for number, room in enumerate(ROOMS):
        tracer = Tracer(room, 0.0, np.random.default_rng(number))
        start, way = tracer.rays(0.5, 0.5)
        far, _ = tracer.lamps_seen(start, way, tracer.met(start, way)[0])
        light = blurred(sum(mean_of(tracer.one_pass, 2 * passes).values()))
        written(f"traced_{room.name}.exr", {"": light, "distance": far.reshape(HEIGHT, WIDTH)})
        for extinction in EXTINCTIONS_PER_M:
            tracer = Tracer(room, extinction, np.random.default_rng(number + 100))
            parts = mean_of(tracer.one_pass, passes)
            layers = {"": sum(parts.values()), "single": parts["single"], "more": parts["more"]}
            means = {name: blocks(blurred(light)) for name, light in layers.items()}
            written(f"traced_{room.name}_0p{round(100 * extinction):02d}.exr", means)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
