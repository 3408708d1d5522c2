"""The ladder: what stands on it is what the library renders, and nothing is cut off."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.errors import ParameterError, PictureFileError
from frontglass.picture.encoding import Encoding
from frontglass.picture.region import Region
from frontglass.sheets.ladder import _cost, ladder, still_facts, stops_text
from frontglass.sheets.layout import grid
from frontglass.sheets.sheet import SURROUND, Sheet, Sizes, write_sheet
from frontglass.sheets.views import view

CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=24.89)


def room_with_lamp(width: int, height: int) -> fg.Picture:
    light = np.full((height, width, 3), 0.02, np.float32)
    light[:, width // 2 :] = 0.2
    light[height // 3, width // 4] = 80.0
    return fg.Picture(radiance=light, encoding=Encoding.linear())


@pytest.fixture(scope="module")
def look() -> fg.Look:
    return fg.read_look("harbour-night")


def places_of(part: np.ndarray, sheet: Sheet) -> list[tuple[int, int]]:
    """Where on the sheet a picture stands, bit for bit (row, column)."""
    rows, columns = part.shape[:2]
    # The brightest pixel is the rarest: few places to look at closely.
    down, across = np.unravel_index(part.sum(axis=2).argmax(), (rows, columns))
    alike = np.argwhere(np.all(sheet.codes == part[down, across], axis=2))
    corners = ((int(y - down), int(x - across)) for y, x in alike)
    return [
        (y, x)
        for y, x in corners
        if min(y, x) >= 0 and np.array_equal(sheet.codes[y : y + rows, x : x + columns], part)
    ]


def test_stills_are_rendered_at_their_own_size_and_reduced_afterwards(look):
    picture = room_with_lamp(500, 280)
    sheet = ladder(picture, look, camera=CAMERA, strengths=("1/4", 1), width_px=900)
    cells = grid(3, (500, 280), width_px=900 - 2 * Sizes.of(900).margin, gap_px=Sizes.of(900).gap)
    size = (cells.cell_width_px, cells.cell_height_px)
    assert size[0] < 500
    shown = [view(picture, size)]
    for strength in ("1/4", 1):
        shown.append(view(fg.render(picture, [look.at(strength)], camera=CAMERA), size))
    places = [places_of(codes, sheet) for codes in shown]
    assert [len(found) for found in places] == [1, 1, 1]
    assert [found[0] for found in places] == sorted(found[0] for found in places)


@pytest.mark.parametrize("how", [{"surround": "dark"}, {"compensate": False}])
def test_surround_and_compensation_are_those_asked_for(how):
    picture = room_with_lamp(120, 80)
    # Wide, so that the frame's edge tells, and half absorbed.
    glass = fg.Glow(optical_depth=0.7, lobes=(fg.GaussianLobe(sigma_deg=5),), clear_share=0.5)
    look = fg.Look(elements=(glass,))
    sheet = ladder(picture, look, camera=CAMERA, strengths=(1,), width_px=700, **how)
    usual = ladder(picture, look, camera=CAMERA, strengths=(1,), width_px=700)
    cells = grid(2, (120, 80), width_px=700 - 2 * Sizes.of(700).margin, gap_px=Sizes.of(700).gap)
    size = (cells.cell_width_px, cells.cell_height_px)
    asked = view(fg.render(picture, look, camera=CAMERA, **how), size)
    assert len(places_of(asked, sheet)) == 1
    assert places_of(asked, usual) == []


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"surround": "black"}, "surround must be 'lampless', 'mirror' or 'dark', got 'black'"),
        ({"compensate": "no"}, "compensate must be True or False, got 'no'"),
    ],
)
def test_wrong_choices_name_the_right_ones(look, how, said):
    with pytest.raises(ParameterError, match=said):
        ladder(room_with_lamp(40, 30), look, camera=CAMERA, strengths=(1,), **how)


def test_close_ups_show_every_strength_at_one_magnification(look):
    picture, region = room_with_lamp(200, 120), Region(30, 20, 40, 30)
    sheet = ladder(
        picture, look, camera=CAMERA, strengths=(1, 2), close_ups=[region], width_px=1000
    )
    stages = [picture]
    stages += [fg.render(picture, [look.at(strength)], camera=CAMERA) for strength in (1, 2)]

    def places_at(times: int) -> list[list[tuple[int, int]]]:
        return [places_of(view(region.of(s), (40 * times, 30 * times)), sheet) for s in stages]

    enlarged = [times for times in range(2, 10) if all(places_at(times))]
    assert len(enlarged) == 1
    rows = {place[0] for found in places_at(enlarged[0]) for place in found}
    assert len(rows) == 1


@pytest.mark.parametrize(
    ("width", "height", "options"),
    [
        (90, 60, {}),
        (60, 90, {"close_ups": [Region(0, 0, 20, 30), Region(40, 60, 20, 30)]}),
        (400, 30, {}),
        (16, 9, {"close_ups": [Region(2, 2, 8, 5)], "width_px": 700}),
        (1, 1, {"width_px": 320}),
        (3, 300, {}),
        (90, 60, {"columns": 6, "width_px": 500}),
    ],
)
def test_nothing_reaches_the_margins_and_no_word_is_cut(look, width, height, options):
    from dataclasses import replace

    wordy = replace(look, name="x" * 70, summary="Lamps swell. " * 30, watch="é 灯台 " * 60)
    options = {"width_px": 1200, **options}
    sheet = ladder(
        room_with_lamp(width, height),
        wordy,
        camera=CAMERA,
        facts=["a-name-that-goes-on-" * 12 + ".jpg"],
        notices=["The camera is not fully known. " * 9],
        **options,
    )
    assert sheet.codes.shape[1] <= options["width_px"]
    edge = Sizes.of(options["width_px"]).margin // 3
    for border in (
        sheet.codes[:edge],
        sheet.codes[-edge:],
        sheet.codes[:, :edge],
        sheet.codes[:, -edge:],
    ):
        assert (border == SURROUND).all()


def test_notices_and_accuracy_are_kept_with_the_sheet(look):
    sheet = ladder(room_with_lamp(40, 30), look, camera=CAMERA, notices=("a", "b", "a"))
    assert sheet.notices[:2] == ("a", "b")
    assert sheet.notices.count("a") == 1


@pytest.mark.parametrize("strengths", [(), (0,), ("0", 0.0)])
def test_a_ladder_needs_a_strength_above_zero(look, strengths):
    with pytest.raises(ParameterError, match="above 0"):
        ladder(room_with_lamp(40, 30), look, camera=CAMERA, strengths=strengths)


@pytest.mark.parametrize("width_px", [0, 319, 20001])
def test_a_width_beyond_reason_is_refused(look, width_px):
    with pytest.raises(ParameterError, match=r"width_px must be in \[320, 20000\]"):
        ladder(room_with_lamp(40, 30), look, camera=CAMERA, width_px=width_px)


def test_light_is_said_as_a_crew_says_it():
    assert [stops_text(stops) for stops in (0, 0.04, 0.05, 0.96, 1.04, 1.06, 2)] == [
        *("0.0 stop", "under 0.1 stop", "0.1 stop", "1.0 stop"),
        *("1.0 stop", "1.1 stops", "2.0 stops"),
    ]
    assert still_facts("a.jpg", 0) == ("a.jpg",)
    assert still_facts("a.jpg", -1.5) == ("a.jpg", "shown 1.5 stops darker")


class TestWriting:
    sheet = Sheet(np.random.default_rng(1).integers(0, 256, (40, 60, 3), np.uint8))

    def test_png_holds_every_code(self, tmp_path):
        write_sheet(tmp_path / "s.png", self.sheet)
        with Image.open(tmp_path / "s.png") as read:
            assert np.array_equal(np.asarray(read), self.sheet.codes)

    def test_jpeg_follows_its_quality(self, tmp_path):
        write_sheet(tmp_path / "fine.JPG", self.sheet)
        write_sheet(tmp_path / "small.jpeg", self.sheet, quality=20)
        assert (tmp_path / "small.jpeg").stat().st_size < (tmp_path / "fine.JPG").stat().st_size / 2
        with Image.open(tmp_path / "fine.JPG") as read:
            assert read.format == "JPEG"

    @pytest.mark.parametrize("quality", [0, 101])
    def test_an_impossible_quality_is_refused(self, tmp_path, quality):
        with pytest.raises(ParameterError, match="quality must be"):
            write_sheet(tmp_path / "s.jpg", self.sheet, quality=quality)

    @pytest.mark.parametrize("name", ["s.tif", "s", "s.png.txt"])
    def test_other_formats_are_refused(self, tmp_path, name):
        with pytest.raises(PictureFileError, match=r"\.png or \.jpg"):
            write_sheet(tmp_path / name, self.sheet)
        assert list(tmp_path.iterdir()) == []


def test_what_a_look_costs_is_said_under_its_step():
    veil = fg.Look(elements=(fg.Veil(veil_share=0.05),))
    assert _cost(veil) == "no light lost"
    tint = fg.Look(elements=(fg.Tint(passes=(0.4, 0.5, 0.6)),))
    assert _cost(tint) == "light loss 1.0 stop"
