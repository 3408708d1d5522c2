"""Path-traced days under a physical sky, for `clipped.py` to judge by: views by chance.

    TRACER/bin/python tests/benchmarks/traced_days.py FOLDER FIRST LAST
    python tests/benchmarks/clipped.py FOLDER

TRACER is that of `traced_nights.py`. The first line writes `KIND-NUMBER.exr` in cd/m2: windows from
inside, streets and open sky, with the sun in the frame or beside it, clear, clouded or overcast.
Ten to thirty CPU seconds each. Nothing is fitted to them. The sky is Cycles' own with its sun
(luminance in W/m2/sr over 683 lm/W: under a sun of 60 degrees, white paper of 0.8 then has
24,000 cd/m2), or the CIE's overcast one, three times as bright overhead as at the horizon; from
memory. Of the numbers 0 to 14 eleven views clip.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Any

import bpy  # type: ignore[import-not-found]
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.traced_nights import BOUNCES, Stage, houses, written

SCENES = ("window", "daystreet", "opensky")
LUMENS_PER_WATT = 683.0
SUN_LUX = 1.1e5
UP_DEG = {"window": (-6, 6), "daystreet": (-2, 12), "opensky": (0, 22)}
YAW_DEG = {"window": 35, "daystreet": 15, "opensky": 15}
SAMPLES = {"window": 48, "daystreet": 24, "opensky": 24}


class Sky:
    """A sky under construction, as nodes of the world."""

    def __init__(self, stage: Stage) -> None:
        self.rng = stage.rng
        world = bpy.data.worlds.new("w")
        bpy.context.scene.world = world
        world.use_nodes = True
        self.nodes, self.links = world.node_tree.nodes, world.node_tree.links
        self.back = self.nodes["Background"]

    def node(self, kind: str, **settings: object) -> Any:
        made = self.nodes.new(f"ShaderNode{kind}")
        for name, value in settings.items():
            setattr(made, name, value)
        return made

    def noise(self, scale: tuple[float, float], detail: int) -> tuple[Any, Any]:
        """Where a direction is, and clouds there."""
        place, noise = self.node("TexCoord"), self.node("TexNoise")
        noise.inputs["Scale"].default_value = float(self.rng.uniform(*scale))
        noise.inputs["Detail"].default_value = detail
        self.links.new(place.outputs["Generated"], noise.inputs[0])
        return place, noise

    def line(self, source: Any, slope: float, offset: float) -> Any:
        made = self.node("Math", operation="MULTIPLY_ADD")
        self.links.new(source, made.inputs[0])
        made.inputs[1].default_value, made.inputs[2].default_value = slope, offset
        return made.outputs[0]

    def overcast(self) -> None:
        overhead = float(2.0 ** self.rng.uniform(9.5, 13))
        place, noise = self.noise((2, 6), 6)
        high = self.node("SeparateXYZ")
        self.links.new(place.outputs["Generated"], high.inputs[0])
        even = self.line(high.outputs[2], overhead * 2 / 3, overhead / 3)
        uneven = float(self.rng.uniform(0, 1.4))
        clouds = self.line(noise.outputs[0], uneven, 1 - uneven / 2)
        both = self.node("Math", operation="MULTIPLY")
        self.links.new(clouds, both.inputs[0])
        self.links.new(even, both.inputs[1])
        self.links.new(both.outputs[0], self.back.inputs[1])
        self.back.inputs[0].default_value = (0.95, 1.0, 1.08, 1)

    def sunny(self, turn: float, elevation: float, *, clouded: bool) -> None:
        rng = self.rng
        sky = self.node("TexSky", sky_type="MULTIPLE_SCATTERING", sun_disc=True,
                        sun_elevation=elevation, sun_rotation=turn)  # fmt: skip
        # By that name in older tracers; drawn all the same.
        rng.uniform(0.3, 4)
        sky.aerosol_density = float(rng.uniform(0.3, 4))
        sky.air_density = float(rng.uniform(0.8, 1.5))
        self.back.inputs[1].default_value = LUMENS_PER_WATT
        out = sky.outputs[0]
        if clouded:
            _, noise = self.noise((1.5, 4), 8)
            ramp, mix = self.node("MapRange"), self.node("Mix", data_type="RGBA")
            for at, ends in ((1, (0.45, 0.6)), (2, (0.62, 0.75)), (4, (0.5, 1))):
                ramp.inputs[at].default_value = float(rng.uniform(*ends))
            ramp.inputs[3].default_value = 0
            self.links.new(noise.outputs[0], ramp.inputs[0])
            # Clouds are as bright as paper of 0.3 to 0.9 in the sun.
            high = math.sin(elevation)
            lux = SUN_LUX * math.exp(-0.25 / max(high, 0.06)) * max(high, 0.1)
            level = float(lux / math.pi * rng.uniform(0.3, 0.9)) / LUMENS_PER_WATT
            warm = 1 + 0.5 * math.exp(-math.degrees(elevation) / 6)
            self.links.new(ramp.outputs[0], mix.inputs[0])
            self.links.new(out, mix.inputs[6])
            mix.inputs[7].default_value = (level * warm, level, level / warm, 1)
            out = mix.outputs[2]
        self.links.new(out, self.back.inputs[0])


def some_sky(stage: Stage, likely: float) -> None:
    """A sky by chance; with that likelihood the sun is low and ahead."""
    rng = stage.rng
    ahead = rng.random() < likely
    ranges = (rng.uniform(1, 8), rng.uniform(8, 30), rng.uniform(30, 65))
    elevation = math.radians(float(rng.choice(ranges)))
    if ahead:
        elevation = math.radians(rng.uniform(1.5, 20))
    turn = float(rng.uniform(-0.35, 0.35) if ahead else rng.uniform(0.7, 2 * math.pi - 0.7))
    kind = str(rng.choice(["clear", "clouded", "overcast"], p=[0.4, 0.35, 0.25]))
    if kind == "overcast" and not ahead:
        Sky(stage).overcast()
    else:
        Sky(stage).sunny(turn, elevation, clouded=kind == "clouded")


def pierced(stage: Stage, ahead: float, left: float, right: float, high: float) -> None:
    """The wall ahead with one to three windows, with bars and curtains."""
    rng, thick, number = stage.rng, 0.2, int(stage.rng.integers(1, 4))
    foot = float(rng.choice([0.05, rng.uniform(0.6, 1.1)]))
    head = rng.uniform(1.9, high - 0.2)
    edges = np.sort(rng.uniform(left + 0.2, right - 0.2, 2 * number)).reshape(-1, 2)
    holes = [(a, b) for a, b in edges if b - a > 0.35] or [(-0.6, 0.6)]
    front, start = stage.grey(0.2, 0.8), left
    stage.box((left, ahead, 0), (right, ahead + thick, foot), front)
    stage.box((left, ahead, head), (right, ahead + thick, high), front)
    for a, b in holes:
        stage.box((start, ahead, foot), (a, ahead + thick, head), front)
        start, frame = b, stage.grey(0.1, 0.8)
        bars = int(rng.integers(2, 4)) if b - a > 0.7 else 2
        for x in np.linspace(a, b, bars)[1:-1]:
            stage.box((x - 0.03, ahead + 0.05, foot), (x + 0.03, ahead + 0.1, head), frame)
        if rng.random() < 0.4:
            z = rng.uniform(foot + 0.4, head - 0.3)
            stage.box((a, ahead + 0.05, z - 0.03), (b, ahead + 0.1, z + 0.03), frame)
        if rng.random() < 0.4:
            wide, near = rng.uniform(0.15, 0.5) * (b - a), ahead - 0.08
            curtain = stage.grey(0.2, 0.8)
            stage.box((a - 0.1, near, 0.1), (a + wide, near + 0.03, head + 0.1), curtain)
    stage.box((start, ahead, foot), (right, ahead + thick, head), front)


def window(stage: Stage) -> None:
    """A room by day, and what stands before its windows."""
    rng = stage.rng
    some_sky(stage, 0.15)
    ahead, left, right = rng.uniform(2.5, 6), -rng.uniform(1.2, 3.5), rng.uniform(1.2, 3.5)
    high, wall, ground = rng.uniform(2.4, 3.2), stage.grey(0.25, 0.8), stage.grey(0.08, 0.3)
    top = -4 if rng.random() < 0.5 else -0.4
    stage.box((-200, -60, -4.2), (200, 300, top), ground)
    pierced(stage, ahead, left, right, high)
    floor = stage.grey(0.08, 0.45, rng.uniform(0.15, 0.8))
    for low, up, made in (
        ((left - 0.1, -3, 0), (left, ahead, high), wall),
        ((right, -3, 0), (right + 0.1, ahead, high), wall),
        ((left, -3.1, 0), (right, -3, high), wall),
        ((left, -3, -0.1), (right, ahead, 0), floor),
        ((left, -3, high), (right, ahead + 0.2, high + 0.1), stage.grey(0.5, 0.85)),
    ):
        stage.box(low, up, made)
    for _ in range(rng.integers(1, 6)):
        x, y = rng.uniform(left + 0.4, right - 0.4), rng.uniform(1.2, ahead - 0.4)
        z, (wide, deep) = rng.uniform(0.4, 0.9), rng.uniform(0.2, 0.6, 2)
        plate = (x - wide, y - deep, z - 0.05), (x + wide, y + deep, z)
        stage.box(*plate, stage.grey(0.05, 0.6, 0.4))
        stage.box((x - 0.04, y - 0.04, 0), (x + 0.04, y + 0.04, z), stage.grey(0.05, 0.4))
    stage.people(rng.integers(0, 3), min(1.2, right), max(ahead - 0.5, 3.0))
    if rng.random() < 0.6:
        for _ in range(rng.integers(1, 4)):
            x, y = rng.uniform(-14, 14), ahead + rng.uniform(8, 35)
            stage.house((x, y), (x + rng.uniform(6, 14), y + 8, rng.uniform(3, 12)), 2)
    if rng.random() < 0.6:
        for _ in range(rng.integers(1, 5)):
            stage.tree(rng.uniform(-10, 10), ahead + rng.uniform(4, 25))


def daystreet(stage: Stage) -> None:
    rng = stage.rng
    near = rng.uniform(5, 11)
    some_sky(stage, 0.45)
    stage.ground(0.06, 0.3)
    houses(stage, near, rng.uniform(40, 90))
    for _ in range(rng.integers(0, 6)):
        stage.car(rng.choice([-1, 1]) * rng.uniform(1, near - 2), rng.uniform(8, 45))
    for _ in range(rng.integers(0, 5)):
        stage.tree(rng.choice([-1, 1]) * (near - 2), rng.uniform(6, 40))
    stage.people(rng.integers(0, 6), near - 1, 25)


def opensky(stage: Stage) -> None:
    """Trees, hills and perhaps a house under much sky."""
    rng = stage.rng
    some_sky(stage, 0.3)
    stage.ground(0.05, 0.25)
    for _ in range(rng.integers(2, 14)):
        stage.tree(rng.choice([-1, 1]) * rng.uniform(1.5, 22), rng.uniform(5, 45))
    if rng.random() < 0.4:
        stage.house((-25, 40), (rng.uniform(-5, 25), 48, rng.uniform(4, 14)), 2)
    for _ in range(rng.integers(0, 4)):
        at = rng.uniform(-80, 80), rng.uniform(80, 160), -6
        stage.ball(at, (rng.uniform(20, 60), 20, rng.uniform(8, 20)), stage.grey(0.05, 0.15))
    stage.people(rng.integers(0, 4), 3, 20)


def traced(number: int, folder: Path) -> None:
    """Build, trace and write one view."""
    kind = SCENES[number % len(SCENES)]
    stage = Stage(10000 + number)
    globals()[kind](stage)
    rng = stage.rng
    camera = bpy.data.cameras.new("c")
    camera.angle = math.radians(rng.uniform(45, 75))
    eye = bpy.data.objects.new("c", camera)
    across, along = rng.uniform(-0.8, 0.8), rng.uniform(-2, 0) if kind == "window" else 0
    eye.location = (across, along, rng.uniform(1.3, 1.9))
    up, yaw = rng.uniform(*UP_DEG[kind]), rng.uniform(-YAW_DEG[kind], YAW_DEG[kind])
    eye.rotation_euler = (math.pi / 2 + math.radians(up), 0, math.radians(yaw))
    bounces = 6 if kind == "window" else BOUNCES
    path = folder / f"{kind}-{number}.exr"
    written(eye, path, seed=number, samples=SAMPLES[kind], bounces=bounces)


if __name__ == "__main__":
    where, first, last = Path(sys.argv[1]), *(int(one) for one in sys.argv[2:4])
    for number in range(first, last + 1):
        traced(number, where)
