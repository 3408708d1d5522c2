"""A room is what rays from its lens meet first: planes in space, read back from distances."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.errors import ParameterError
from frontglass.picture.room import Room

SHAPE, SCALE = (40, 61), 45.0
Points = NDArray[np.float64]


def rays(shape: tuple[int, int] = SHAPE, scale: float = SCALE) -> Points:
    """Unit vectors right, down and forward through the middles of pixels."""
    rows, columns = np.mgrid[: shape[0], : shape[1]] + 0.5
    along = np.stack([(columns - shape[1] / 2) / scale, (rows - shape[0] / 2) / scale], axis=-1)
    along = np.concatenate([along, np.ones((*shape, 1))], axis=-1)
    return np.asarray(along / np.linalg.norm(along, axis=-1, keepdims=True))


def through(column: float, row: float) -> Points:
    """Direction through a place of the frame [px], counted from its corner."""
    place = np.array([column - SHAPE[1] / 2, row - SHAPE[0] / 2, SCALE])
    return np.asarray(place / np.linalg.norm(place))


@pytest.mark.source("Euclid", "XI: lines and planes in space")
@pytest.mark.parametrize("horizon", [None, 9.0, -14.5, 33.25])
@pytest.mark.parametrize("vanishing", [None, 12.0, 70.5])
def test_each_surface_stands_where_it_is_said_to(horizon, vanishing):
    row = SHAPE[0] / 2 if horizon is None else horizon
    column = SHAPE[1] / 2 if vanishing is None else vanishing
    # Level is whatever lies on the horizon; along the room is where its lines meet.
    level = np.cross(through(0, row), through(SHAPE[1], row))
    down = level / np.linalg.norm(level)
    along = through(column, row)
    right = np.cross(down, along)
    walls: tuple[tuple[dict[str, float], Points, float], ...] = (
        ({"camera_m": 1.3}, down, 1.3),
        ({"camera_m": 900.0, "ceiling_m": 902.5}, -down, 2.5),
        ({"camera_m": 900.0, "back_m": 7.0}, along, 7.0),
        ({"camera_m": 900.0, "right_m": 2.5}, right, 2.5),
        ({"camera_m": 900.0, "left_m": 3.5}, -right, 3.5),
    )
    whole: dict[str, float] = {"camera_m": 1.3, "ceiling_m": 3.8}
    first = []
    for said, normal, away in walls:
        towards = rays() @ normal
        want = np.where(towards > 1e-9, away / np.where(towards > 1e-9, towards, 1), np.inf)
        first.append(want)
        got = Room(**said, horizon_px=horizon, vanishing_px=vanishing).distance_m(SHAPE, SCALE)
        near = want < 100  # farther than that the floor of 900 m below comes in
        np.testing.assert_allclose(got[near], want[near], rtol=1e-5)
        whole |= {name: metres for name, metres in said.items() if metres < 900}
    whole["ceiling_m"] = 1.3 + 2.5
    got = Room(**whole, horizon_px=horizon, vanishing_px=vanishing).distance_m(SHAPE, SCALE)
    np.testing.assert_allclose(got, np.min(first, axis=0), rtol=1e-5)


def test_an_open_room_ends_nowhere():
    got = Room(camera_m=1.5).distance_m(SHAPE, SCALE)
    # The middle of 40 rows lies between two: above it nothing is met.
    assert np.isinf(got[:20]).all()
    assert np.isfinite(got[20:]).all()
    assert got[20, 30] == pytest.approx(1.5 / 0.5 * SCALE * math.hypot(1, 0.5 / SCALE), rel=1e-6)


@pytest.mark.parametrize("name", ["camera_m", "back_m", "left_m", "right_m", "ceiling_m"])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_lengths_of_a_room_are_above_nothing(name: str, value: float):
    with pytest.raises(ParameterError, match=name):
        Room(**{name: value})


@pytest.mark.parametrize("name", ["horizon_px", "vanishing_px"])
def test_lines_may_meet_outside_the_frame_but_somewhere(name: str):
    place: dict[str, Any] = {name: -20.0}
    assert getattr(Room(**place), name) == -20
    with pytest.raises(ParameterError, match=name):
        Room(**{name: math.nan})


def test_a_ceiling_is_above_the_lens():
    assert Room(camera_m=1.6, ceiling_m=1.7).ceiling_m == 1.7
    for height in (1.6, 1.5):
        with pytest.raises(ParameterError, match=r"above the lens \(1\.6 m\)"):
            Room(camera_m=1.6, ceiling_m=height)
