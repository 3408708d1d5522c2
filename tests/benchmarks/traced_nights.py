"""Path-traced nights with lamps of known luminance, for `clipped.py` to judge by: views by chance.

    python3.11 -m venv TRACER && TRACER/bin/pip install bpy==5.0.1
    TRACER/bin/python tests/benchmarks/traced_nights.py FOLDER FIRST LAST
    python tests/benchmarks/clipped.py FOLDER

The second line writes `KIND-NUMBER.exr` in cd/m2 for each number from FIRST to LAST: streets,
squares, parks, piers and rooms, dry or wet, with lamps of the luminances that frontglass takes its
kinds to have (`lamp_kinds.py`; typed here, for the tracer's Python knows no frontglass). About ten
CPU seconds each. Nothing is fitted to them: fits with half of them did no better on open panoramas
left out. The tracer is Cycles, under the Apache License, in bpy, under the GPL; it makes data only.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import bpy  # type: ignore[import-not-found]
import numpy as np
from numpy.typing import ArrayLike

Material = Any
SIZE, SAMPLES, BOUNCES = (320, 200), 32, 4
SCENES = ("street", "square", "park", "pier", "room")
SODIUM, LED, WARM, COOL = (1.6, 0.9, 0.2), (1.0, 1.0, 0.9), (1.5, 0.95, 0.45), (0.85, 1.0, 1.3)
NEONS = ((2.5, 0.6, 0.4), (0.4, 0.9, 2.8), (2.2, 0.5, 1.5), (0.5, 1.3, 0.6))
CD_M2 = {"window": 30, "shop": 300, "neon": 1500, "globe": 8e3, "bulb": 2e4, "candle": 1e4,
         "shade": 1e3, "lantern": 500, "tape": 1.5e4, "tail": 2e3, "moon": 2.5e3}  # fmt: skip
CANDELA = {"street": 1500, "headlamp": 3000}
LEAVES = 400


class Stage:
    """A scene under construction: y is ahead of the camera, z up; metres."""

    def __init__(self, seed: int) -> None:
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.rng = np.random.default_rng([seed, 5])
        self.wet = self.rng.random() < 0.4

    def material(self, rgb: ArrayLike, cd_m2: float = 0.0, rough: float = 0.8) -> Material:
        """What a surface reflects, unevenly, or what it sends by itself."""
        made = bpy.data.materials.new("m")
        made.use_nodes = True
        nodes, links = made.node_tree.nodes, made.node_tree.links
        nodes.clear()
        out = nodes.new("ShaderNodeOutputMaterial")
        colour = (*(float(c) for c in np.broadcast_to(rgb, 3)), 1.0)
        if cd_m2:
            node = nodes.new("ShaderNodeEmission")
            node.inputs["Color"].default_value = colour
            node.inputs["Strength"].default_value = float(cd_m2)
        else:
            node = nodes.new("ShaderNodeBsdfPrincipled")
            node.inputs["Roughness"].default_value = rough
            noise, mix = nodes.new("ShaderNodeTexNoise"), nodes.new("ShaderNodeMix")
            noise.inputs["Scale"].default_value = float(2.0 ** self.rng.uniform(-2, 4))
            noise.inputs["Detail"].default_value = 6.0
            mix.data_type = "RGBA"
            mix.inputs[6].default_value = (*(0.3 * c for c in colour[:3]), 1)
            mix.inputs[7].default_value = (*(min(1.7 * c, 0.9) for c in colour[:3]), 1)
            links.new(noise.outputs[0], mix.inputs[0])
            links.new(mix.outputs[2], node.inputs["Base Color"])
        links.new(node.outputs[0], out.inputs[0])
        return made

    def grey(self, low: float, high: float, rough: float = 0.8) -> Material:
        tint = 2.0 ** self.rng.normal(0, 0.15, 3)
        return self.material(self.rng.uniform(low, high) * tint, 0.0, rough)

    def lamp(self, kind: str, rgb: ArrayLike) -> Material:
        """Lamps of one kind differ by a stop, as a standard deviation."""
        return self.material(rgb, CD_M2[kind] * 2.0 ** self.rng.normal(0, 1))

    def box(self, low: ArrayLike, high: ArrayLike, made: Material) -> None:
        corners = [np.where([i & 1, i & 2, i & 4], high, low) for i in range(8)]
        faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
        self.mesh([tuple(c) for c in corners], faces, made)

    def mesh(self, points: list, faces: list, made: Material) -> None:
        shape = bpy.data.meshes.new("s")
        shape.from_pydata([tuple(float(c) for c in p) for p in points], [], faces)
        shape.materials.append(made)
        bpy.context.collection.objects.link(bpy.data.objects.new("o", shape))

    def ball(self, at: Sequence[float], radius: ArrayLike, made: Material) -> None:
        bpy.ops.mesh.primitive_uv_sphere_add(
            segments=16, ring_count=10, location=tuple(float(c) for c in at)
        )
        ball = bpy.context.object
        ball.scale = tuple(float(c) for c in np.broadcast_to(radius, 3))
        ball.data.materials.append(made)

    def ground(self, low: float, high: float) -> None:
        rough = self.rng.uniform(0.08, 0.3) if self.wet else 0.8
        self.box((-200, -60, -0.2), (200, 300, 0), self.grey(low, high, rough))

    def sky(self, cd_m2: float, rgb: Sequence[float]) -> None:
        world = bpy.data.worlds.new("w")
        bpy.context.scene.world = world
        world.use_nodes = True
        back = world.node_tree.nodes["Background"]
        back.inputs[0].default_value = (*rgb, 1)
        back.inputs[1].default_value = float(cd_m2)

    def night(self) -> None:
        """A town's glow, a moonlit or a blue evening sky; sometimes the moon in it."""
        dusk = self.rng.random() < 0.25
        level = 2.0 ** (self.rng.uniform(0, 5) if dusk else self.rng.uniform(-9, -3))
        self.sky(level, (0.6, 0.9, 1.8) if dusk else (1.2, 1.0, 0.8))
        if self.rng.random() < 0.2:
            at = np.array([self.rng.uniform(-0.5, 0.5), 1, self.rng.uniform(0.15, 0.4)]) * 400
            self.ball(at, 400 * math.radians(0.265), self.lamp("moon", (1.05, 1, 0.9)))

    def pole(self, x: float, y: float, rgb: ArrayLike) -> None:
        """A street lamp: a flat bowl under a hood on a pole."""
        high = self.rng.uniform(4, 8)
        wide, deep = self.rng.uniform(0.15, 0.35), self.rng.uniform(0.06, 0.15)
        level = CANDELA["street"] / (math.pi * wide * wide) * 2.0 ** self.rng.normal(0, 1)
        self.box((x - 0.06, y - 0.06, 0), (x + 0.06, y + 0.06, high), self.grey(0.05, 0.2))
        self.ball((x, y, high), (wide, wide, deep), self.material(rgb, level))
        hood = self.grey(0.1, 0.4)
        self.box((x - wide, y - wide, high + 0.3 * deep), (x + wide, y + wide, high + 0.2), hood)

    def globe(self, x: float, y: float, high: float) -> None:
        self.box((x - 0.04, y - 0.04, 0), (x + 0.04, y + 0.04, high), self.grey(0.03, 0.1))
        self.ball((x, y, high), self.rng.uniform(0.15, 0.25), self.lamp("globe", WARM))

    def house(self, low: tuple, high: tuple, face: int) -> None:
        """A house whose front, -x, +x or -y, has rows of windows, some lit, and perhaps a shop."""
        rng, lit = self.rng, self.rng.uniform(0.05, 0.5)
        self.box((low[0], low[1], 0), high, self.grey(0.1, 0.5))
        along, out = (0, 1) if face == 2 else (1, 0)
        at = (low[out] if face != 1 else high[out]) + (0.02 if face == 1 else -0.02)
        dark = self.grey(0.02, 0.05, 0.05)
        panes = [self.lamp("window", WARM if rng.random() < 0.7 else COOL) for _ in range(3)]
        shop = rng.random() < 0.35

        def pane(start: float, end: float, foot: float, head: float, made: Material) -> None:
            corners = [(start, foot), (end, foot), (end, head), (start, head)]
            points = [(a, at, z) if face == 2 else (at, a, z) for a, z in corners]
            self.mesh(points, [(0, 1, 2, 3)], made)

        for z in np.arange(1.0, high[2] - 2, 3.2):
            if z == 1.0 and shop:
                pane(low[along] + 0.8, high[along] - 0.8, 0.5, 2.8,
                     self.lamp("shop", LED if rng.random() < 0.5 else WARM))  # fmt: skip
                if rng.random() < 0.5:
                    neon = self.lamp("neon", NEONS[rng.integers(4)])
                    pane(low[along] + 2, high[along] - 2, 3.2, 3.3, neon)
                    pane(low[along] + 2, high[along] - 3, 3.6, 3.66, neon)
                continue
            for a in np.arange(low[along] + 1, high[along] - 1.6, 2.6):
                made = panes[rng.integers(3)] if rng.random() < lit else dark
                pane(a, a + 1.2, z, z + 1.7, made)
                if made is not dark and rng.random() < 0.7:  # a curtain, a cross
                    bar = self.grey(0.1, 0.6)
                    side = rng.uniform(0.1, 0.9) if rng.random() < 0.5 else 0.55
                    shift = -0.04 if face != 1 else 0.04
                    thin = sorted((at + shift, at + shift / 2))
                    lo, hi = (a + 0.5, a + 0.5 + side * 0.5), z
                    ends = [(lo[0], thin[0], hi), (lo[1], thin[1], hi + 1.7)]
                    if face != 2:
                        ends = [(thin[0], lo[0], hi), (thin[1], lo[1], hi + 1.7)]
                    self.box(ends[0], ends[1], bar)

    def car(self, x: float, y: float) -> None:
        """A car towards the camera or away, sometimes lit."""
        body = self.grey(0.02, 0.5, 0.2)
        self.box((x - 0.9, y, 0.3), (x + 0.9, y + 4.2, 0.9), body)
        self.box((x - 0.75, y + 1, 0.9), (x + 0.75, y + 3.4, 1.45), self.grey(0.02, 0.06, 0.1))
        if (lit := self.rng.random()) > 0.6:
            return
        level = CANDELA["headlamp"] / (math.pi * 0.07**2) * 2.0 ** self.rng.normal(-1, 1.5)
        made = self.material(LED, level) if lit < 0.3 else self.lamp("tail", (3, 0.25, 0.1))
        for side in (-0.65, 0.65):
            self.ball((x + side, y, 0.65), (0.07, 0.03, 0.07), made)

    def tree(self, x: float, y: float) -> None:
        """A trunk and leaves as small squares by chance."""
        high, wide = self.rng.uniform(5, 11), self.rng.uniform(1.5, 3.5)
        self.box((x - 0.15, y - 0.15, 0), (x + 0.15, y + 0.15, high * 0.6), self.grey(0.05, 0.15))
        middle = np.array([x, y, high * 0.7])
        points: list = []
        faces: list = []
        for at in self.rng.normal(0, 0.45, (LEAVES, 3)) * [wide, wide, high * 0.25] + middle:
            across, up = self.rng.normal(0, 0.16, (2, 3))
            faces.append(range(len(points), len(points) + 4))
            points += [at - across - up, at + across - up, at + across + up, at - across + up]
        green = 2.0 ** self.rng.normal(0, 0.3)
        self.mesh(points, faces, self.material(np.array([0.06, 0.1, 0.03]) * green))

    def people(self, count: int, wide: float, far: float) -> None:
        for _ in range(count):
            x, y = self.rng.uniform(-wide, wide), self.rng.uniform(3, far)
            self.ball((x, y, 0.85), (0.25, 0.18, 0.85), self.grey(0.03, 0.4))
            self.ball((x, y, 1.68), 0.12, self.grey(0.2, 0.4))


