"""What haze and its beams may be, and what they say of themselves."""

from __future__ import annotations

import math

import pytest

from frontglass.elements import BareLamp, Beam, Haze
from frontglass.errors import LookError, ParameterError
from frontglass.looks.reading import look_from_toml
from frontglass.optics.stray_lamp import white_from_radiance

BEAM = {
    "right_m": 1.0, "up_m": 2.0, "forward_m": 3.0,
    "aim_right_m": 0.0, "aim_up_m": -1.0, "aim_forward_m": 4.0,
    "cone_deg": 5.0, "level": 2.0,
}  # fmt: skip


LAMP = {"right_m": 2.0, "up_m": 1.0, "forward_m": -3.0, "level": 0.5}


@pytest.mark.source("CIE17", "term 17-31-018: extinction is ln 20 over the range")
def test_extinction_and_optical_range_are_one_thing_said_twice():
    haze = Haze(optical_range_m=149.787)
    assert haze.extinction(1) == pytest.approx(0.02, abs=1e-7)
    assert haze.range_m == pytest.approx(149.787)
    assert haze.at(0.5).range_m == pytest.approx(2 * 149.787)
    assert haze.at(0).range_m == math.inf


@pytest.mark.source("Angstrom1929", "extinction as wavelength to minus the exponent")
def test_fine_mist_takes_more_of_blue():
    haze = Haze(extinction_per_m=0.02, extinction_exponent=1.3)
    red, green, blue = (haze.air(c).extinction_per_m for c in range(3))
    assert green == pytest.approx(0.02)
    assert red / green == pytest.approx((540 / 600) ** 1.3)
    assert blue / green == pytest.approx((540 / 465) ** 1.3)


def test_a_beam_lights_a_white_card_a_metre_away_as_it_says():
    beam = Beam(**BEAM)
    # Intensity over a square metre is illuminance.
    card = 0.9 * beam.intensity(1) / math.pi
    assert card == pytest.approx(2.0)
    assert float(white_from_radiance(card, key_illuminance=math.pi / 0.9)) == pytest.approx(2.0)


def test_a_bare_lamp_lights_a_white_card_a_metre_away_as_it_says():
    lamp = BareLamp(**LAMP, colour=(1.0, 2.0, 0.0))
    cards = [0.9 * lamp.intensity(c) / math.pi for c in range(3)]
    assert cards == pytest.approx([0.5, 1.0, 0.0])
    assert lamp.place_m == (2.0, -1.0, -3.0)


def test_a_beam_goes_where_it_is_aimed():
    beam = Beam(**BEAM).beam()
    # Rows of a picture count downwards: what is up is below 0.
    assert beam.origin_m == (1.0, -2.0, 3.0)
    assert beam.direction == (-1.0, 3.0, 1.0)


@pytest.mark.parametrize(
    "wrong",
    [
        {"extinction_per_m": None},
        {"optical_range_m": 3.0},
        {"extinction_per_m": -1},
        {"extinction_per_m": 65},
        {"albedo": 0},
        {"albedo": 1.2},
        {"asymmetry": 1.0},
        {"extinction_exponent": 5},
        {"airlight": (0.1, 0.2)},
        {"airlight": (0.1, 0.2, -0.1)},
        {"beams": [Beam(**BEAM)]},
        {"beams": (3,)},
        {"lamps": [BareLamp(**LAMP)]},
        {"lamps": (Beam(**BEAM),)},
    ],
)
def test_haze_refuses(wrong):
    with pytest.raises(ParameterError):
        Haze(**{"extinction_per_m": 0.1, **wrong})


@pytest.mark.parametrize("range_m", [0, -5, math.inf])
def test_no_range_is_no_haze(range_m):
    with pytest.raises(ParameterError, match="optical_range_m"):
        Haze(optical_range_m=range_m)


@pytest.mark.parametrize(
    "wrong",
    [
        {"aim_right_m": 1.0, "aim_up_m": 2.0, "aim_forward_m": 3.0},
        {"cone_deg": -1},
        {"edge_deg": 0},
        {"cone_deg": 60, "edge_deg": 40},
        {"level": -1},
        {"colour": (1, 1)},
        {"right_m": math.nan},
    ],
)
def test_a_beam_refuses(wrong):
    with pytest.raises(ParameterError):
        Beam(**{**BEAM, **wrong})


@pytest.mark.parametrize(
    "wrong",
    [
        {"right_m": 0.0, "up_m": 0.0, "forward_m": 0.0},
        {"forward_m": math.inf},
        {"level": -0.1},
        {"colour": (1, 1, -1)},
    ],
)
def test_a_bare_lamp_refuses(wrong):
    with pytest.raises(ParameterError):
        BareLamp(**{**LAMP, **wrong})


class TestInALook:
    HEAD = 'name = "n"\nsummary = "S."\nwatch = "W."\n[[element]]\nkind = "haze"\n'
    BEAM_LINES = "\n".join(f"{key} = {value}" for key, value in BEAM.items())

    def test_beams_are_tables(self):
        text = f"{self.HEAD}extinction_per_m = 0.02\n[[element.beam]]\n{self.BEAM_LINES}\n"
        (haze,) = look_from_toml(text, "look").elements
        assert haze == Haze(extinction_per_m=0.02, beams=(Beam(**BEAM),))

    def test_bare_lamps_are_tables(self):
        lines = "\n".join(f"{key} = {value}" for key, value in LAMP.items())
        text = f"{self.HEAD}extinction_per_m = 0.02\n[[element.lamp]]\n{lines}\n"
        (haze,) = look_from_toml(text, "look").elements
        assert haze == Haze(extinction_per_m=0.02, lamps=(BareLamp(**LAMP),))

    @pytest.mark.parametrize(
        ("lines", "said"),
        [
            ("", "extinction_per_m or optical_range_m must be given"),
            ("extinction_per_m = 0.02\nbeam = 3", "one or more tables [[beam]]"),
            ("extinction_per_m = 0.02\n[[element.beam]]\nlevel = 1", "beam[0]: right_m is missing"),
            ("extinction_per_m = 0.02\n[[element.lamp]]\nlevel = 1", "lamp[0]: right_m is missing"),
            (
                "extinction_per_m = 0.02\n[[element.lamp]]\nright = 1",
                "lamp[0]: unknown key 'right'; known keys are colour, forward_m, level,",
            ),
            ("extinction_per_m = 0.02\nbeams = []", "unknown key 'beams'"),
            ("extinction = 0.02", "Did you mean 'extinction_"),
        ],
    )
    def test_what_is_wrong_is_said_with_its_place(self, lines, said):
        with pytest.raises(LookError) as caught:
            look_from_toml(f"{self.HEAD}{lines}\n", "look")
        assert str(caught.value).startswith("look: element[0]")
        assert said in str(caught.value)
