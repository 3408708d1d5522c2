"""Looks made of nets, grease and a stray lamp: what they claim, in numbers on their own scenes."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

import frontglass as fg
from frontglass.looks import read_look
from frontglass.picture.encoding import Encoding
from frontglass.units import STOCK_STRENGTHS

# 135 mm on 240 px of 5.4 mm: 6000 px a radian, as 24 MP behind 36 mm.
SHAPE, ROW, COLUMN = (180, 240), 80, 100
CAMERA = fg.Camera(focal_length_mm=36.0, sensor_width_mm=1.44, f_number=4.0)
FULL_FRAME = fg.Camera(focal_length_mm=35.0, sensor_width_mm=36.0, f_number=8.0)


def seen(light: np.ndarray, name: str, strength: str | float = 1, camera=CAMERA) -> np.ndarray:
    picture = fg.Picture(radiance=light.astype(np.float32), encoding=Encoding.linear())
    look = read_look(name).at(strength)
    return fg.render(picture, [look], camera=camera, surround=fg.Surround.DARK).radiance


@cache
def seen_lamp(name: str, strength: float = 1.0) -> np.ndarray:
    """One bright pixel in the dark through a look; nets take seconds to lay."""
    light = seen(lamp(), name, strength)
    light.flags.writeable = False
    return light


def lamp(level: float = 1.0) -> np.ndarray:
    light = np.zeros((*SHAPE, 3))
    light[ROW, COLUMN] = level
    return light


def texture() -> np.ndarray:
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    fine = 0.18 * (1 + 0.5 * np.sin(2 * np.pi * x / 8) * np.sin(2 * np.pi * y / 8))
    return np.repeat(fine[..., None], 3, axis=2)


def texture_kept(name: str, strength: str | float = 1) -> float:
    middle = np.s_[60:120, 80:160]
    return float(seen(texture(), name, strength)[middle].std() / texture()[middle].std())


def rays(light: np.ndarray, radii: tuple[float, float]) -> np.ndarray:
    """Green light over direction, 0 to 359 degrees anticlockwise, in a ring round the lamp."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([ROW, COLUMN])[:, None, None]
    r = np.hypot(x, y)
    ring = (r >= radii[0]) & (r < radii[1])
    turn = np.degrees(np.arctan2(-y[ring], x[ring])).round().astype(int) % 360
    light_in = np.bincount(turn, light[..., 1][ring].astype(float), minlength=360)
    # Directions near a ray together: 2 degrees to either side.
    return np.sum([np.roll(light_in, shift) for shift in range(-2, 3)], axis=0)


class TestFineNet:
    def test_rays_cross_at_right_angles_on_the_nets_axes(self):
        ring = rays(seen_lamp("fine-net"), (25, 75))
        on = ring[[45, 135, 225, 315]]
        off = ring[[0, 90, 180, 270]]
        assert on.min() > 30 * off.max()
        assert on.max() < 1.1 * on.min()

    def test_rays_are_dots_and_red_ones_lie_farther(self):
        got = seen_lamp("fine-net")
        spacing = np.array([600, 540, 465]) * 1e-9 / 0.45e-3 * 6000
        y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([ROW, COLUMN])[:, None, None]
        a = math.radians(45)
        along, across = x * math.cos(a) - y * math.sin(a), x * math.sin(a) + y * math.cos(a)
        for channel in range(3):
            on_arm = np.abs(across) < 1.5
            dot = on_arm & (np.abs(along - spacing[channel]) < 1)
            gap = on_arm & (np.abs(along - 0.5 * spacing[channel]) < 1)
            assert got[dot, channel].mean() > 4 * got[gap, channel].mean()

    def test_definition_eases_and_the_middle_of_a_lamp_stays(self):
        assert 0.85 < texture_kept("fine-net") < 0.95
        assert seen_lamp("fine-net")[ROW, COLUMN, 1] == pytest.approx(
            (1 - 0.024 / 0.45) ** 2, rel=1e-3
        )


class TestWideNet:
    def test_six_rays_60_degrees_apart(self):
        ring = rays(seen_lamp("wide-net"), (20, 70))
        # Across its threads, at 0, 60 ... degrees.
        on = ring[np.arange(6) * 60]
        off = ring[30 + np.arange(6) * 60]
        assert on.min() > 4 * off.max()
        assert on.max() < 1.3 * on.min()

    def test_its_dots_lie_closer_than_those_of_fine_net(self):
        def within(name: str, radius: float) -> float:
            light = seen_lamp(name)[..., 1].astype(float)
            y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([ROW, COLUMN])[:, None, None]
            light[ROW, COLUMN] = 0
            return light[np.hypot(x, y) < radius].sum() / light.sum()

        assert within("wide-net", 6) > 3 * within("fine-net", 6)


