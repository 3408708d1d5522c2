"""The comparison: the looks as rendered, side by side at one magnification, nothing cut off."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

import frontglass as fg
from frontglass.errors import ParameterError
from frontglass.picture.encoding import Encoding
from frontglass.picture.region import Region
from frontglass.sheets.compare import PAGE_SHAPE, SHARES, compare, ghost_words
from frontglass.sheets.sheet import SURROUND, Sheet
from frontglass.sheets.views import view

CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=24.89)


def room(width: int = 200, height: int = 120) -> fg.Picture:
    light = np.full((height, width, 3), 0.02, np.float32)
    light[:, width // 2 :] = 0.2
    light[height // 3, width // 4] = 80.0
    return fg.Picture(radiance=light, encoding=Encoding.linear())


@pytest.fixture(scope="module")
def looks() -> list[fg.Look]:
    return [fg.read_look("harbour-night").at("1/4"), fg.read_look("rehearsal-room").at(1)]


def count_of(part: np.ndarray, sheet: Sheet) -> int:
    """How many times a picture stands on the sheet, bit for bit."""
    rows, columns = part.shape[:2]
    down, across = np.unravel_index(part.sum(axis=2).argmax(), (rows, columns))
    alike = np.argwhere(np.all(sheet.codes == part[down, across], axis=2))
    corners = ((int(y - down), int(x - across)) for y, x in alike)
    return sum(
        np.array_equal(sheet.codes[y : y + rows, x : x + columns], part)
        for y, x in corners
        if min(y, x) >= 0
    )


def test_close_ups_are_the_librarys_pixels_at_one_magnification(looks):
    picture, region = room(), Region(30, 20, 40, 30)
    told: list[tuple[str, Region]] = []

    def numbers(name: str, where: Region, seen: fg.Picture) -> list[str]:
        told.append((name, where))
        return [f"{seen.radiance.mean():.3f}"]

    sheet = compare(picture, looks, camera=CAMERA, watched=[("lamp", region)], numbers=numbers)
    stages = [picture, *(fg.render(picture, [look], camera=CAMERA) for look in looks)]
    fits = [
        times
        for times in range(1, 12)
        if all(count_of(view(region.of(s), (40 * times, 30 * times)), sheet) == 1 for s in stages)
    ]
    assert len(fits) == 1
    assert told == [("lamp", region)] * 3


@pytest.mark.parametrize(
    ("size", "count", "parts", "width_px"),
    [
        ((200, 120), 1, 0, 1240),
        ((200, 120), 3, 3, 1240),
        ((120, 200), 5, 2, 1240),
        ((16, 9), 8, 1, 480),
        ((3, 300), 2, 1, 900),
        ((400, 10), 2, 1, 1240),
    ],
)
def test_nothing_reaches_the_margins(looks, size, count, parts, width_px):
    wordy = [looks[n % 2].at(0.1 + n / 7) for n in range(count)]
    part = Region(0, 0, min(size[0], 3), min(size[1], 5))
    sheet = compare(
        room(*size),
        wordy,
        camera=CAMERA,
        watched=[("a face with a name that goes on and on " * 3, part)] * parts,
        numbers=lambda *_: ["key to shadow 12.34 stops and more to say", "shown at 99.9 %"],
        facts=["a-name-that-goes-on-" * 12 + ".jpg"],
        notices=["The camera is not fully known. " * 9],
        width_px=width_px,
    )
    assert sheet.codes.shape[1] == width_px
    edge = round(SHARES[0] * width_px) // 3
    codes = sheet.codes
    for border in (codes[:edge], codes[-edge:], codes[:, :edge], codes[:, -edge:]):
        assert (border == SURROUND).all()


def test_three_looks_and_two_parts_fit_a_printed_page(looks):
    sheet = compare(
        room(1280, 720),
        [*looks, looks[0].at(2)],
        camera=CAMERA,
        watched=[("lamp", Region(200, 100, 240, 150)), ("black", Region(0, 0, 240, 150))],
        numbers=lambda *_: ["one", "two"],
    )
    height, width = sheet.codes.shape[:2]
    assert height / width <= PAGE_SHAPE * 1.1
    # A line of 1240 px is as wide as a phone's 390: type of 24 px is read at 7.6, as captions are.
    assert SHARES[2] * 390 > 7.5


def test_a_comparison_needs_a_look_and_a_part_inside(looks):
    with pytest.raises(ParameterError, match="at least once"):
        compare(room(), [], camera=CAMERA)
    with pytest.raises(ParameterError, match="inside the still"):
        compare(room(), looks, camera=CAMERA, watched=[("x", Region(190, 0, 40, 40))])
    with pytest.raises(ParameterError, match="width_px"):
        compare(room(), looks, camera=CAMERA, width_px=100)


@pytest.mark.parametrize(
    ("seen", "said"),
    [(0, "no ghosts seen"), (1, "one ghost seen"), (2, "2 ghosts seen"), (5, "5 ghosts seen")],
)
def test_ghosts_are_counted_in_words(monkeypatch, seen, said):
    ghosts = SimpleNamespace(ghosts=(1,) * 6, seen=(1,) * seen)
    found = SimpleNamespace(ghosts=ghosts)
    monkeypatch.setattr("frontglass.sheets.compare.ghosts_of", lambda *_: found)
    assert ghost_words(None, None, None) == said
    ghosts.ghosts = ()
    assert ghost_words(None, None, None) == ""
    monkeypatch.setattr("frontglass.sheets.compare.ghosts_of", lambda *_: None)
    assert ghost_words(None, None, None) == ""
