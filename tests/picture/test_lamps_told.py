"""Which clipped areas are told, in which order, and which of them a mark means."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import frontglass as fg
from frontglass.picture import clipped_lamps
from frontglass.picture.clipped_lamps import RecoveredStill, _said
from frontglass.picture.encoding import Encoding
from frontglass.picture.lamp_kinds import KINDS, White, core_of, level_of


def still(height: int = 120, width: int = 200, *lamps: tuple[int, int, int]) -> fg.Picture:
    """A dim wall with square lamps, each at x, y and of a side."""
    light = np.full((height, width, 3), 0.03, np.float32)
    for x, y, side in lamps:
        light[y : y + side, x : x + side] = 1.0
    return fg.Picture(radiance=light, encoding=Encoding.srgb())


def recovered(picture: fg.Picture, *marks: fg.LampMark, stops: float = 4.0) -> RecoveredStill:
    return fg.with_recovered_light(picture, fg.Recovery(clipped=stops, marks=marks))


def test_lamps_alike_are_told_in_the_order_of_reading():
    places = [(12 + 22 * n, 10 + 20 * row, 3) for row in range(5) for n in range(8)]
    found = recovered(still(120, 200, *places))
    assert [(lamp.x_px - 1, lamp.y_px - 1) for lamp in found.lamps] == [
        (x, y) for x, y, _ in places
    ]
    assert [lamp.share for lamp in found.lamps] == pytest.approx([1 / 40] * 40)


def test_the_lamp_that_sends_most_light_is_told_first_whether_large_or_bright():
    large, small = (20, 20, 12), (100, 60, 4)
    picture = still(120, 200, small, large)
    assert [lamp.area_px for lamp in recovered(picture).lamps] == [144, 16]
    bright = fg.LampMark(101, 61, stops=8.0)
    found = recovered(picture, bright)
    assert [lamp.area_px for lamp in found.lamps] == [16, 144]
    assert [lamp.marked for lamp in found.lamps] == [True, False]
    # Light lost is what is above white: 2**8 - 1 on 16 pixels, 2**4 - 1 on 144.
    lost = [255 * 16, 15 * 144]
    assert [lamp.share for lamp in found.lamps] == pytest.approx([n / sum(lost) for n in lost])


def test_of_very_many_lamps_the_first_are_told_and_those_that_are_marked(monkeypatch):
    monkeypatch.setattr(clipped_lamps, "MOST_LISTED", 3)
    places = [(10 + 30 * n, 40, 12 - n) for n in range(6)]
    found = recovered(still(120, 200, *places), fg.LampMark(161, 41, stops=1.0))
    assert [lamp.area_px for lamp in found.lamps] == [144, 121, 100, 49]
    assert found.areas == 6


@pytest.mark.parametrize(("width", "reach"), [(200, 8), (800, 8), (1400, 14)])
def test_a_mark_means_the_lamp_that_it_lies_on_or_close_beside(width, reach):
    """A thumb misses: by 8 px on a small still, by a hundredth of the width on a large one."""
    picture = still(60, width, (100, 20, 5))
    for x, y in ((102, 22), (104 + reach, 22), (102, 20 - reach), (100 - reach, 24)):
        (lamp,) = recovered(picture, fg.LampMark(x, y, stops=2.0)).lamps
        assert (lamp.marked, lamp.stops) == (True, 2.0)
    for x in (104 + reach + 0.1, 100 - reach - 0.1):
        nearest = 104 if x > 104 else 100
        with pytest.raises(fg.ParameterError, match=rf"The nearest clips at {nearest},22\."):
            recovered(picture, fg.LampMark(x, 22, stops=2.0))


def test_a_mark_lies_inside_the_still():
    picture = still(60, 90, (84, 54, 6))
    (lamp,) = recovered(picture, fg.LampMark(89, 59, stops=2.0)).lamps
    assert lamp.marked
    for x, y in ((90, 59), (89, 60)):
        with pytest.raises(
            fg.ParameterError, match=f"inside the still's 90 x 60 px, got '{x},{y}'"
        ):
            recovered(picture, fg.LampMark(x, y, stops=2.0))
    with pytest.raises(fg.ParameterError, match=r"Nothing in this still clips\."):
        recovered(still(60, 90), fg.LampMark(20, 20, stops=2.0))


def test_the_last_that_is_said_of_a_lamp_counts():
    picture = still(60, 90, (40, 20, 6), (10, 40, 6))
    kind, typed = fg.LampMark(42, 22, kind="globe"), fg.LampMark(42, 22, stops=1.5)
    for marks, stops in (((kind, typed), 1.5), ((typed, kind), None)):
        found = {lamp.x_px: lamp for lamp in recovered(picture, *marks).lamps}
        assert found[12.5].stops == 4.0
        assert (found[42.5].stops == 1.5) is (stops == 1.5)
        assert (found[42.5].uncertain_stops == 0) is (stops == 1.5)


def test_what_was_given_back_is_said_in_one_or_two_sentences():
    lamp = recovered(still(60, 90, (40, 20, 6))).lamps[0]
    lamps = (lamp, replace(lamp, stops=5.25))
    (alone,) = _said((lamp,), 1, 0.0)
    assert alone == "1 clipped area is taken to be up to 4.0 stops above white in what spreads."
    (both,) = _said(lamps, 2, 1 / 3)
    assert both.startswith("2 clipped areas are taken to be up to 5.2 stops above white")
    _, unsure = _said(lamps, 2, 0.34)
    assert "halos may be 0.3 stops weaker or stronger" in unsure


# What lens and pixels do to an edge is a normal distribution of 0.6 px: see BLUR_PX.
@pytest.mark.parametrize("over_white", [3.0, 20.0, 90.0])
def test_a_lamp_without_bloom_is_smaller_than_what_clips_by_its_blurred_edge(over_white):
    shade = KINDS["lampshade"]
    white = White(shade.cd_per_m2 / over_white, 0.0)
    # Where the blurred edge of a half plane falls to white, found by halving.
    low, high = -5.0, 5.0
    for _ in range(60):
        middle = (low + high) / 2
        left = over_white * 0.5 * math.erfc(middle / (0.6 * math.sqrt(2)))
        low, high = (middle, high) if left > 1 else (low, middle)
    core = core_of(shade, white, deepest_px=20, area_px=math.pi * 400, slope=0.1, edge=0.8)
    # Half a pixel of what clips lies beyond the middle of its last pixel.
    assert core == pytest.approx(1 - (low + 0.5) / 20, abs=1e-6)


def test_bloom_is_taken_off_as_far_as_it_is_seen_beside_the_lamp():
    bulb = KINDS["bulb"]
    white = White(bulb.cd_per_m2 / 150, 0.0)

    def reach(edge: float, slope: float = 0.2, area: float = math.pi * 900) -> float:
        core = core_of(bulb, white, deepest_px=30, area_px=area, slope=slope, edge=edge)
        return 30 * (1 - core)

    blur = reach(0.0)
    assert reach(0.2) == blur  # as sharp as a lamp's own edge
    whole = math.sqrt(reach(0.6) ** 2 - blur**2)
    assert whole > 1
    assert reach(0.9) == reach(0.6)
    assert math.sqrt(reach(0.4) ** 2 - blur**2) == pytest.approx(whole / 2)
    # The less steeply light falls, the farther it reaches; what hardly falls is no bloom.
    assert math.sqrt(reach(0.6, 0.1) ** 2 - blur**2) == pytest.approx(2 * whole)
    assert math.sqrt(reach(0.6, 0.025) ** 2 - blur**2) == pytest.approx(8 * whole)
    assert reach(0.6, 0.02 / 30) == reach(0.6, 0.0)
    # A tube blooms no less than a disc of the same depth.
    brightest = White(1e-3, 0.0)
    disc, tube = (
        30 * (1 - core_of(bulb, brightest, deepest_px=30, area_px=a, slope=0.2, edge=1))
        for a in (math.pi * 900, 1e7)
    )
    assert disc < tube
    small = {"deepest_px": 1.2, "area_px": 5.0, "slope": 0.01, "edge": 1.0}
    assert core_of(bulb, brightest, **small) == pytest.approx(0.12)  # something is left of it
    dim = White(bulb.cd_per_m2, 0.0)
    assert core_of(bulb, dim, deepest_px=1e4, area_px=1e9, slope=1, edge=0) == pytest.approx(0.97)


def test_doubts_of_a_level_add_as_standard_deviations_do():
    shade, street = KINDS["lampshade"], KINDS["sodium"]
    known = White(50.0, 0.5)
    level, doubt = level_of(shade, known, share=0.5, steradian=1e-3)
    assert level == pytest.approx(math.log2(1 + (1000 / 50 - 1) / 2))
    assert doubt == pytest.approx(math.hypot(1.0, 0.5))
    level, doubt = level_of(street, known, share=0.5, steradian=1e-4)
    # 1500 cd twenty metres away, on a square metre there, over white on the area's angle.
    assert level == pytest.approx(math.log2(1 + 1500 / 400 / 1e-4 / 50))
    assert doubt == pytest.approx(math.sqrt(1.0 + 0.25 + 1.2**2))
    # Of a white that nobody knows, where such lamps usually burn, give or take two stops.
    usual, doubt = level_of(shade, None, share=1.0, steradian=1e-3)
    assert usual == pytest.approx(math.log2(1000 / shade.white_cd_per_m2))
    assert doubt == pytest.approx(math.hypot(1.0, 2.0))
    assert level_of(shade, White(5000.0, 0.0), share=1.0, steradian=1e-3)[0] == 0


def test_readmes_table_says_how_bright_each_kind_is():
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    start = text.index("| kind | cd/m2 | from |")
    rows = [row.split("|")[1:3] for row in text[start:].split("\n\n")[0].splitlines()[2:]]
    told: dict[str, float | tuple[float, float]] = {}
    for names, numbers in rows:
        kinds = re.findall(r"`([a-z-]+)`", names)
        plain = re.sub(r"(\d),(\d)", r"\1\2", numbers)
        values = [float(number) for number in re.findall(r"\d[\d.]*(?:e\d+)?", plain)]
        if " cd" in numbers:
            away = values[len(kinds) :]
            values = values[: len(kinds)]
            told |= dict(zip(kinds, zip(values, away * len(kinds), strict=False), strict=True))
        else:
            told |= dict(zip(kinds, values, strict=True))
    assert told == {
        name: (kind.candela, kind.metres) if kind.candela else kind.cd_per_m2
        for name, kind in KINDS.items()
    }
