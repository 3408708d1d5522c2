"""A plate as a mirror: Fresnel's formulas, coatings, panes together, the way there and back."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frontglass.errors import ParameterError
from frontglass.optics.plate import (
    Iris,
    Lean,
    Mirror,
    ReturnPath,
    coated_reflectance,
    fresnel_reflectance,
    ghosts_and_caught,
    plate_reflectance,
)

UPRIGHT = Lean(0.0, 0.0)
PATH = ReturnPath(pupil_m=0.02, distance_m=0.05)
NEAR = ReturnPath(pupil_m=0.02, distance_m=0.05, focus_m=2.0)


@pytest.mark.source("BornWolf1999", "sec. 1.5.3: 4 % of glass of 1.5, none of one polarisation")
def test_fresnel_reflectance_agrees_with_born_wolf():
    assert fresnel_reflectance(1.5) == pytest.approx(0.04, rel=1e-12)
    # At the polarising angle one half of the light passes whole; of the other that part.
    polarising = math.atan(1.5)
    assert fresnel_reflectance(1.5, polarising) == pytest.approx((1.25 / 3.25) ** 2 / 2, rel=1e-12)
    assert fresnel_reflectance(1.5, math.pi / 2) == pytest.approx(1)
    # So near the normal what a ghost is made of hardly hangs on the angle.
    assert fresnel_reflectance(1.52, math.radians(15)) == pytest.approx(
        fresnel_reflectance(1.52), rel=0.01
    )


@pytest.mark.source("BornWolf1999", "sec. 1.6.4: a quarter wave, ((n1^2 - n2) / (n1^2 + n2))^2")
def test_a_quarter_wave_layer_agrees_with_born_wolf():
    best = ((1.38**2 - 1.52) / (1.38**2 + 1.52)) ** 2
    assert coated_reflectance(1.52, 550.0) == pytest.approx(best, rel=1e-12)
    # Half a wave thick it is as if it were not there.
    assert coated_reflectance(1.52, 275.0) == pytest.approx(fresnel_reflectance(1.52), rel=1e-12)
    # What it leaves is purple.
    red, green, blue = (coated_reflectance(1.52, nm) for nm in (600.0, 540.0, 465.0))
    assert green < red
    assert green < blue


def test_a_plate_mirrors_the_sum_of_all_that_goes_to_and_fro():
    one = 0.0426
    inside = sum((1 - one) ** 2 * one ** (2 * k + 1) for k in range(20))
    assert plate_reflectance(one) == pytest.approx(one + inside, rel=1e-12)


def test_two_panes_throw_two_ghosts_and_catch_light_between_them():
    outer = Mirror((0.08, 0.08, 0.08), Lean(0.01, 0.0))
    inner = Mirror((0.02, 0.05, 0.05), UPRIGHT)
    ghosts, caught = ghosts_and_caught((outer, inner))
    # The outer pane's ghost goes twice more through the inner one.
    assert ghosts[0].level == pytest.approx((0.08 * 0.98**2, 0.08 * 0.95**2, 0.08 * 0.95**2))
    assert ghosts[1].level == (0.02, 0.05, 0.05)
    assert caught[0].level == pytest.approx((0.0016, 0.004, 0.004))
    assert caught[0].lean == Lean(0.01, 0.0)


def reflected(direction: np.ndarray, normal: np.ndarray) -> np.ndarray:
    normal = normal / np.linalg.norm(normal)
    return direction - 2 * (direction @ normal) * normal


@pytest.mark.parametrize("lean", [UPRIGHT, Lean(0.08, 0.0), Lean(-0.05, 0.2)])
def test_ghosts_stand_where_a_mirror_sends_them(lean):
    x, y = 0.15, -0.07
    # Light on its way out towards the lamp is mirrored, and seen where it then comes from.
    back = -reflected(np.array([x, y, 1.0]), np.array([lean.right, lean.down, 1.0]))
    assert PATH.place(x, y, lean) == pytest.approx(back[:2] / back[2], rel=1e-12)


@pytest.mark.parametrize("lean", [UPRIGHT, Lean(0.08, 0.0), Lean(-0.05, 0.2)])
def test_a_ghost_is_as_much_larger_as_its_corners_are_farther_apart(lean):
    x, y, step = 0.15, -0.07, 1e-5
    middle, right, down = (
        np.array(PATH.place(x + dx, y + dy, lean)) for dx, dy in ((0, 0), (step, 0), (0, step))
    )
    area = abs(np.linalg.det(np.stack([right - middle, down - middle]))) / step**2
    assert float(PATH.stretch(x, y, lean)) == pytest.approx(area, rel=1e-3)


def test_a_lamp_moved_right_moves_its_ghost_left_by_the_same_angle():
    before, after = (float(PATH.place(x, 0.02, Lean(0.03, 0.0))[0]) for x in (0.05, 0.06))
    assert after - before == pytest.approx(-0.01, rel=0.01)
    straight = [float(PATH.place(x, 0.02, UPRIGHT)[0]) for x in (0.05, 0.06)]
    assert straight == pytest.approx([-0.05, -0.06], rel=1e-12)


def test_a_tilt_moves_a_ghost_by_twice_as_much():
    tilt = math.radians(3)
    right, down = PATH.place(0.0, 0.0, Lean(math.tan(tilt), 0.0))
    assert math.atan(float(right)) == pytest.approx(2 * tilt, rel=1e-12)
    assert float(down) == 0


def followed(path: ReturnPath, at_pupil: np.ndarray, tangent: float, lean: float) -> np.ndarray:
    """Where rays that leave the pupil come in again, and where they are imaged, one by one."""
    focus, distance = path.focus_m, path.distance_m
    point = tangent * focus
    slope = (point - at_pupil) / focus
    on_plate = at_pupil + slope * distance
    seen_from = -slope + 2 * lean
    comes_in = on_plate - seen_from * distance
    return np.stack([comes_in, (comes_in + seen_from * focus) / focus])


@pytest.mark.parametrize("focus_m", [0.4, 2.0, 30.0])
def test_discs_are_where_single_rays_go(focus_m):
    path = ReturnPath(pupil_m=0.02, distance_m=0.05, focus_m=focus_m)
    at_pupil = np.linspace(-0.01, 0.01, 5)
    comes_in, imaged = followed(path, at_pupil, 0.04, 0.01)
    place = float(path.place(0.04, 0.0, Lean(0.01, 0.0))[0])
    # The mirror is exact and the rest is for small angles: a part in a thousand.
    np.testing.assert_allclose(imaged, place + path.blur * at_pupil / 0.02, atol=1e-4)
    walk = float(path.walk(0.04, 0.0, Lean(0.01, 0.0))[0])
    np.testing.assert_allclose(comes_in / 0.02, path.narrowing * at_pupil / 0.02 + walk, atol=1e-12)


def test_a_lens_focused_far_away_has_sharp_ghosts():
    assert PATH.blur == 0
    assert ReturnPath(pupil_m=0.02, distance_m=0.05, focus_m=1e6).blur < 1e-7


@pytest.mark.parametrize("path", [PATH, NEAR, ReturnPath(pupil_m=0.02, distance_m=0.3, focus_m=1)])
@pytest.mark.parametrize("tangent", [0.0, 0.03, 0.09, 0.15])
def test_the_share_is_what_the_disc_covers(path, tangent):
    side = np.linspace(-0.55, 0.55, 601)
    right, down = np.meshgrid(side, side)
    iris = Iris(edge=1e-3)
    walk = tuple(float(part) for part in path.walk(tangent, 0.0, UPRIGHT))
    whole = iris.cover(right, down).sum()
    cover = path.cover(right, down, (walk[0], walk[1]), iris).sum() / whole
    assert float(path.share(tangent, 0.0, UPRIGHT)) == pytest.approx(cover, abs=3e-3)


def test_no_ghost_comes_in_from_beyond_the_reach_of_the_pupil():
    assert PATH.farthest == pytest.approx(0.02 / (2 * 0.05))
    assert float(PATH.share(0.99 * PATH.farthest, 0.0, UPRIGHT)) > 0
    assert float(PATH.share(1.01 * PATH.farthest, 0.0, UPRIGHT)) == 0


def test_an_iris_with_corners_lets_as_much_light_through_as_a_round_one():
    side = np.linspace(-0.6, 0.6, 601)
    right, down = np.meshgrid(side, side)
    areas = [Iris(blades=blades, edge=1e-3).cover(right, down).mean() for blades in (0, 5, 9)]
    assert areas == pytest.approx([areas[0]] * 3, rel=2e-3)


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ({"pupil_m": 0.0, "distance_m": 0.1}, "pupil_m must be > 0, got 0"),
        ({"pupil_m": 0.1, "distance_m": 0.1, "focus_m": 0.05}, "farther than the plate, 0.1"),
    ],
)
def test_impossible_ways_are_refused(values, rule):
    with pytest.raises(ParameterError, match=rule):
        ReturnPath(**values)
    with pytest.raises(ParameterError, match=r"index must be >= 1, got 0\.5"):
        fresnel_reflectance(0.5)
