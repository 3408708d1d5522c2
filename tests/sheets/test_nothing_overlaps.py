"""On no sheet does one thing stand on another, or beyond its margins, whatever is put on it."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
import pytest

import frontglass as fg
from frontglass.sheets.contact import ContactCell, ContactRow, contact_pages, small_copy
from frontglass.sheets.distance_page import distance_sheet
from frontglass.sheets.learned import ShownKernel, ShownPair, learned_sheet
from frontglass.sheets.lettering import text_width_px
from frontglass.sheets.spec import SpecColumn, spec_sheet
from tests.sheets.conftest import Laid

LONG = "a rather long name for what stands beside others of its kind"


class Box(NamedTuple):
    what: str
    left: float
    top: float
    right: float
    bottom: float


def boxes_of(laid: Laid) -> list[Box]:
    boxes = [
        Box("picture", x, y, x + codes.shape[1], y + codes.shape[0])
        for x, y, codes in laid.pictures
    ]
    for said in laid.texts:
        lines = said.lines
        wide = max(text_width_px(line, lines.size_px) for line in lines.lines)
        boxes.append(Box(said.text, said.x, said.y, said.x + wide, said.end))
    return boxes


def check(laid: Laid, size: tuple[int, int], margin: int) -> list[Box]:
    boxes = boxes_of(laid)
    width, height = size
    for one in boxes:
        assert margin <= one.left, one
        assert margin <= one.top, one
        # A letter may lean over by a part of itself.
        assert one.right <= width - margin + 1, one
        # Of the last line of a page the letters stand on the margin, and not what parts lines.
        assert one.bottom <= height - margin + 9, one
    for one, other in itertools.combinations(boxes, 2):
        is_beside = one.right <= other.left + 1 or other.right <= one.left + 1
        assert is_beside or one.bottom <= other.top or other.bottom <= one.top, (one, other)
    return boxes


def copy(width: int, height: int) -> ContactCell:
    return ContactCell(
        small_copy(fg.Picture(radiance=np.full((height, width, 3), 0.2, np.float32)))
    )


@pytest.mark.parametrize("columns", [0, 1, 2, 3, 4])
@pytest.mark.parametrize("sizes", [((90, 60),), ((30, 90), (90, 20)), ((60, 60), (10, 300))])
def test_contact_sheets(laid: Laid, columns: int, sizes):
    cells = itertools.cycle([
        *(copy(*size) for size in sizes), ContactCell(said="is no picture."), ContactCell(),
    ])  # fmt: skip
    rows = [
        ContactRow(name, next(cells), tuple(next(cells) for _ in range(columns)))
        for name in ("gate.png", f"{LONG}.png")
    ]
    heads = ["tallow 1", LONG, "fine-net 1/2", "haze"][:columns]
    (page,) = contact_pages("After closing", "6 stills", heads, rows)
    height, width = page.codes.shape[:2]
    boxes = check(laid, (width, height), 70)
    assert sum(box.what == "picture" for box in boxes) >= 1
    # Columns are alike: what stands in one begins where its head does.
    names = [box for box in boxes if box.what in {"bare", *heads}]
    lefts = sorted({box.left for box in names})
    assert len(lefts) == 1 + columns
    assert len({round(b - a) for a, b in itertools.pairwise(lefts)}) <= 1
    body = [box.left for box in boxes if box.top > names[0].bottom and "page" not in box.what]
    assert set(body) <= set(lefts)


def test_a_contact_sheet_with_hardly_any_room_shows_its_first_row_smaller(laid: Laid):
    rows = [ContactRow("mast.png", copy(200, 320), (copy(200, 320),))]
    (page,) = contact_pages("After closing", f"{LONG} " * 50, ["tallow 1"], rows)
    height, width = page.codes.shape[:2]
    boxes = check(laid, (width, height), 70)
    pictures = [box for box in boxes if box.what == "picture"]
    assert len(pictures) == 2
    assert all(box.bottom - box.top < 300 for box in pictures)


@pytest.mark.parametrize("count", [1, 2, 4, 6])
def test_spec_sheets(laid: Laid, count: int):
    steps = [0.0, 20.0, 80.0]
    columns = [
        SpecColumn(
            name=f"{n} {LONG}"[: 9 * n + 3], transfer=(steps, [1, 0.5, 0.1]),
            wedge_stops=[-float(n) for n in range(11)],
            numbers=(f"{n} %", "0.2 stops, or a little"),
        )
        for n in range(count)
    ]  # fmt: skip
    sheet = spec_sheet(
        "What it does", LONG, ["halo", LONG], columns, bare=(steps, [1, 0.6, 0.2]),
        highest_per_mm=85, notices=("assumed.", LONG),
    )  # fmt: skip
    height, width = sheet.codes.shape[:2]
    boxes = check(laid, (width, height), 48)
    assert 0 <= height - 48 - max(box.bottom for box in boxes) <= 4
    plots = [box for box in boxes if box.what == "picture"][:2]
    assert plots[0].top == plots[1].top
    assert plots[0].right - plots[0].left == plots[1].right - plots[1].left
    assert plots[1].left - plots[0].right == 32
    # Numbers stand under the names of their looks.
    said = {box.what.replace(" ", ""): box.left for box in boxes}
    names = [column.name.replace(" ", "") for column in columns]
    assert all(said[f"{n}%"] == said[name] for n, name in enumerate(names))


@pytest.mark.parametrize("size", [(60, 40), (40, 90), (200, 9)])
def test_sheets_of_learned_glass(laid: Laid, size: tuple[int, int]):
    light = np.full((size[1], size[0], 3), 0.2, np.float32)
    pair = ShownPair(
        title=LONG, bare=light, with_glass=light, predicted=light,
        difference_stops=light[..., 0] - 0.2, held=light[..., 0] > 0,
    )  # fmt: skip
    kernel = ShownKernel(
        angles_deg=np.geomspace(0.02, 8, 9),
        shares=np.array([1, 2, 4, 6, 5, 3, 2, 1, 0.5]) / 100,
        deviations=np.array([9, 1, 1, 0.5, 0.5, 0.5, 1, 2, 0.5]) / 1000,
    )
    sheet = learned_sheet("learned", ("5 %", LONG), [pair, pair], kernel)
    height, width = sheet.codes.shape[:2]
    boxes = check(laid, (width, height), round(0.028 * 1600))
    assert max(box.bottom for box in boxes) == height - round(0.028 * 1600)
    pictures = [box for box in boxes if box.what == "picture"]
    assert len(pictures) == 2 * 4 + 1
    for row in (pictures[:4], pictures[4:8]):
        assert len({(box.top, box.bottom) for box in row}) == 1
        assert len({box.right - box.left for box in row}) == 1
        shown = (row[0].right - row[0].left) / (row[0].bottom - row[0].top)
        assert shown == pytest.approx(size[0] / size[1], rel=0.06)


@pytest.mark.parametrize("size", [(96, 60), (300, 20), (20, 200), (64, 64)])
@pytest.mark.parametrize("width_px", [480, 900])
def test_sheets_of_distances(laid: Laid, size: tuple[int, int], width_px: int):
    far = np.geomspace(0.5, 300, size[0], dtype=np.float32) * np.ones((size[1], 1), np.float32)
    still = fg.Picture(radiance=np.full((size[1], size[0], 3), 0.1, np.float32), distance_m=far)
    camera = fg.Camera(focal_length_mm=50, sensor_width_mm=36)
    sheet = distance_sheet(still, camera, name=LONG, notices=(LONG,), width_px=width_px)
    height, width = sheet.codes.shape[:2]
    boxes = check(laid, (width, height), round(0.028 * width_px))
    assert width <= width_px
    still_box, map_box, bar = (box for box in boxes if box.what == "picture")
    assert bar.left == map_box.left
    assert bar.right == map_box.right
    assert still_box.right - still_box.left == map_box.right - map_box.left
    metres = [box for box in boxes if box.what.endswith(" m") and box.top > bar.top]
    assert metres == sorted(metres, key=lambda box: box.left)
