"""What stands exactly at a border: of a frame, of a page, of a scale."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import frontglass as fg
from frontglass.picture.encoding import Encoding
from frontglass.sheets.boiling import BoilingLamp, lamps_of
from frontglass.sheets.crop import crop_of
from frontglass.sheets.distance_page import FAR_SHADE, NEAR_SHADE, _about, shaded_distances
from frontglass.sheets.ladder import still_facts
from frontglass.sheets.lamp_map import ghost_map, lamp_map
from frontglass.sheets.layout import column_px, columns_for, grid, size_within
from frontglass.sheets.learned import FULL_STOPS, GREY, LESS, MORE, NOT_COMPARED, difference_codes
from frontglass.sheets.sway import (
    BESIDE_GAP_PX,
    Loop,
    _lamps_only,
    _panned,
    _verdict,
    check_loop_suffix,
    side_by_side,
    write_loop,
)
from tests.sheets.conftest import Laid
from tests.sheets.test_lamp_map import ghost

SIDES = st.integers(1, 6000)
CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=36)


@settings(max_examples=40)
@given(columns=st.integers(1, 12), width=st.integers(400, 4000), gap=st.integers(0, 20))
def test_columns_fill_a_width_but_for_less_than_a_pixel_each(columns: int, width: int, gap: int):
    column = column_px(columns, width_px=width, gap_px=gap)
    filled = columns * column + (columns - 1) * gap
    assert filled <= width < filled + columns


@settings(max_examples=40)
@given(cell=st.integers(1, 900), width=st.integers(400, 4000), gap=st.integers(0, 40))
def test_one_more_cell_would_not_fit(cell: int, width: int, gap: int):
    count = columns_for(cell, width_px=width, gap_px=gap)
    assert count * cell + (count - 1) * gap <= width or count == 1
    assert (count + 1) * cell + count * gap > width


@settings(max_examples=40)
@given(width=SIDES, height=SIDES, most=SIDES, tallest=SIDES)
def test_what_is_too_large_touches_what_it_must_fit(
    width: int, height: int, most: int, tallest: int
):
    shown = size_within((width, height), most, tallest)
    if width <= most and height <= tallest:
        assert shown == (width, height)
        return
    assert shown[0] <= most
    assert shown[1] <= tallest
    assert shown[0] == most or shown[1] == tallest
    share = min(most / width, tallest / height)
    assert shown[0] == pytest.approx(max(1, share * width), abs=0.5)
    assert shown[1] == pytest.approx(max(1, share * height), abs=0.5)


@settings(max_examples=40)
@given(count=st.integers(1, 12), width=SIDES, height=SIDES, columns=st.integers(1, 12))
def test_a_grid_is_as_wide_as_its_columns_and_the_room_between(
    count: int, width: int, height: int, columns: int
):
    cells = grid(max(count, columns), (width, height), width_px=1500, gap_px=9, columns=columns)
    assert cells.columns == columns
    assert cells.width_px == columns * cells.column_px + (columns - 1) * 9
    # As high as 1.2 widths of the sheet at most, but for what half a pixel of width makes of that.
    assert cells.cell_height_px <= max(1.2 * 1500 + height / width / 2, height / width) + 1
    if cells.cell_width_px > width:
        assert cells.cell_width_px % width == 0


@settings(max_examples=40)
@given(
    size=st.tuples(st.integers(20, 400), st.integers(20, 400)),
    aspect=st.floats(0.3, 3.5),
    share=st.floats(0, 1),
    inset=st.tuples(*[st.integers(0, 9)] * 4),
)
def test_a_crop_is_the_largest_of_its_shape_and_stands_where_it_is_said(size, aspect, share, inset):
    still = fg.Picture(radiance=np.zeros((size[1], size[0], 3), np.float32))
    left, top, right, bottom = inset
    within = fg.Region(left, top, size[0] - left - right, size[1] - top - bottom)
    region = crop_of(still, aspect, share=share, within=within).region
    assert region.width_px == within.width_px or region.height_px == within.height_px
    if region.width_px < within.width_px:
        assert region.width_px == pytest.approx(aspect * region.height_px, abs=0.5)
    if region.height_px < within.height_px:
        assert region.height_px == pytest.approx(region.width_px / aspect, abs=0.5)
    for start, length, whole, all_of_it in (
        (region.x_px, region.width_px, left, within.width_px),
        (region.y_px, region.height_px, top, within.height_px),
    ):
        assert start - whole == pytest.approx(share * (all_of_it - length), abs=0.5)
    assert crop_of(still, None, within=within).region == within


def test_ghosts_beyond_the_frame_are_left_out_even_if_they_touch_it(laid: Laid):
    still = fg.Picture(radiance=np.full((100, 200, 3), 0.1, np.float32))
    inside, outside = (-2.4, 50, 202.4, 50, 80, -2.4, 80, 102.4), (-3, 50, 203, 50, 80, -3, 80, 103)
    for places, count in ((inside, 4), (outside, 0)):
        laid.boxes.clear()
        for x, y in zip(places[::2], places[1::2], strict=True):
            ghost_map(still, [ghost((x, y), (-500, -500), 0.1)], (0, 0))
        assert len(laid.boxes) == count
    ghost_map(still, [ghost((50, 50), (150, 50), 1.5)], (0, 0))
    assert laid.boxes[-1][4].lines == ("1 ghost 150 %",)


def test_boxes_of_lamps_keep_three_pixels_of_room_and_stay_inside(laid: Laid):
    light = np.full((90, 150, 3), 0.05, np.float32)
    for x, y in ((0, 0), (1, 60), (60, 40), (145, 85)):
        light[y : y + 5, x : x + 5] = 1.0
    found = fg.with_recovered_light(fg.Picture(radiance=light, encoding=Encoding.srgb()))
    lamp_map(found.picture, found.lamps)
    boxes = {box[:4] for box in laid.boxes}
    assert boxes == {(0, 0, 8, 8), (0, 57, 9, 11), (57, 37, 11, 11), (142, 82, 8, 8)}
    assert {box[4].lines[0].split(":")[0] for box in laid.boxes} == set("1234")
    laid.boxes.clear()
    still = fg.with_recovered_light(found.picture, fg.Recovery(clipped=0)).picture
    lamp_map(still, fg.with_recovered_light(still, fg.Recovery(clipped=0)).lamps[:1])
    assert laid.boxes[0][4].lines == ("1: white",)


def test_what_is_nearer_or_farther_than_nearly_all_has_the_last_shades():
    away = np.geomspace(2, 20, 9000, dtype=np.float32).reshape(90, 100)
    away[0, :3], away[-1, -3:] = 0.01, 5000.0
    shades = shaded_distances(away, (100, 90))
    assert (shades[0, :3] == NEAR_SHADE).all()
    assert (shades[-1, -3:] == FAR_SHADE).all()
    assert (np.diff(shades[1:-1, 50, 0].astype(int)) < 0).all()
    # Halfway in the logarithm is halfway in shade.
    assert shades[45, 0, 0] == pytest.approx((NEAR_SHADE + FAR_SHADE) / 2, abs=2)


@pytest.mark.parametrize(("sky", "said"), [(4, ""), (5, "0 % sky"), (8, "1 % sky"), (500, "50 %")])
def test_sky_is_told_from_half_a_percent_on(sky: int, said: str):
    away = np.full(1000, 3.0, np.float32)
    away[:sky] = np.inf
    text = _about(away.reshape(10, 100), (), CAMERA)
    assert (said in text) if said else ("sky" not in text)
    assert text.startswith("3 to 3 m")
    assert "no lamps" in text


@pytest.mark.parametrize("size", [(53, 71), (52, 70), (65, 49)])
def test_a_film_has_even_sides(tmp_path: Path, size: tuple[int, int]):
    frames = tuple(np.full((size[1], size[0], 3), 40 * n, np.uint8) for n in range(1, 6))
    write_loop(tmp_path / "a.mp4", Loop(frames, ""))
    film = cv2.VideoCapture(str(tmp_path / "a.mp4"))
    sides = [
        round(film.get(side)) for side in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT)
    ]
    assert sides == [side // 2 * 2 for side in size]
    assert film.get(cv2.CAP_PROP_FPS) == 12
    for frame in frames:
        assert film.read()[1].mean() == pytest.approx(frame.mean(), abs=3)
    film.release()


@pytest.mark.parametrize("name", ["a.WebP", "b.gif", "c.MP4"])
def test_endings_of_loops_are_taken_in_capitals_too(name: str):
    check_loop_suffix(Path(name))


def test_light_of_exactly_white_is_a_lamps():
    light = np.full((20, 30, 3), 0.9, np.float32)
    light[3:5, 4:8, 1] = 1.0
    light[12, 20] = (0.2, 0.1, 7.0)
    still = fg.Picture(radiance=light)
    only = _lamps_only(light)
    assert sum(lamp.flux for lamp in lamps_of(still)) == pytest.approx(only.max(axis=2).sum())
    np.testing.assert_array_equal(only[3:5, 4:8], light[3:5, 4:8])
    np.testing.assert_array_equal(only[12, 20], light[12, 20])
    assert np.count_nonzero(only.max(axis=2)) == 9
    assert [lamp.radius_px for lamp in lamps_of(still)] == pytest.approx(
        [math.sqrt(8 / math.pi), math.sqrt(1 / math.pi)]
    )


def test_loops_side_by_side_keep_their_pixels_and_a_gap(laid: Laid):
    loops = [
        Loop(tuple(np.full((30, 200, 3), 10 * k + n, np.uint8) for n in range(3)), f"said {k}")
        for k in (5, 9, 14)
    ]
    whole = side_by_side(loops, ["one", "two", "three"])
    assert whole.verdict == "one: said 5\ntwo: said 9\nthree: said 14"
    assert len(whole.frames) == 3
    band = whole.frames[0].shape[0] - 30
    assert whole.frames[0].shape == (band + 30, 3 * 200 + 2 * BESIDE_GAP_PX, 3)
    for n, frame in enumerate(whole.frames):
        for place, k in enumerate((5, 9, 14)):
            left = place * (200 + BESIDE_GAP_PX)
            assert (frame[band:, left : left + 200] == 10 * k + n).all()
    # Names stand over their own loops, above the pictures.
    assert [said.text for said in laid.texts] == ["one", "two", "three"]
    for place, said in enumerate(laid.texts):
        left = place * (200 + BESIDE_GAP_PX)
        assert left < said.x < left + 20
        assert said.y >= 0
        assert said.end < band + 1


def test_colours_of_a_difference_are_full_where_it_is_and_grey_where_there_is_none():
    stops = np.array([[0, FULL_STOPS, -FULL_STOPS, 3, -3, FULL_STOPS / 2, 1]], np.float32)
    held = np.array([[True] * 6 + [False]])
    codes = difference_codes(stops, held)[0]
    half = np.rint((GREY + MORE) / 2)
    wanted = [GREY, MORE, LESS, MORE, LESS, half, NOT_COMPARED]
    np.testing.assert_array_equal(codes, np.array(wanted, np.uint8))


@pytest.mark.parametrize(
    ("contrast", "word"),
    [(0.019, "not to be seen"), (0.021, "faint"), (0.1, "visible"), (0.3, "plain"), (1, "plain")],
)
def test_needles_deserve_a_word_by_their_contrast(contrast: float, word: str):
    """The eye sees a contrast of 2 % in fine detail; the other words are common practice."""
    lamps = [BoilingLamp(x_px=1, y_px=1, radius_px=radius, flux=1.0) for radius in (5.0, 2.0, 9.0)]
    asked = []

    def told(lamp: BoilingLamp, at: np.ndarray, _: int) -> np.ndarray:
        asked.append((lamp.radius_px, math.degrees(float(at[0]))))
        return np.array([contrast])

    boiling: Any = SimpleNamespace(structured=True, contrast=told)
    said = _verdict(boiling, CAMERA, lamps, 0.0, 1.0)
    assert f" % half a degree out ({word}); a pan of " in said
    # The smallest lamp has the plainest needles; half a degree is where they are looked for.
    ((radius, degrees),) = asked
    assert (radius, degrees) == pytest.approx((2.0, 0.5))


@pytest.mark.parametrize(
    ("stops", "said"),
    [(0.5, "0.5 stop brighter"), (-0.5, "0.5 stop darker"), (2.5, "2.5 stops brighter")],
)
def test_a_sheet_says_how_much_brighter_a_still_is_shown(stops: float, said: str):
    assert still_facts("scout.exr", stops) == ("scout.exr", f"shown {said}")
    assert still_facts("scout.exr", 0.0) == still_facts("scout.exr", "auto") == ("scout.exr",)


@pytest.mark.parametrize(
    ("size", "is_left"), [((18, 40), True), ((17, 40), False), ((40, 17), False)]
)
def test_a_pan_leaves_a_frame_of_sixteen_pixels_at_least(size: tuple[int, int], *, is_left: bool):
    still = fg.Picture(radiance=np.full((size[1], size[0], 3), 0.2, np.float32))
    if is_left:
        assert _panned(still, 0.7, 1.0, 0.0).shape == (38, 16, 3)  # a pixel off each side
    else:
        with pytest.raises(fg.ParameterError, match=r"pan_deg .* leave a frame, got 0\.7"):
            _panned(still, 0.7, 1.0, 0.0)