def houses(stage: Stage, near: float, end: float) -> None:
    """Rows of houses on both sides of a street, and across its end."""
    rng = stage.rng
    for side in (-1, 1):
        y = -12.0
        while y < end:
            y2, high = y + rng.uniform(7, 16), rng.uniform(5, 17)
            inner, outer = sorted((side * near, side * (near + 8)))
            stage.house((inner, y), (outer, y2, high), 1 if side < 0 else 0)
            y = y2 + (rng.uniform(2, 8) if rng.random() < 0.3 else 0)
    stage.house((-near - 8, end), (near + 8, end + 8, rng.uniform(6, 16)), 2)


def street(stage: Stage) -> None:
    rng, stage_near = stage.rng, stage.rng.uniform(5, 11)
    stage.night()
    stage.ground(0.04, 0.2)
    houses(stage, stage_near, rng.uniform(40, 90))
    rgb = (SODIUM, LED, WARM)[rng.integers(3)]
    for y in np.arange(rng.uniform(-8, 10), 70, rng.uniform(15, 32)):
        for side in (-1, 1) if rng.random() < 0.5 else (rng.choice([-1, 1]),):
            stage.pole(side * (stage_near - 1.5), y, rgb)
    for _ in range(rng.integers(0, 7)):
        stage.car(rng.choice([-1, 1]) * rng.uniform(1, stage_near - 2), rng.uniform(8, 45))
    stage.people(rng.integers(0, 6), stage_near - 1, 25)


