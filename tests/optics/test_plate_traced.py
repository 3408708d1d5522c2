"""Ghosts of a plate by closed forms, against rays traced through a published lens."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from frontglass.optics.plate import Iris, Lean, ReturnPath

TRACED = json.loads(
    (Path(__file__).parents[1] / "data" / "traced_plate.json").read_text(encoding="utf-8")
)
EFL_M = 0.1
UPRIGHT = Lean(0.0, 0.0)
LEAST_LIGHT = 0.3
"""Share of the pupil under which a ghost is too few rays to measure."""


def path_of(case: dict) -> ReturnPath:
    return ReturnPath(
        pupil_m=EFL_M / case["f_number"],
        distance_m=case["plate_mm"] / 1000,
        focus_m=case["focus_m"] or math.inf,
    )


def lean_of(case: dict) -> Lean:
    # The program counts a lean the other way.
    return Lean(0.0, -math.tan(math.radians(case["lean_deg"])))


def disc_of(case: dict) -> tuple[float, float, float]:
    """Middle of a ghost's light along its field, its width along it and across by moments."""
    path, lean = path_of(case), lean_of(case)
    across, down = np.meshgrid(*[np.linspace(-0.51, 0.51, 401)] * 2)
    walk = tuple(float(part) for part in path.walk(0.0, case["tangent"], lean))
    cover = path.cover(across, down, (walk[0], walk[1]), Iris(edge=1e-4))
    place = float(path.place(0.0, case["tangent"], lean)[1])
    middle = float(np.average(down, weights=cover))
    wide, high = (
        4 * path.blur * float(np.sqrt(np.average((part - about) ** 2, weights=cover)))
        for part, about in ((down, middle), (across, 0.0))
    )
    return place + path.blur * middle, wide, high


POINTS = [case for case in TRACED["points"] if case["share"] > LEAST_LIGHT]
NEAR = [case for case in POINTS if case["focus_m"] is not None]


def name(case: dict) -> str:
    focus = case["focus_m"] or "inf"
    return f"f{case['f_number']} {case['plate_mm']} {focus} {math.atan(case['tangent']):.3f}"


@pytest.mark.source("Rayoptics0.9.8", "ghosts of a double Gauss, tests/benchmarks/plate_traced.py")
@pytest.mark.parametrize("case", POINTS, ids=name)
def test_ghosts_stand_where_traced_rays_land(case):
    middle, _, _ = disc_of(case)
    # 2 % of the field angle, and of the way that a tilt adds.
    field = abs(case["tangent"]) + 2 * abs(lean_of(case).down)
    assert middle == pytest.approx(case["middle"], abs=0.02 * field)


@pytest.mark.source("Rayoptics0.9.8", "ghosts of a double Gauss, tests/benchmarks/plate_traced.py")
@pytest.mark.parametrize("case", NEAR, ids=name)
def test_discs_of_ghosts_are_as_wide_as_traced(case):
    _, wide, high = disc_of(case)
    assert wide == pytest.approx(case["wide"], rel=0.1)
    assert high == pytest.approx(case["high"], rel=0.1)


@pytest.mark.source("Rayoptics0.9.8", "ghosts of a double Gauss, tests/benchmarks/plate_traced.py")
@pytest.mark.parametrize("case", TRACED["points"], ids=name)
def test_as_much_light_comes_back_into_the_pupil_as_traced(case):
    share = float(path_of(case).share(0.0, case["tangent"], lean_of(case)))
    # The pupil of a real lens wanders and narrows off its axis.
    assert share == pytest.approx(case["share"], abs=0.05)


@pytest.mark.source("Rayoptics0.9.8", "the same with the sensor a mirror")
@pytest.mark.parametrize("case", TRACED["lamps"], ids=name)
def test_a_sensor_that_is_a_mirror_sends_a_lamp_to_the_same_place(case):
    share = float(path_of(case).share(0.0, case["tangent"], UPRIGHT))
    if case["tangent"] > math.tan(math.radians(7)):
        # What a bare mirror throws to the other side of the exit pupil is lost: 10 % come back of
        # 24 % at 10 degrees, and nothing at 12. A sensor's pixels send light into all of it.
        assert share > case["share"] + 0.1
        return
    # This lens is nearly symmetric, and what leaves aside comes back.
    assert share == pytest.approx(case["share"], abs=0.06)
    place = float(path_of(case).place(0.0, case["tangent"], UPRIGHT)[1])
    assert place == pytest.approx(case["middle"], rel=0.02)
