"""Units people use, turned into the ones the physics uses, and back."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import FrontglassError, ParameterError
from frontglass.units import (
    LARGEST_STRENGTH,
    STOCK_STRENGTHS,
    deg_from_rad,
    rad_from_deg,
    ratio_from_stops,
    stops_from_ratio,
    strength_from_text,
    strength_text,
    strengths_from_text,
)


@pytest.mark.parametrize(
    ("text", "strength"),
    [
        ("1/8", 0.125),
        ("1/4", 0.25),
        ("1/2", 0.5),
        ("1", 1.0),
        ("2", 2.0),
        ("0", 0.0),
        ("0.3", 0.3),
        (" 1/3 ", 1 / 3),
        (".5", 0.5),
        ("3/2", 1.5),
        ("1e-3", 1e-3),
        ("0,25", 0.25),
        ("½", 0.5),
        ("¼", 0.25),
        (" ⅛ ", 0.125),
        ("1½", 1.5),
    ],
)
def test_a_strength_reads_as_the_trade_writes_it(text: str, strength: float) -> None:
    assert strength_from_text(text) == strength


@pytest.mark.parametrize("strength", [0, 1, 2.5, 64])
def test_a_strength_may_be_a_number_already(strength: float) -> None:
    assert strength_from_text(strength) == strength


@pytest.mark.parametrize(
    "text",
    [
        "",
        "half",
        "1/0",
        "-1/4",
        "-0.1",
        "65",
        "nan",
        "inf",
        "1/2/3",
        "1,5,5",
        "²",
        "x½",
        "1/4x",
        "1e999999999",
    ],
)
def test_what_is_no_strength_is_refused_by_name_with_an_example(text: str) -> None:
    with pytest.raises(ParameterError, match=r"strength must be .* like 1/4") as caught:
        strength_from_text(text)
    assert repr(text) in str(caught.value)


@pytest.mark.parametrize(
    ("text", "strengths"),
    [
        ("1/8,1/4", (0.125, 0.25)),
        ("0.25, 1", (0.25, 1.0)),
        ("¼,½,1", (0.25, 0.5, 1.0)),
        ("0,25 0,5", (0.25, 0.5)),
        ("0,25;0,5", (0.25, 0.5)),
        ("0,1/2", (0.0, 0.5)),
        ("2", (2.0,)),
    ],
)
def test_strengths_in_a_list(text: str, strengths: tuple[float, ...]) -> None:
    assert strengths_from_text(text) == strengths


@pytest.mark.parametrize("text", ["0,25", "0,5,1", "1/8, 0,25"])
def test_a_comma_that_may_be_a_decimal_one_is_asked_about(text: str) -> None:
    with pytest.raises(ParameterError):
        strengths_from_text(text)
    with pytest.raises(ParameterError, match=r"Write 0\.25 for one; 0 is the bare still"):
        strengths_from_text("0,25")


@pytest.mark.parametrize("value", [math.nan, math.inf, -1e-9, 64.0001])
def test_a_number_that_is_no_strength_is_refused(value: float) -> None:
    with pytest.raises(ParameterError, match="strength"):
        strength_from_text(value)


@given(st.text(max_size=12))
def test_any_text_is_a_strength_in_range_or_one_clear_error(text: str) -> None:
    try:
        strength = strength_from_text(text)
    except FrontglassError as error:
        assert "\n" not in str(error)  # noqa: PT017 - other exceptions must surface as they are
    else:
        assert 0 <= strength <= LARGEST_STRENGTH


@pytest.mark.parametrize("strength", STOCK_STRENGTHS)
def test_stock_strengths_are_written_as_fractions_and_read_back(strength: Fraction) -> None:
    assert strength_text(float(strength)) == str(strength)
    assert strength_from_text(strength_text(float(strength))) == float(strength)


@given(st.floats(0.0, LARGEST_STRENGTH))
def test_a_strength_written_and_read_back_stays_within_four_digits(strength: float) -> None:
    assert strength_from_text(strength_text(strength)) == pytest.approx(strength, rel=5e-4)


def test_right_angle_and_radian() -> None:
    assert rad_from_deg(180.0) == math.pi
    assert deg_from_rad(1.0) == pytest.approx(57.29577951308232, rel=1e-15)


@given(st.floats(-1e6, 1e6))
def test_degrees_survive_the_round_trip(angle_deg: float) -> None:
    assert deg_from_rad(rad_from_deg(angle_deg)) == pytest.approx(angle_deg, rel=1e-14)


@pytest.mark.parametrize(
    ("ratio", "stops"), [(1.0, 0.0), (2.0, 1.0), (0.125, -3.0), (1024.0, 10.0)]
)
def test_a_stop_is_a_factor_of_two(ratio: float, stops: float) -> None:
    assert stops_from_ratio(ratio) == stops
    assert ratio_from_stops(stops) == ratio