def square(stage: Stage) -> None:
    rng = stage.rng
    stage.night()
    stage.ground(0.08, 0.3)
    houses(stage, rng.uniform(16, 28), rng.uniform(35, 60))
    if rng.random() < 0.6:
        for _ in range(rng.integers(2, 7)):
            stage.globe(rng.uniform(-12, 12), rng.uniform(6, 30), rng.uniform(2.8, 4.2))
    if rng.random() < 0.5:
        for _ in range(rng.integers(1, 5)):
            stage.pole(
                rng.uniform(-15, 15), rng.uniform(8, 32), (SODIUM, LED, WARM)[rng.integers(3)]
            )
    if rng.random() < 0.6:  # strings of bulbs over café tables
        bulb, y = stage.lamp("bulb", WARM), rng.uniform(5, 12)
        for x in np.arange(-6, 6, rng.uniform(0.7, 1.6)):
            stage.ball((x, y + 0.2 * x, 2.7 - 0.3 * math.cos(x)), 0.035, bulb)
    for _ in range(rng.integers(2, 8)):
        x, y = rng.uniform(-8, 8), rng.uniform(4, 16)
        stage.box((x - 0.4, y - 0.4, 0.68), (x + 0.4, y + 0.4, 0.74), stage.grey(0.2, 0.6))
        if rng.random() < 0.5:
            stage.ball((x, y, 0.79), (0.012, 0.012, 0.02), stage.lamp("candle", WARM))
    stage.people(rng.integers(2, 12), 12, 30)


