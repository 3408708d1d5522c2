"""The list for the rental counter: everything in its column, row under row, page after page."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from frontglass.sheets.lettering import text_width_px
from frontglass.sheets.pdf import A4_STANDING_PX
from frontglass.sheets.rental import (
    BOX_PX,
    COLUMNS,
    MARGIN_PX,
    SMALL_PX,
    TEXT_PX,
    TITLE_PX,
    RentalRow,
    rental_pages,
)
from tests.sheets.conftest import Laid

WORDS = "one or two words more than stand in any column of the list side by side "
LONG = RentalRow(
    piece=WORDS, about=(WORDS, "", WORDS), loss=WORDS, stills=WORDS, instead=(WORDS, WORDS)
)
SHORT = RentalRow(piece="late-tram 1/2", about=(), loss="0.1", stills="all", instead=())


def texts(laid: Laid) -> list[tuple[float, float, str]]:
    """Left end, baseline and words of all that was written."""
    return [(stroke[1], stroke[2], stroke[3]) for stroke in laid.strokes if stroke[0] == "text"]


def boxes(laid: Laid) -> list[list[Any]]:
    return [stroke[1:5] for stroke in laid.strokes if stroke[0] == "rectangle"]


def test_a_list_fills_the_page_between_its_margins():
    assert MARGIN_PX + sum(width for _, width in COLUMNS) <= A4_STANDING_PX[0] - MARGIN_PX


def test_words_stay_in_their_columns_and_reach_far_into_them(laid: Laid):
    rental_pages("Filters", (), [LONG], "Looks.")
    lefts = list(itertools.accumulate((width for _, width in COLUMNS), initial=MARGIN_PX))
    heads = [text for text in texts(laid) if text[2] in {name for name, _ in COLUMNS}]
    assert [left for left, *_ in heads] == lefts[:-1]
    below = [text for text in texts(laid) if text[1] > heads[-1][1]]
    for left, right in itertools.pairwise(lefts[1:]):
        own = [text for text in below if text[0] == left]
        assert len(own) > 3
        # Not yet at the column of what stands beside it; each line as full as its words let it be.
        sizes = (TEXT_PX, SMALL_PX)
        widest = max(text_width_px(words, min(sizes)) for _, _, words in own)
        assert left + widest <= right - 15
        assert left + max(text_width_px(words, max(sizes)) for _, _, words in own) > right - 90
    assert {left for left, *_ in below} == {*lefts[1:-1], MARGIN_PX}  # and the foot


def test_head_and_foot_use_the_width_of_the_page(laid: Laid):
    rental_pages(WORDS * 2, (WORDS * 3,), [SHORT], WORDS * 4)
    width = A4_STANDING_PX[0]
    for size, words in ((TITLE_PX, 1), (TEXT_PX, 1), (SMALL_PX, 1)):
        lines = [text for text in texts(laid) if text[0] == MARGIN_PX and len(text[2]) > 20 * words]
        ends = [MARGIN_PX + text_width_px(text, size) for _, _, text in lines]
        fitting = [end for end in ends if end <= width - MARGIN_PX + 1]
        # Lines of that size end within a word of the margin.
        assert max(fitting) > width - MARGIN_PX - 8 * size


@pytest.mark.parametrize("row", [LONG, SHORT])
def test_rows_stand_under_one_another_and_none_is_cut(laid: Laid, row: RentalRow):
    pages = rental_pages("Filters", ("Ferry",), [row] * 40, "Looks.")
    assert len(pages) > 1
    width, height = A4_STANDING_PX
    assert all(page.codes.shape == (height, width, 3) for page in pages)
    ticks = boxes(laid)
    assert len(ticks) == 40  # a box to tick for each piece
    assert {(left, right) for left, _, right, _ in ticks} == {(MARGIN_PX, MARGIN_PX + BOX_PX)}
    assert {bottom - top for _, top, _, bottom in ticks} == {BOX_PX}
    tops = [top for _, top, _, _ in ticks]
    steps = {b - a for a, b in itertools.pairwise(tops) if b > a}
    assert len(steps) == 1
    starts = [0] + [n + 1 for n, (a, b) in enumerate(itertools.pairwise(tops)) if b < a]
    assert len(starts) == len(pages)
    assert len({tops[start] for start in starts}) == 1
    # The foot stands clear of the last row of a full page, and the next row would have met it.
    lowest = max(tops) + steps.pop()
    foot = height - MARGIN_PX - SMALL_PX
    assert lowest < foot
    said = [text for _, _, text in texts(laid) if "page" in text]
    assert said == [f"Looks. · page {n} of {len(pages)}" for n in range(1, len(pages) + 1)]


def test_a_row_longer_than_a_page_is_set_all_the_same(laid: Laid):
    endless = RentalRow(piece="x", about=(WORDS,) * 60, loss="", stills="", instead=())
    pages = rental_pages("Filters", (), [SHORT, endless, SHORT], "Looks.")
    assert len(pages) == 3
    assert len(boxes(laid)) == 3


def test_a_box_is_empty_and_its_edge_is_ink(laid: Laid):
    (page,) = rental_pages("Filters", (), [SHORT], "Looks.")
    ((left, top, right, bottom),) = boxes(laid)
    inner = page.codes[int(top) + 3 : int(bottom) - 2, int(left) + 3 : int(right) - 2]
    assert (inner == 255).all()
    np.testing.assert_array_equal(page.codes[int(top), int(left) : int(right)], 20)
