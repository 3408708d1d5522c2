"""Beams in air: a path tracer's numbers, and the lamp that a beam is part of."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from frontglass.errors import ParameterError
from frontglass.optics.air import Air
from frontglass.optics.beams import Spotlight, beam_airlight
from tests.reference.air import lamp_airlight

TRACED = json.loads((Path(__file__).parents[1] / "data" / "traced_beams.json").read_text())
# The record gives places along and across each beam, and not where the camera stood: its way to
# the beam's line and where along it that foot lies, two numbers for 42 or more of light.
PLACEMENTS_M = {
    "across": (5.0, 3.72),
    "toward_cam": (2.912, 8.023),
    "away_from_cam": (2.949, -0.344),
}


def unit(vectors) -> np.ndarray:
    v = np.asarray(vectors, dtype=float)
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def beam(**changed) -> Spotlight:
    usual = {
        "origin_m": (-2.0, -1.0, 4.0),
        "direction": (1.0, 0.8, 0.3),
        "cone_rad": math.radians(6),
        "edge_rad": math.radians(2),
    }
    return Spotlight(**{**usual, **changed})


@pytest.mark.source("Traced2026", "traced_beams.json: full to 6 degrees, falling to 0 at 8")
@pytest.mark.parametrize(
    "traced",
    TRACED,
    ids=[f"{t['placement']}, {t['extinction_per_m']} per m, g {t['asymmetry']}" for t in TRACED],
)
def test_beam_profile_against_the_path_tracer(traced):
    apart, foot = PLACEMENTS_M[traced["placement"]]
    origin, axis = np.array([-foot, 0, apart]), np.array([1.0, 0, 0])
    along = origin + np.array(traced["along_m"])[:, None] * axis
    across = origin + 3.5 * axis + np.array(traced["across_m"])[:, None] * np.array([0, 1.0, 0])
    lamp = beam(origin_m=tuple(origin), direction=tuple(axis))
    air = Air(extinction_per_m=traced["extinction_per_m"], asymmetry=traced["asymmetry"])
    rays = unit(np.concatenate([along, across]))
    got = beam_airlight(air, lamp, rays, np.full(len(rays), np.inf))
    expected = np.array(traced["scattered_once"])
    lit = expected > 0
    ratio = got[lit] / expected[lit]
    print("model / traced:", np.round(ratio, 3))
    # Its own error is up to 1.5 %.
    np.testing.assert_allclose(ratio, 1, atol=0.03)
    assert (got[~lit] == 0).all()


@pytest.mark.source("Sun2005", "a wide beam is a lamp: the same integral by another route")
@pytest.mark.parametrize("surface", [2.0, 5.0, math.inf])
def test_a_beam_that_holds_all_points_of_a_ray_is_a_lamp(surface):
    air = Air(extinction_per_m=0.05, asymmetry=0.7)
    # A lamp behind and beside the lens that shines forward: the rays stay within 80 degrees.
    origin = (1.5, 0.0, -2.0)
    wide = Spotlight(origin_m=origin, direction=(-0.3, 0, 1), cone_rad=1.4, edge_rad=0.01)
    rays = unit([[0.1, 0.1, 1], [0, 0, 1], [-0.3, -0.2, 1]])
    lamp = unit(origin)
    angle = np.arccos(rays @ lamp)
    got = beam_airlight(air, wide, rays, np.full(3, surface), steps=120)
    expected = lamp_airlight(
        air, lamp_m=2.5, angle_rad=angle, surface_m=np.full(3, surface), steps=200
    )
    np.testing.assert_allclose(got, expected, rtol=1e-9)


def test_a_ray_enters_and_leaves_where_the_angle_says():
    rng = np.random.default_rng(3)
    for _ in range(40):
        lamp = beam(origin_m=tuple(rng.uniform(-3, 3, 3)), direction=tuple(rng.normal(size=3)))
        rays = unit(rng.normal((0, 0, 1), size=(40, 3)))
        enter, leave = lamp.crossing_m(rays)
        t = np.linspace(0.005, 30, 3000)
        points = rays[:, None] * t[:, None] - np.array(lamp.origin_m)
        inside = unit(points) @ unit(lamp.direction) > math.cos(lamp.outer_rad)
        found = (t > enter[:, None]) & (t < leave[:, None])
        # Points within a step of the border may fall either way.
        near = np.minimum(np.abs(t - enter[:, None]), np.abs(t - leave[:, None])) < 0.02
        assert (found == inside)[~near].all()


def test_a_column_ends_at_the_surface():
    air, rays = Air(extinction_per_m=0.05), unit([[0, 0, 1.0]])
    lamp = beam(origin_m=(-2.0, 0.0, 4.0), direction=(1, 0, 0))
    enter, leave = (float(end[0]) for end in lamp.crossing_m(rays))
    levels = [
        float(beam_airlight(air, lamp, rays, np.array([surface]))[0])
        for surface in (0.99 * enter, (enter + leave) / 2, leave, 50.0)
    ]
    assert levels[0] == 0
    assert levels[1] == pytest.approx(levels[2] / 2, rel=0.05)
    assert levels[3] == levels[2]


def test_a_ray_that_misses_sees_nothing():
    rays = unit([[0, 5, 1.0], [-1, -1, 0.2]])
    assert (beam_airlight(Air(extinction_per_m=1.0), beam(), rays, np.full(2, 50.0)) == 0).all()


@pytest.mark.parametrize(
    "wrong",
    [
        {"direction": (0, 0, 0)},
        {"origin_m": (0, math.nan, 0)},
        {"edge_rad": 0.0},
        {"cone_rad": 1.5, "edge_rad": 0.2},
    ],
)
def test_a_beam_refuses(wrong):
    with pytest.raises(ParameterError):
        beam(**wrong)