def park(stage: Stage) -> None:
    rng = stage.rng
    stage.night()
    stage.ground(0.04, 0.12)
    for _ in range(rng.integers(6, 16)):
        x = rng.choice([-1, 1]) * rng.uniform(2, 22)
        stage.tree(x, rng.uniform(5, 45))
    path = stage.grey(0.15, 0.35)
    stage.box((-1.2, -5, 0), (1.2, 60, 0.01), path)
    for y in np.arange(rng.uniform(3, 12), 55, rng.uniform(12, 30)):
        side = rng.choice([-1.8, 1.8])
        (stage.globe(side, y, rng.uniform(2.5, 4)) if rng.random() < 0.5
         else stage.pole(side, y, (SODIUM, LED, WARM)[rng.integers(3)]))  # fmt: skip
    if rng.random() < 0.5:
        stage.house((-25, 60), (rng.uniform(-5, 25), 68, rng.uniform(6, 14)), 2)
    stage.people(rng.integers(0, 4), 2, 20)


def pier(stage: Stage) -> None:
    """Water, a deck with lamps, a terminal with lit windows and towns across the water."""
    rng = stage.rng
    stage.night()
    stage.box((-300, -60, -2.2), (300, 400, -2), stage.grey(0.005, 0.02, rng.uniform(0.05, 0.25)))
    left, right = rng.uniform(-4, -1.5), rng.uniform(1.5, 9)
    deck = stage.grey(0.08, 0.3, 0.15 if stage.wet else 0.8)
    stage.box((left, -20, -0.3), (right, rng.uniform(25, 60), 0), deck)
    rgb = (SODIUM, LED, WARM)[rng.integers(3)]
    for y in np.arange(rng.uniform(2, 10), 45, rng.uniform(8, 20)):
        stage.globe(left, y, 3.5) if rgb is WARM else stage.pole(left, y, rgb)
        stage.box((left, y - 4, 0.9), (left + 0.05, y + 4, 0.95), stage.grey(0.1, 0.5))
    if rng.random() < 0.7:
        stage.house((right + 1, 8), (right + 9, rng.uniform(20, 40), 7), 0)
    for x in np.arange(-150, 150, rng.uniform(20, 60)):
        if rng.random() < 0.6:
            y = rng.uniform(90, 250)
            stage.house((x, y), (x + rng.uniform(12, 30), y + 9, rng.uniform(6, 25)), 2)
    stage.people(rng.integers(0, 5), 2, 20)


