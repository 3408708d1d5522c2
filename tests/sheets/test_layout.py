"""Where the cells of a sheet stand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.sheets.layout import (
    close_up_size,
    columns_for,
    grid,
    scale_text,
    size_in,
    size_within,
)

SIDES = st.integers(1, 9000)


@given(count=st.integers(1, 30), width=SIDES, height=SIDES, room=st.integers(800, 4000))
def test_all_cells_fit_and_no_row_is_empty(count: int, width: int, height: int, room: int):
    cells = grid(count, (width, height), width_px=room, gap_px=12)
    assert cells.width_px <= room
    assert cells.cell_width_px <= cells.column_px
    assert cells.columns * cells.rows >= count > cells.columns * (cells.rows - 1)


@pytest.mark.parametrize(
    ("still", "columns"),
    [((1920, 1080), 3), ((1500, 1000), 3), ((1000, 1500), 3), ((4000, 500), 1), ((2390, 1000), 2)],
)
def test_six_stills_stand_calmly(still: tuple[int, int], columns: int):
    assert grid(6, still, width_px=2200, gap_px=30).columns == columns


def test_columns_can_be_chosen():
    assert grid(6, (1920, 1080), width_px=2200, gap_px=30, columns=2).rows == 3


@pytest.mark.parametrize("columns", [0, 7, -1])
def test_columns_that_make_no_grid_are_refused(columns: int):
    with pytest.raises(ParameterError, match="columns must be from 1 to 6"):
        grid(6, (1920, 1080), width_px=2200, gap_px=30, columns=columns)


def test_columns_without_room_are_refused():
    with pytest.raises(ParameterError, match="few enough"):
        grid(200, (1920, 1080), width_px=300, gap_px=8, columns=200)


@given(width=SIDES, height=SIDES, room=st.integers(1, 4000))
def test_a_still_keeps_its_shape_and_small_ones_grow_whole_times(
    width: int, height: int, room: int
):
    shown_width, shown_height = size_in((width, height), room)
    assert shown_width <= room
    if width <= room:
        assert shown_width % width == 0
        assert shown_height == height * (shown_width // width)
    else:
        assert math.isclose(shown_height, max(1, height * room / width), abs_tol=0.5)


@given(width=SIDES, height=SIDES, count=st.integers(1, 12))
def test_close_ups_fit_the_sheet_whole_times_or_reduced(width: int, height: int, count: int):
    shown = close_up_size((width, height), count, width_px=2200, gap_px=30)
    assert shown[0] <= 2200
    assert shown[1] <= 0.4 * 2200
    assert columns_for(shown[0], width_px=2200, gap_px=30) >= 1
    if shown[0] >= width and shown[1] >= height:
        assert shown[0] % width == 0
        assert shown[0] // width == shown[1] // height


def test_a_close_up_that_would_be_small_in_one_row_takes_two():
    assert close_up_size((180, 120), 6, width_px=2265, gap_px=29) == (720, 480)
    assert close_up_size((100, 80), 6, width_px=2265, gap_px=29) == (300, 240)


@pytest.mark.parametrize(
    ("shown", "text"),
    [(100, "pixel for pixel"), (50, "reduced to 50 %"), (400, "enlarged 4 times")],
)
def test_scale_is_said_in_words(shown: int, text: str):
    assert scale_text(100, shown) == text


def test_only_the_width_says_whether_a_close_up_is_large_enough():
    # One row: 250 px for each, 4 times 60; wide enough at 240 of 1000, though only 80 high.
    assert close_up_size((60, 20), 4, width_px=1000, gap_px=0) == (240, 80)


def test_a_thin_close_up_keeps_one_row_of_pixels():
    assert close_up_size((1000, 2), 2, width_px=100, gap_px=0) == (100, 1)
    assert close_up_size((2, 1000), 2, width_px=100, gap_px=0) == (1, 40)


def test_columns_of_tall_stills_leave_their_captions_room():
    cells = grid(4, (10, 2000), width_px=1000, gap_px=0, columns=4)
    # As high as 1.2 widths of the sheet, and so 6 px wide; a caption needs 8 % of the sheet.
    assert (cells.cell_width_px, cells.cell_height_px) == (6, 1200)
    assert cells.column_px == 80


def test_as_many_cells_stand_side_by_side_as_fit_with_their_gaps():
    assert columns_for(100, width_px=640, gap_px=10) == 5
    assert columns_for(100, width_px=650, gap_px=10) == 6
    assert columns_for(900, width_px=640, gap_px=10) == 1


def test_a_close_up_at_its_own_size_takes_two_rows_to_be_twice_as_large():
    assert close_up_size((200, 50), 4, width_px=1000, gap_px=0) == (400, 100)
    # Twice as large is enough: a third row would be three times.
    assert close_up_size((125, 50), 4, width_px=1000, gap_px=0) == (250, 100)


def test_close_ups_too_small_to_look_into_take_another_row():
    # Twelve in a row of 1000 px: 80 px each, less than a tenth; six in a row: 160.
    assert close_up_size((40, 20), 12, width_px=1000, gap_px=0) == (160, 80)


def test_a_line_keeps_a_pixel_of_height_and_of_width():
    assert size_within((1000, 2), 100) == (100, 1)
    assert size_within((2, 1000), 100, 100) == (1, 100)
    assert size_in((1000, 2), 100) == (100, 1)
    assert close_up_size((1000, 1), 3, width_px=600, gap_px=5)[1] == 1
