"""Plots: curves stand where their axes say."""

from __future__ import annotations

import numpy as np
import pytest

from frontglass.sheets.plots import LINES, PAPER, Axis, Series, plot, swatch
from frontglass.sheets.sheet import SURROUND, TEXT


@pytest.mark.parametrize("high", [0.7, 3, 82.3, 1000])
def test_axes_have_round_marks_that_reach_into_the_last_fifth(high):
    axis = Axis.to("x", high)
    assert 3 <= len(axis.marks) <= 11
    assert axis.marks[0] == 0
    assert 0.79 * high < axis.marks[-1] <= high * 1.001


@pytest.mark.parametrize(("high", "step"), [(5, 1), (10, 2), (12, 2.5), (25, 5), (50, 10)])
def test_steps_of_an_axis_are_round(high, step):
    assert Axis.to("x", high).step == pytest.approx(step)


UNIT = Axis("x", 0, 1, 0.5), Axis("y", 0, 1, 0.5)


def drawn(line: Series) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Codes of a plot with one line, and the ends of its paper: rows, then columns."""
    codes = plot([line], *UNIT, size_px=(400, 300), type_px=14)
    paper = np.all(codes == PAPER, axis=2)
    rows, columns = (np.flatnonzero(paper.any(axis=axis))[[0, -1]] for axis in (1, 0))
    return codes.astype(int), rows, columns


def test_a_level_line_stands_at_its_share_of_the_height():
    codes, (top, bottom), _ = drawn(Series([0.0, 1.0], [0.25, 0.25], number=0))
    line = np.abs(codes - LINES[0]).sum(axis=2) < 60
    row = np.flatnonzero(line.sum(axis=1) > 200).mean()
    assert row == pytest.approx(bottom - 0.25 * (bottom - top), abs=2)


def test_an_axis_need_not_begin_at_nothing():
    axis = Axis("x", 2.0, 6.0, 1.0)
    assert axis.marks == [2, 3, 4, 5, 6]
    assert [axis.share(value) for value in (2.0, 3.0, 6.0)] == [0, 0.25, 1]


def test_a_dashed_line_runs_along_its_slope():
    codes, (top, bottom), (left, right) = drawn(Series([0.0, 1.0], [0.2, 0.8], number=1))
    rows, columns = np.nonzero(np.abs(codes - LINES[1]).sum(axis=2) < 90)
    height = (bottom - rows) / (bottom - top)
    along = (columns - left) / (right - left)
    np.testing.assert_allclose(height, 0.2 + 0.6 * along, atol=0.03)


def test_what_is_no_number_is_left_out_and_dashes_leave_gaps():
    across, up = Axis("x", 0, 1, 0.5), Axis("y", 0, 1, 0.5)
    gappy = Series([0.0, 0.5, 1.0], [0.6, float("nan"), 0.6], number=1)
    codes = plot([gappy], across, up, size_px=(400, 300), type_px=14)
    line = np.abs(codes.astype(int) - LINES[1]).sum(axis=2) < 90
    filled = line.any(axis=0).sum()
    assert 100 < filled < 330


def test_a_swatch_has_its_series_colour():
    assert (swatch(Series([], []), (30, 12)) == TEXT).all(axis=2).any()


def test_titles_stand_over_the_plot_and_under_its_middle():
    across, up = Axis("mmmm", 0, 1, 0.5), Axis("y", 0, 1, 0.5)
    codes = plot([], across, up, size_px=(400, 300), type_px=20)
    paper = np.all(codes == PAPER, axis=2)
    rows, columns = (np.flatnonzero(paper.any(axis=k)) for k in (1, 0))
    # 1.8 lines above it, 3.2 below, and one at the right.
    assert (rows[0], rows[-1]) == pytest.approx((36, 300 - 64), abs=6)
    assert columns[-1] == pytest.approx(400 - 20, abs=6)
    title = np.flatnonzero((codes[-18:] != SURROUND).any(axis=(0, 2)))
    assert (title[0] + title[-1]) / 2 == pytest.approx((columns[0] + columns[-1]) / 2, abs=3)


def test_a_swatch_is_level_and_stands_in_the_middle():
    codes = swatch(Series([], []), (30, 12)).astype(int)
    assert (codes == codes[:, :1]).all()
    weight = codes[:, 0, 0] - SURROUND[0]
    assert (weight * np.arange(12)).sum() / weight.sum() == pytest.approx(5.5, abs=0.51)


def test_each_mark_has_its_number():
    type_px = 20
    marked, bare = (
        plot([], Axis("", 0, 1, step), Axis("", 0, 1, step), size_px=(400, 300), type_px=type_px)
        for step in (0.25, 2.0)
    )
    paper = np.all(marked == PAPER, axis=2)
    rows, columns = (np.flatnonzero(paper.any(axis=k)) for k in (1, 0))
    under = (marked[rows[-1] + 2 :] != SURROUND).any(axis=(0, 2))
    # Numbers stand apart: count the gaps between them that are wider than one between letters.
    lit = np.flatnonzero(under)
    assert (np.diff(lit) > type_px).sum() + 1 == 5
    beside = np.flatnonzero((marked[:, : columns[0] - 6] != SURROUND).any(axis=(1, 2)))
    assert (np.diff(beside) > type_px).sum() + 1 == 5
    assert (bare != SURROUND).any()


def test_an_axis_of_powers_of_ten_is_told_in_what_it_shows() -> None:
    axis = Axis("angle, degrees", -1.5, 1.5, 0.5, tens=True)
    assert [axis.told(mark) for mark in axis.marks] == ["0.03", "0.1", "0.3", "1", "3", "10", "30"]