def room(stage: Stage) -> None:
    """A café after closing: lamps over tables, tape under shelves, dark windows."""
    rng = stage.rng
    stage.sky(2.0 ** rng.uniform(-8, 0), (1, 1, 1.2))
    left, right, ahead, high = -rng.uniform(1.8, 4), rng.uniform(1.8, 4), rng.uniform(4, 11), 2.9
    wall, floor = stage.grey(0.2, 0.7), stage.grey(0.05, 0.4, rng.uniform(0.15, 0.8))
    for low, top, made in (
        ((left - 0.1, -3, 0), (left, ahead, high), wall),
        ((right, -3, 0), (right + 0.1, ahead, high), wall),
        ((left, ahead, 0), (right, ahead + 0.1, high), stage.grey(0.1, 0.7)),
        ((left, -3.1, 0), (right, -3, high), wall), ((left, -3, -0.1), (right, ahead, 0), floor),
        ((left, -3, high), (right, ahead, high + 0.1), stage.grey(0.3, 0.8)),
    ):  # fmt: skip
        stage.box(low, top, made)
    stage.house((left + 0.05, ahead - 0.05), (right - 0.05, ahead, 2.6), 2)
    kind = str(rng.choice(["shade", "globe", "bulb", "lantern"]))
    size = {"shade": (0.2, 0.2, 0.13), "globe": 0.12, "bulb": 0.035, "lantern": 0.2}[kind]
    made, cord = stage.lamp(kind, WARM), stage.grey(0.02, 0.05)
    for y in np.arange(rng.uniform(1, 3), ahead - 0.4, rng.uniform(1.2, 2.6)):
        for x in rng.choice([-1.2, 0.0, 1.2], rng.integers(1, 3), replace=False):
            hung = rng.uniform(1.8, 2.2)
            stage.ball((x, y, hung), size, made)
            stage.box((x - 0.01, y - 0.01, hung), (x + 0.01, y + 0.01, high), cord)
            stage.box(
                (x - 0.35, y - 0.35, 0.7), (x + 0.35, y + 0.35, 0.74), stage.grey(0.05, 0.6, 0.4)
            )
    if rng.random() < 0.4:
        stage.box((left, 1, 1.4), (left + 0.02, ahead - 0.5, 1.415), stage.lamp("tape", WARM))
        stage.box((left, 1, 1.42), (left + 0.3, ahead - 0.5, 1.46), stage.grey(0.1, 0.5))
    if rng.random() < 0.4:
        stage.box(
            (right - 0.02, 2, 1.8), (right, 3.2, 1.83), stage.lamp("neon", NEONS[rng.integers(4)])
        )
    for _ in range(rng.integers(0, 4)):
        at = (rng.uniform(left, right) * 0.7, rng.uniform(1.2, ahead), 0.77)
        stage.ball(at, (0.012, 0.012, 0.02), stage.lamp("candle", WARM))
    stage.people(rng.integers(0, 3), 1.5, ahead)


def traced(number: int, folder: Path) -> None:
    """Build, trace and write one view."""
    kind = SCENES[number // 2 % len(SCENES)]
    stage = Stage(number)
    globals()[kind](stage)
    rng = stage.rng
    camera = bpy.data.cameras.new("c")
    camera.angle = math.radians(rng.uniform(45, 75))
    eye = bpy.data.objects.new("c", camera)
    aim = math.pi / 2 + math.radians(rng.uniform(-4, 8)), 0, math.radians(rng.uniform(-15, 15))
    eye.location, eye.rotation_euler = (rng.uniform(-0.8, 0.8), 0, rng.uniform(1.4, 2)), aim
    written(eye, folder / f"{kind}-{number}.exr", seed=number, samples=SAMPLES, bounces=BOUNCES)


def written(eye: Any, path: Path, *, seed: int, samples: int, bounces: int) -> None:
    """Trace what a camera sees, and write it."""
    scene = bpy.context.scene
    bpy.context.collection.objects.link(eye)
    scene.camera = eye
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.seed = samples, seed
    scene.cycles.max_bounces = bounces
    scene.cycles.use_denoising = True
    scene.cycles.sample_clamp_indirect = 0
    scene.cycles.caustics_reflective = scene.cycles.caustics_refractive = False
    scene.render.threads_mode, scene.render.threads = "FIXED", 1
    scene.render.resolution_x, scene.render.resolution_y = SIZE
    scene.render.image_settings.file_format = "OPEN_EXR"
    scene.render.image_settings.color_depth = "32"
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True)


if __name__ == "__main__":
    where, first, last = Path(sys.argv[1]), *(int(one) for one in sys.argv[2:4])
    for number in range(first, last + 1):
        traced(number, where)
