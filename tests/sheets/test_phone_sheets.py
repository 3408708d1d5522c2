"""Sheets for a phone: shown 390 px wide, no type is below 11 px; missing letters are told."""

from __future__ import annotations

import numpy as np
import pytest

import frontglass as fg
from frontglass.errors import ParameterError
from frontglass.sheets.compare import compare
from frontglass.sheets.ladder import ladder
from frontglass.sheets.sheet import LACKING, PHONE_PX, PHONE_TYPE_PX

CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=24.9)
LOOKS = [fg.read_look(name).at("1/8") for name in ("harbour-night", "rehearsal-room", "late-tram")]
PART = ("hair beside the rim light", fg.Region(20, 10, 30, 24))
NOTE = "The camera is not fully known: assumed a field of 40 degrees along the long side."


@pytest.fixture(scope="module")
def still():
    rng = np.random.default_rng(11)
    return fg.Picture.from_array(rng.integers(20, 200, (72, 128, 3), np.uint8))


def smallest_px(laid, sheet) -> float:
    """Smallest type where the sheet is as wide as a phone's screen."""
    sizes = [said.lines.size_px for said in laid.texts]
    sizes += [tag.size_px for *_, tag in laid.boxes]
    assert len(sizes) > 8
    return min(sizes) * PHONE_PX / sheet.codes.shape[1]


def test_a_comparison_can_be_read_on_a_phone(still, laid):
    said = {"watched": [PART], "numbers": lambda *_: ("edges 12.3 % per px",), "notices": [NOTE]}
    sheet = compare(still, LOOKS, camera=CAMERA, seen_on="phone", **said)
    assert smallest_px(laid, sheet) >= PHONE_TYPE_PX


def test_a_ladder_can_be_read_on_a_phone(still, laid):
    how = {"close_ups": [PART[1]], "notices": [NOTE], "strengths": [0.25, 1]}
    sheet = ladder(still, LOOKS[0], camera=CAMERA, seen_on="phone", **how)
    assert sheet.codes.shape[1] <= 3 * PHONE_PX
    assert smallest_px(laid, sheet) >= PHONE_TYPE_PX
    # One still under the other.
    columns = {x for x, _, codes in laid.pictures if codes.shape[1] > sheet.codes.shape[1] / 2}
    assert len(columns) == 1


def test_a_sheet_is_laid_out_for_a_desk_or_a_phone(still):
    with pytest.raises(ParameterError, match="seen_on must be 'desk' or 'phone'"):
        ladder(still, LOOKS[0], camera=CAMERA, seen_on="wall")


@pytest.mark.parametrize(("name", "lacks"), [("Café Ψ Ночь.jpg", False), ("灯台.jpg", True)])
def test_letters_that_the_type_lacks_are_told(still, laid, name, lacks):
    sheet = compare(still, LOOKS[:1], camera=CAMERA, facts=[name])
    assert (LACKING in sheet.notices) == lacks
    assert LACKING.startswith("The type of sheets has Latin, Greek, Cyrillic, Armenian and")
    assert laid.texts[0].text == ("□□.jpg" if lacks else name)