class TestTallow:
    def test_lamps_streak_across_the_wipe(self):
        got = seen_lamp("tallow")[..., 1].astype(float)
        y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([ROW, COLUMN])[:, None, None]
        near = np.hypot(x, y) < 60
        # Wiped level: up and down much farther than to the sides.
        assert (got * y * y)[near].sum() > 5 * (got * x * x)[near].sum()

    def test_a_core_stays(self):
        assert 0.4 < seen_lamp("tallow")[ROW, COLUMN, 1] < 0.95


class TestKeyhole:
    @staticmethod
    def kept(strength: str | float = 1) -> np.ndarray:
        """Share of each lamp of a row that stays in its pixel, from the middle to the right."""
        light = np.zeros((*SHAPE, 3))
        light[90, 120:240:7] = 1
        got = seen(light, "keyhole", strength, FULL_FRAME)
        return got[90, 120:240:7, 1]

    def test_the_middle_is_clean_and_the_rim_is_not(self):
        kept = self.kept()
        assert kept[0] > 0.999
        assert kept[-1] < 0.6
        assert (np.diff(kept) < 2e-3).all()

    def test_more_of_it_is_more_at_the_rim_and_nothing_in_the_middle(self):
        rims = [self.kept(float(s))[-1] for s in STOCK_STRENGTHS]
        assert all(more < less for less, more in pairwise(rims))
        assert self.kept(2)[0] > 0.999


class TestTorchWash:
    def test_it_washes_the_lamps_side_warmly(self):
        got = seen(np.zeros((*SHAPE, 3)), "torch-wash", camera=FULL_FRAME)
        left, right = got[90, 0], got[90, -1]
        assert left[1] > 2.5 * right[1]
        assert left[0] > left[1] > left[2]
        # The lamp stands above the middle.
        assert got[0, 0, 1] > got[-1, 0, 1]

    def test_strengths_add_light(self):
        black = np.zeros((*SHAPE, 3))
        once = seen(black, "torch-wash", "1/2", FULL_FRAME)
        np.testing.assert_allclose(seen(black, "torch-wash", 1, FULL_FRAME), 2 * once, rtol=1e-6)


GLASS_STOPS = math.log2((1 + 0.52**2 / 2.52**2) / (1 - 0.52**2 / 2.52**2))
"""What both surfaces of glass of index 1.52 mirror, to and fro inside."""


class TestOldMatinee:
    def test_soft_starry_and_pale(self):
        assert texture_kept("old-matinee") < texture_kept("fine-net")
        ring = rays(seen_lamp("old-matinee"), (15, 45))
        on, off = ring[20 + 90 * np.arange(4)], ring[65 + 90 * np.arange(4)]
        assert on.min() > 1.5 * off.max()
        # Grey below, black above: the veil reaches up there, and 1 % of white lifts it.
        light = np.zeros((*SHAPE, 3))
        light[90:] = 1
        assert 0.004 < seen(light, "old-matinee")[2, 120, 1] < 0.08

    def test_a_pale_thread_takes_less_light_than_a_black_one(self):
        loss = {n: read_look(n).light_loss_stops for n in ("old-matinee", "fine-net", "wide-net")}
        assert loss["fine-net"] == pytest.approx(-2 * math.log2(1 - 0.024 / 0.45), rel=1e-9)
        passed = (1 - 0.035 / 0.5) ** 2
        assert loss["old-matinee"] == pytest.approx(
            -math.log2(passed + 0.3 * (1 - passed)) + GLASS_STOPS, rel=1e-9
        )


@pytest.mark.parametrize("name", ["fine-net", "wide-net", "old-matinee", "tallow"])
def test_more_of_it_leaves_less_of_a_lamp_and_of_texture(name):
    lamps, textures = [], []
    for strength in map(float, STOCK_STRENGTHS):
        lamps.append(seen_lamp(name, strength)[ROW, COLUMN, 1])
        textures.append(texture_kept(name, strength))
    assert all(more < less for less, more in pairwise(lamps))
    assert all(more < less for less, more in pairwise(textures))


@pytest.mark.parametrize("name", ["fine-net", "wide-net", "old-matinee"])
def test_strengths_of_a_net_multiply_its_direct_light(name):
    direct = [seen_lamp(name, s)[ROW, COLUMN, 1].astype(float) for s in (0.25, 0.5, 1.0)]
    # 1 %: knits, tulle and a glow lay a little of what they spread on the lamp itself.
    assert direct[0] ** 2 == pytest.approx(direct[1], rel=1e-2)
    assert direct[1] ** 2 == pytest.approx(direct[2], rel=1e-2)
