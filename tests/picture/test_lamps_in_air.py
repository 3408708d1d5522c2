"""Lamps found in a frame, or pointed at."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from frontglass.accuracy import ACCURACY
from frontglass.errors import ParameterError
from frontglass.picture.lamp_distance import LampSurfaces
from frontglass.picture.lamp_place import LampPlace
from frontglass.picture.lamps_in_air import LAMP_PATCH_RAD, lamps_in
from frontglass.picture.marks import marks_from_texts
from frontglass.picture.recovery import LampMark

HEIGHT, WIDTH, PX_PER_RAD = 120, 200, 180.0


def night(*spots) -> tuple[np.ndarray, np.ndarray]:
    """Dim frame with squares of light: (row, column, half side, level); the wall is 8 m away."""
    light = np.full((HEIGHT, WIDTH, 3), 0.02, np.float32)
    distance = np.full((HEIGHT, WIDTH), 8.0, np.float32)
    for row, column, half, level in spots:
        part = np.s_[row - half : row + half + 1, column - half : column + half + 1]
        light[part] = level
        distance[part] = 2 + column / 100
    return light, distance


def test_an_even_frame_has_no_lamp():
    light = np.full((9, 7, 3), 5.0, np.float32)
    lamps, rest, *_ = lamps_in(light, np.ones((9, 7), np.float32), 50.0)
    assert lamps == ()
    np.testing.assert_allclose(rest, 5.0, rtol=1e-6)


def test_a_lamp_is_three_stops_above_the_mean_and_not_less():
    mean = 0.02 * (1 - 9 / (HEIGHT * WIDTH))
    for level, found in ((7.9, 0), (8.1, 1)):
        light, distance = night((30, 40, 1, level * mean / (1 - 9 * level / (HEIGHT * WIDTH))))
        assert len(lamps_in(light, distance, PX_PER_RAD)[0]) == found


def test_lamps_are_found_with_their_distance_brightest_first():
    light, distance = night((30, 40, 1, (30, 20, 10)), (80, 150, 1, (90, 80, 70)))
    lamps, rest, *_ = lamps_in(light, distance, PX_PER_RAD)
    assert [lamp.distance_m for lamp in lamps] == pytest.approx([3.5, 2.4])
    x, y = lamps[0].tangents
    assert x * PX_PER_RAD == pytest.approx(150.5 - WIDTH / 2, abs=0.01)
    assert y * PX_PER_RAD == pytest.approx(80.5 - HEIGHT / 2, abs=0.01)
    np.testing.assert_allclose(rest, 0.02, rtol=1e-2)


@pytest.mark.source("Lambert1760", "radiance times solid angle, that of a rectangle in closed form")
def test_light_of_a_lamp_is_its_radiance_times_its_solid_angle():
    light, distance = night((30, 40, 4, 50.0))
    light[..., :] = np.where(light > 1, light, 0)
    lamps, *_ = lamps_in(light, distance, PX_PER_RAD)
    left, right, top, bottom = (36 - 100, 45 - 100, 26 - 60, 35 - 60)
    corner = lambda x, y: math.atan(  # noqa: E731  # the solid angle of a rectangle from its corner
        x * y / (PX_PER_RAD * math.sqrt(PX_PER_RAD**2 + x * x + y * y))
    )
    solid = corner(right, bottom) - corner(left, bottom) - corner(right, top) + corner(left, top)
    assert sum(lamp.illuminance[0] for lamp in lamps) == pytest.approx(50 * solid, rel=1e-4)


def test_exposure_makes_no_lamp():
    light, distance = night((30, 40, 1, 30.0), (80, 150, 1, 1.0))
    lamps, rest, *_ = lamps_in(light, distance, PX_PER_RAD)
    brighter, more, *_ = lamps_in(light * 4, distance, PX_PER_RAD)
    assert len(brighter) == len(lamps)
    assert [b.illuminance[0] for b in brighter] == pytest.approx(
        [4 * lamp.illuminance[0] for lamp in lamps]
    )
    assert more == pytest.approx([4 * part for part in rest])
    # However little light there is.
    small, near = light[20:50, 30:60] * np.float32(1e-5), distance[20:50, 30:60]
    share = lamps_in(small, near, PX_PER_RAD).lamp_share
    assert share > 0.1
    assert share == pytest.approx(lamps_in(small * 1e5, near, PX_PER_RAD).lamp_share)


def test_a_long_tube_is_several_lamps():
    light, distance = night()
    light[50:53, 60:140] = 40.0
    lamps, *_ = lamps_in(light, distance, PX_PER_RAD)
    assert 5 < len(lamps) <= ACCURACY.lamps_in_air
    places = sorted(lamp.tangents[0] for lamp in lamps)
    assert all(b - a < 0.06 for a, b in pairwise(places))
    whole = sum(lamp.illuminance[1] for lamp in lamps)
    assert whole == pytest.approx(40 * 240 / PX_PER_RAD**2, rel=0.1)


def test_the_sky_and_specks_are_no_lamps():
    light, distance = night((30, 40, 2, 100.0), (80, 150, 0, 5.0), (30, 120, 2, 100.0))
    distance[28:33, 38:43] = np.inf
    lamps, rest, *_ = lamps_in(light, distance, PX_PER_RAD)
    assert [round(lamp.distance_m, 2) for lamp in lamps] == [3.2]
    assert rest[0] > 0.02


class TestMarks:
    def test_a_mark_names_its_lamp_and_distance(self):
        light, distance = night((30, 40, 1, 30.0), (80, 150, 1, 0.1))
        marks = [LampPlace(x_px=151, y_px=80, distance_m=5.0)]
        lamps, *_ = lamps_in(light, distance, PX_PER_RAD, marks)
        assert [lamp.distance_m for lamp in lamps] == [5.0]
        assert lamps[0].illuminance[2] == pytest.approx(0.9 / PX_PER_RAD**2, rel=0.25)

    def test_no_marks_no_lamps(self):
        light, distance = night((30, 40, 1, 30.0))
        assert lamps_in(light, distance, PX_PER_RAD, []).lamps == ()

    @pytest.mark.parametrize(("x", "y"), [(500, 3), (3, 500)])
    def test_a_mark_outside_the_frame_is_refused(self, x, y):
        light, distance = night()
        with pytest.raises(ParameterError, match="inside the still's 200 x 120 px"):
            lamps_in(light, distance, PX_PER_RAD, [LampPlace(x_px=x, y_px=y)])

    def test_a_mark_on_black_is_refused(self):
        light, distance = night()
        with pytest.raises(ParameterError, match="not black"):
            lamps_in(light * 0, distance, PX_PER_RAD, [LampPlace(x_px=5, y_px=5)])

    @pytest.mark.parametrize(
        "text", ["", "3", "3,4,5,6", "3,4,1m,2m", "a,b", "3,4,0m", "-1,4", "3,4,nanm", "3,4,nan"]
    )
    def test_texts_that_are_no_mark(self, text):
        with pytest.raises(ParameterError):
            marks_from_texts([text])

    def test_texts(self):
        assert marks_from_texts(["3, 4"]) == ((LampPlace(x_px=3, y_px=4),), ())
        assert marks_from_texts(["3,4,5.5m"]) == ((LampPlace(x_px=3, y_px=4, distance_m=5.5),), ())
        assert marks_from_texts(["3,4,5.5"]) == ((), (LampMark(3, 4, 5.5),))
        places, levels = marks_from_texts(["3,4,8,5.5 m"])
        assert places == (LampPlace(x_px=3, y_px=4, distance_m=5.5),)
        assert levels == (LampMark(3, 4, 8),)


@pytest.mark.parametrize("width", [40, 41, 47])
def test_a_lamp_is_found_in_frames_of_any_width(width: int):
    light = np.full((60, width, 3), 0.02, np.float32)
    light[50:52, 6:8] = 9.0
    (lamp,), *_ = lamps_in(light, np.full((60, width), 3.0, np.float32), 500.0)
    right, down = lamp.tangents
    assert right * 500 + width / 2 == pytest.approx(7, abs=1e-3)
    assert down * 500 + 60 / 2 == pytest.approx(51, abs=1e-3)
    assert lamp.distance_m == 3


def test_a_tube_is_as_many_lamps_as_it_is_patches_long():
    light = np.full((60, 80, 3), 0.02, np.float32)
    light[30, 20:26] = 9.0
    distance = np.full((60, 80), 3.0, np.float32)
    for patch_px, count in ((1, 6), (2, 3), (3, 2)):
        lamps, *_ = lamps_in(light, distance, patch_px / LAMP_PATCH_RAD)
        assert len(lamps) == count
        shares = [lamp.illuminance[1] for lamp in lamps]
        np.testing.assert_allclose(shares, sum(shares) / count, rtol=0.2)


def test_a_mark_takes_the_lamp_it_points_at_and_no_other():
    light = np.full((60, 80, 3), 0.02, np.float32)
    light[20:23, 60:64] = 9.0
    light[20:23, 10:30] = 9.0
    distance = np.full((60, 80), 3.0, np.float32)
    # One pixel beside it, which is near enough.
    mark = LampPlace(x_px=59, y_px=21)
    lamps, *_ = lamps_in(light, distance, 5000.0, (mark,))
    right = [lamp.tangents[0] * 5000 + 40 for lamp in lamps]
    assert min(right) > 60
    assert max(right) < 64
    # The light of 3 x 4 pixels, nearly head on.
    total = sum(lamp.illuminance[1] for lamp in lamps)
    assert total == pytest.approx(12 * 9 / 5000**2, rel=1e-3)


@pytest.mark.parametrize(("on_sky", "away"), [(3, 3.0), (4, 3.0), (5, 3.0), (6, np.inf)])
def test_a_lamp_is_on_the_sky_where_most_of_its_light_is(on_sky: int, away: float):
    # One row: all of its pixels lie as near to the edge, and each has the same vote.
    light = np.ones((1, 10), np.float32)
    distance = np.where(np.arange(10) < on_sky, np.inf, 3.0)[np.newaxis].astype(np.float32)
    assert LampSurfaces(light, distance, light > 0).nearest_m() == away


@pytest.mark.parametrize("marks", [None, ()])
def test_a_frame_without_light_has_no_lamps_and_no_share_of_theirs(marks: tuple[()] | None):
    light, away = np.zeros((20, 30, 3), np.float32), np.full((20, 30), 3, np.float32)
    found = lamps_in(light, away, 50, marks)
    assert (found.lamps, found.rest, found.lamp_share) == ((), (0, 0, 0), 0)


@pytest.mark.parametrize(("ground", "share"), [(0.0, 1 / 32), (0.05, None), (3.0, 1 / 4)])
def test_a_marked_lamp_reaches_down_to_a_share_of_its_peak_where_that_is_light_of_a_lamp(
    ground: float, share: float | None
):
    """A 32nd of it in the dark; three stops above the mean of the frame; a quarter at the most."""
    rows, columns = np.mgrid[:90, :120]
    blurred = 16 * np.exp(-np.hypot(rows - 40, columns - 60) / 1.5)
    light = np.repeat((blurred + ground)[..., np.newaxis], 3, axis=2).astype(np.float32)
    mark = LampPlace(x_px=60, y_px=40, distance_m=3.0)
    found = lamps_in(light, np.full((90, 120), 9.0, np.float32), 300.0, (mark,))
    grey = light.mean(axis=2)
    least = 8 * grey.mean() if share is None else share * grey.max()
    assert grey.max() / 32 <= least * 1.0001
    assert least <= grey.max() / 4 * 1.0001
    np.testing.assert_array_equal(found.mask((90, 120)), grey >= least)
    assert {lamp.distance_m for lamp in found.lamps} == {3.0}
