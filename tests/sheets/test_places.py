"""Where things stand on sheets: every place from the layout's own rules, none from a picture."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.picture.clipped_lamps import with_recovered_light
from frontglass.picture.encoding import Encoding
from frontglass.picture.region import Region
from frontglass.sheets import learned, rental
from frontglass.sheets.compare import compare
from frontglass.sheets.contact import ContactCell, ContactRow, contact_pages
from frontglass.sheets.distance_page import FAR_SHADE, NEAR_SHADE, distance_sheet
from frontglass.sheets.ladder import ladder, stops_text
from frontglass.sheets.lamp_map import lamp_map
from frontglass.sheets.lettering import SEPARATOR, TextLines, text_width_px
from frontglass.sheets.mood import MoodFrame, MoodHead, MoodStill
from frontglass.sheets.mood_pages import _texts, mood_pages
from frontglass.sheets.sheet import QUIET_TEXT, SURROUND, TEXT, Page, Sheet, Sizes, write_sheet
from tests.sheets.conftest import Laid

CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=36)
LOOKS = [fg.read_look("harbour-night").at(strength) for strength in ("1/4", "1/2")]


def still(width: int, height: int, light: float = 0.2) -> fg.Picture:
    codes = np.full((height, width, 3), light, np.float32)
    return fg.Picture(radiance=codes, encoding=Encoding.linear())


class TestPage:
    def test_the_room_is_what_two_margins_leave(self):
        page = Page(1000, Sizes(margin=30, gap=12, small=14, large=20))
        assert page.room_px == 940

    def test_a_box_is_dark_light_dark_just_outside_and_its_tag_stands_on_it(self):
        page = Page(120, Sizes.of(120))
        page.put(0, 0, np.full((90, 120, 3), 255, np.uint8))
        tag = TextLines(("i",), 12)
        page.mark(40, 50, 20, 10, tag)
        codes = page.painted(90)
        left = codes[55, :40]
        assert [tuple(code) for code in left[36:]] == [(255,) * 3, SURROUND, TEXT, SURROUND]
        assert [tuple(code) for code in codes[55, 60:64]] == [SURROUND, TEXT, SURROUND, (255,) * 3]
        # One line of type, and the rows of the box's own frame below it.
        column = (codes[:, 37] == SURROUND).all(axis=1)
        assert np.flatnonzero(column)[0] == 50 - 3 - tag.height_px
        assert column[50 - 3 - tag.height_px : 62].all()
        wide = (codes[50 - 4] != 255).any(axis=1)
        assert wide.sum() == math.ceil(text_width_px("i", 12)) + 12 + 1


class TestCompare:
    def test_rows_of_stills_keep_a_gap(self, laid: Laid):
        sheet = compare(still(200, 120), LOOKS, camera=CAMERA, width_px=900)
        first, second, third = laid.pictures
        assert first[1] == second[1]
        assert first[0] == third[0] < second[0]
        # Under the first row: a name, and what it costs.
        under = [one for one in laid.texts if first[1] < one.y < third[1]]
        gap = round(0.016 * 900)
        assert max(one.end for one in under) + gap == third[1]
        assert (sheet.codes[third[1] - gap : third[1]] == SURROUND).all()
        assert min(one.y for one in under) == first[1] + first[2].shape[0] + gap // 3

    def test_a_still_says_its_name_and_what_it_costs_and_the_bare_one_costs_nothing(
        self, laid: Laid
    ):
        net = fg.read_look("fine-net")
        part = Region(0, 0, 20, 15)
        compare(
            still(200, 120), [net, LOOKS[0]], camera=CAMERA, width_px=900,
            watched=[("lamp", part), ("wall", part)], numbers=lambda name, *_: [f"{name} 7"],
        )  # fmt: skip
        said = [one.text for one in laid.texts]
        start = said.index("bare")
        cost = f"costs {stops_text(net.light_loss_stops)}"
        glass = f"costs {stops_text(LOOKS[0].light_loss_stops)}"
        assert said[start : start + 5] == ["bare", str(net), cost, str(LOOKS[0]), glass]
        quiet = [one.text for one in laid.texts if one.colour == QUIET_TEXT]
        assert {cost, glass, "lamp 7", "wall 7"} <= set(quiet)
        titles = [text.split("  ")[0] for text in said if "enlarged" in text]
        assert [title[:6] for title in titles] == ["1 lamp", "2 wall"]
        assert [tag.lines for *_, tag in laid.boxes] == [("1",), ("2",)]
        times = laid.pictures[-1][2].shape[1] // 20
        assert laid.text("1 lamp").text.endswith(f"enlarged {times} times")
        x, y, close_up = laid.pictures[-1]
        name = next(one for one in laid.texts if one.y > y and one.text == str(LOOKS[0]))
        assert (name.x, name.y) == (x, y + close_up.shape[0] + round(0.016 * 900) // 4)

    @pytest.mark.parametrize(("count", "across"), [(1, 1), (2, 2)])
    def test_flat_stills_stand_two_across_from_three_on(self, laid: Laid, count, across):
        compare(still(400, 40), LOOKS[:count], camera=CAMERA, width_px=900)
        assert len({x for x, _, _ in laid.pictures}) == across

    @pytest.mark.parametrize(("close_ups", "across"), [(0, 1), (1, 2)])
    def test_close_ups_take_room_from_the_stills(self, laid: Laid, close_ups, across):
        watched = [("face", Region(0, 0, 20, 15))] * close_ups
        compare(still(400, 160), LOOKS[:1], camera=CAMERA, width_px=900, watched=watched)
        assert len({x for x, _, _ in laid.pictures[:2]}) == across


def test_close_ups_of_a_ladder_are_numbered_from_one(laid: Laid):
    parts = [Region(0, 0, 20, 15), Region(30, 0, 20, 15)]
    ladder(still(200, 120), LOOKS[0], camera=CAMERA, strengths=(1,), close_ups=parts, width_px=900)
    titles = [one.text for one in laid.texts if one.text.startswith("Close-up")]
    assert [title.split(",")[0] for title in titles] == ["Close-up 1", "Close-up 2"]


def test_a_ladder_of_a_narrow_still_is_half_as_wide_as_it_may_be():
    sheet = ladder(still(8, 120), LOOKS[0], camera=CAMERA, strengths=(1,), width_px=900)
    assert sheet.codes.shape[1] == 450


def test_captions_of_a_ladder_stand_a_third_of_a_gap_under_their_stills(laid: Laid):
    ladder(still(200, 120), LOOKS[0], camera=CAMERA, strengths=(1,), width_px=900)
    gap = Sizes.of(900).gap
    for (x, y, codes), name in zip(laid.pictures, ("bare", str(LOOKS[0].at(1))), strict=True):
        caption = next(one for one in laid.texts if one.text.startswith(name))
        assert (caption.x, caption.y) == (x, y + codes.shape[0] + gap // 3)


def test_the_head_of_a_ladder_uses_the_width_of_the_sheet(laid: Laid):
    look = LOOKS[0]
    wordy = replace(look, summary="harbour " * 40, watch="quay " * 60)
    sheet = ladder(still(200, 120), wordy, camera=CAMERA, strengths=(1,), width_px=900)
    room = sheet.codes.shape[1] - 2 * Sizes.of(900).margin
    assert laid.text("quay quay").text.startswith("Watch: quay")
    for word in ("harbour harbour", "quay quay"):
        said = laid.text(word)
        widths = [text_width_px(line, said.lines.size_px) for line in said.lines.lines]
        assert max(widths) <= room
        assert min(widths[:-1]) > room - text_width_px(" harbour", said.lines.size_px) - 1


@pytest.mark.parametrize(("given", "quality"), [(None, 94), (70, 70)])
def test_a_jpeg_has_the_tables_of_its_quality_and_whole_colour(tmp_path: Path, given, quality):
    codes = np.random.default_rng(1).integers(0, 256, (40, 60, 3), np.uint8)
    write_sheet(tmp_path / "sheet.jpg", Sheet(codes), quality=given)
    stream = io.BytesIO()
    Image.fromarray(codes).save(stream, "JPEG", quality=quality, subsampling=0)
    with Image.open(tmp_path / "sheet.jpg") as got, Image.open(stream) as want:
        assert got.quantization == want.quantization
        # One sample of each channel for each pixel.
        assert [part[1:3] for part in got.layer] == [(1, 1)] * 3


def test_lines_of_text_stand_a_third_of_their_size_apart():
    codes = []
    for count in (1, 2):
        page = Page(100, Sizes.of(100))
        page.say(5, 5, TextLines(("H",) * count, 20))
        codes.append((page.painted(90) != SURROUND).any(axis=(1, 2)))
    one, two = (np.flatnonzero(lit) for lit in codes)
    assert two[-1] - one[-1] == pytest.approx(1.35 * 20, abs=1)
    assert TextLines(("H",) * 4, 20).height_px == 108
    # The first line stands inside of its own room.
    assert 5 < one[0] < one[-1] < 5 + 27


class TestDistances:
    @pytest.mark.parametrize(
        "metres", [0.2, 0.5, 1, 2, 3, 5, 7, 10, 15, 20, 30, 50, 70, 100, 200, 500, 1000, 5000]
    )
    def test_round_metres_stand_where_the_logarithm_puts_them(self, laid: Laid, metres):
        near, far = 0.97 * metres, 1.15 * metres
        distance = np.full((40, 60), near, np.float32)
        distance[:, 30:] = far
        picture = fg.Picture(
            radiance=still(60, 40).radiance, encoding=Encoding.linear(), distance_m=distance
        )
        distance_sheet(picture, CAMERA, name="a", width_px=600)
        label = next(one for one in laid.texts if one.text == f"{metres:g} m")
        x, _, bar = laid.pictures[-1]
        share = math.log(metres / near) / math.log(far / near)
        assert label.x == pytest.approx(x + share * bar.shape[1], abs=0.6)

    def test_distances_of_a_wide_still_stand_a_gap_below_it(self, laid: Laid):
        wide = replace(still(400, 30), distance_m=np.full((30, 400), 3.0, np.float32))
        distance_sheet(wide, CAMERA, name="a", width_px=600)
        (x, y, shown), (left, top, _), _ = laid.pictures
        assert (left, top) == (x, y + shown.shape[0] + Sizes.of(600).gap)

    @pytest.mark.parametrize(("rows", "said"), [(1, "1 % sky"), (20, "20 % sky")])
    def test_how_much_is_sky_is_said(self, laid: Laid, rows, said):
        distance = np.full((100, 60), 3.0, np.float32)
        distance[:rows] = np.inf
        picture = fg.Picture(
            radiance=still(60, 100).radiance, encoding=Encoding.linear(), distance_m=distance
        )
        distance_sheet(picture, CAMERA, name="a", width_px=600)
        parts = laid.text("field").text.split(SEPARATOR)
        assert parts[:-1] == ["3 to 3 m", said, "no lamps"]

    def test_metres_stand_on_a_grid_over_the_map_and_round_the_lamps(self, laid: Laid):
        light = still(300, 200, 0.01).radiance.copy()
        light[150:154, 60:64] = 300.0
        distance = np.full((200, 300), 5.0, np.float32)
        distance[:, 150:] = 8.0
        picture = fg.Picture(radiance=light, encoding=Encoding.linear(), distance_m=distance)
        distance_sheet(picture, CAMERA, name="a", width_px=900)
        (left, top, shown), (corner, row, _), _ = laid.pictures
        across, down = shown.shape[1] / 6, shown.shape[0] / 4
        samples = [box for box in laid.boxes if box[2:4] == (2, 2)]
        want = [
            (corner + round((column + 0.5) * across), row + round((line + 0.5) * down))
            for line in range(4)
            for column in range(6)
        ]
        assert [box[:2] for box in samples] == want
        assert [box[4].lines[0] for box in samples] == (["5"] * 3 + ["8"] * 3) * 4
        (lamp,) = (box for box in laid.boxes if box[2] > 2)
        scale = shown.shape[1] / 300
        assert lamp[4].lines == ("5 m",)
        assert lamp[0] + lamp[2] / 2 == pytest.approx(left + 62 * scale, abs=1)
        assert lamp[1] + lamp[3] / 2 == pytest.approx(top + 152 * scale, abs=1)
        # A disc as large as 4 x 4 px, and 2 px of room on either side.
        assert lamp[2] == lamp[3] == pytest.approx(2 * (4 / math.sqrt(math.pi) + 2) * scale, abs=2)

    def test_each_lamp_is_marked_once_with_its_own_distance(self, laid: Laid):
        light = still(300, 200, 0.01).radiance.copy()
        light[150:153, 60:63] = 300.0
        light[150:153, 240:243] = 200.0
        distance = np.full((200, 300), 5.0, np.float32)
        distance[:, 150:] = 8.0
        picture = fg.Picture(radiance=light, encoding=Encoding.linear(), distance_m=distance)
        distance_sheet(picture, CAMERA, name="a", width_px=900)
        lamps = [box for box in laid.boxes if box[2] > 2]
        assert [box[4].lines for box in lamps] == [("5 m",), ("8 m",)]
        assert lamps[0][1] == lamps[1][1]
        assert "lamps at 5, 8 m" in laid.text("field").text

    def test_distances_that_hardly_differ_use_all_shades(self, laid: Laid):
        distance = np.full((40, 60), 2.0, np.float32)
        distance[:, 30:] = 2.01
        picture = fg.Picture(
            radiance=still(60, 40).radiance, encoding=Encoding.linear(), distance_m=distance
        )
        distance_sheet(picture, CAMERA, name="a", width_px=600)
        shown = laid.pictures[1][2]
        assert (shown[0, 0] == NEAR_SHADE).all()
        assert (shown[0, -1] == FAR_SHADE).all()


def test_type_on_a_small_lamp_map_can_still_be_read(laid: Laid):
    light = still(480, 300, 0.05).radiance.copy()
    light[200:210, 100:110] = 1.0
    found = with_recovered_light(fg.Picture(radiance=light, encoding=Encoding.srgb()))
    lamp_map(found.picture, found.lamps)
    ((x, y, width, height, tag),) = laid.boxes
    assert tag.size_px == 12
    assert tag.lines[0].startswith("1: +")
    # The area's own box, and 3 px of room.
    assert (x, y) == (100 - 3, 200 - 3)
    assert (width, height) == (16, 16)


def test_rows_of_a_contact_sheet_end_above_the_number_of_the_page(laid: Laid):
    row = ContactRow("gate", ContactCell(said="dim"), ())
    assert len(contact_pages("out", "", ["tallow 1"], [row] * 32)) == 4
    number = laid.text("page 1 of")
    assert max(one.end for one in laid.texts if one.y < number.y) <= number.y - number.lines.size_px


@pytest.mark.parametrize("grey", [rental.INK, rental.QUIET, rental.RULE, learned.NOT_COMPARED])
def test_greys_of_sheets_have_no_colour(grey):
    assert np.ptp(grey) == 0


@pytest.mark.parametrize(("width", "type_px"), [(400, 12), (2000, 22), (4000, 44)])
def test_type_on_a_lamp_map_grows_with_the_still(laid: Laid, width: int, type_px: int):
    light = np.full((40, width, 3), 0.05, np.float32)
    light[20:24, 100:104] = 1.0
    found = with_recovered_light(fg.Picture(radiance=light, encoding=Encoding.srgb()))
    lamp_map(found.picture, found.lamps)
    assert [box[4].size_px for box in laid.boxes] == [type_px]


class TestMoodPages:
    def pages(self, looks: int = 2, size: tuple[int, int] = (300, 200)):
        codes = np.full((size[1], size[0], 3), 90, np.uint8)
        frames = tuple(MoodFrame(f"look {n}", "costs 0.2 stop", codes, "x:1") for n in range(looks))
        stills = [MoodStill(name, f"{name}.jpg", codes, frames) for name in ("Gate", "Door")]
        head = MoodHead(title="After closing", project="Ferry", date="2 June", contact="Ines")
        return mood_pages(head, stills)

    @pytest.mark.parametrize("size", [(300, 200), (200, 300), (900, 200)])
    @pytest.mark.parametrize("looks", [1, 2, 5])
    def test_nothing_overlaps_and_nothing_leaves_the_page(self, laid: Laid, looks, size):
        first, _ = self.pages(looks, size)
        height, width = first.codes.shape[:2]
        assert len(laid.pictures) == 2 * (1 + 2 * looks)  # bare, and each look with its box
        for x, y, codes in laid.pictures:
            assert x + codes.shape[1] <= width - 70 + 1
            assert y + codes.shape[0] < height - 70
        half = len(laid.pictures) // 2
        boxes = [(x, y, x + c.shape[1], y + c.shape[0]) for x, y, c in laid.pictures[:half]]
        for n, one in enumerate(boxes):
            for other in boxes[n + 1 :]:
                apart = one[2] <= other[0] or other[2] <= one[0]
                assert apart or one[3] <= other[1] or other[3] <= one[1]

    def test_every_page_says_whose_it_is_and_which(self, laid: Laid):
        self.pages()
        assert laid.text("page 1 of 2").end <= 1240 - 70
        assert "Ferry · 2 June · Ines" in laid.text("page 2 of 2").text
        assert {"1A look 0", "1B look 1", "2A look 0", "2B look 1"} <= {
            one.text for one in laid.texts
        }

    def test_words_that_just_fit_stand_on_one_line(self):
        width = math.ceil(text_width_px("late-tram 1/2", 27))
        for room, lines in ((width, 1), (width - 1, 2)):
            (text,) = _texts(("", "late-tram 1/2", "", np.empty((0, 0, 3), np.uint8)), room)
            assert len(text.lines) == lines

    def test_many_looks_take_pages_with_the_bare_frame_on_each(self, laid: Laid):
        assert len(self.pages(looks=7)) == 4
        assert [one.text for one in laid.texts].count("bare") == 4
        assert sum("look 6" in one.text for one in laid.texts) == 2
