"""Checks at the border: what passes, what is refused, and how it is said."""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.checks import (
    check_not_negative,
    check_number,
    check_positive,
    check_share,
    check_within,
)
from frontglass.errors import AccuracyWarning, FrontglassError, ParameterError

CHECKS: list[Callable[[str, object], float]] = [
    check_number,
    check_positive,
    check_not_negative,
    check_share,
    lambda name, value: check_within(name, value, 0.0, 2.0),
]


@pytest.mark.parametrize("check", CHECKS)
@pytest.mark.parametrize(
    "value", [math.nan, math.inf, -math.inf, "1", None, True, False, 1j, [1.0], np.array([1.0])]
)
def test_no_finite_real_number_no_entry(
    check: Callable[[str, object], float], value: object
) -> None:
    with pytest.raises(ParameterError, match=r"width_deg must be a finite number, got ") as caught:
        check("width_deg", value)
    assert caught.value.name == "width_deg"
    assert caught.value.got is value


@pytest.mark.parametrize("check", CHECKS)
@pytest.mark.parametrize("value", [1, 1.0, Fraction(1, 1), np.float32(1), np.int16(1)])
def test_any_kind_of_real_number_comes_out_as_a_float(
    check: Callable[[str, object], float], value: object
) -> None:
    assert type(check("x", value)) is float
    assert check("x", value) == 1.0


@pytest.mark.parametrize(
    ("check", "good", "bad", "rule"),
    [
        (check_positive, [5e-324, 1e308], [0.0, -0.0, -1.0], "> 0"),
        (check_not_negative, [0.0, -0.0, 1e308], [-5e-324, -1.0], ">= 0"),
        (check_share, [0.0, 0.5, 1.0], [-5e-324, 1.0000000000000002], r"in \[0, 1\]"),
    ],
)
def test_borders_are_exact(
    check: Callable[[str, object], float], good: list[float], bad: list[float], rule: str
) -> None:
    for value in good:
        assert check("x", value) == value
    for value in bad:
        with pytest.raises(ParameterError, match=f"x must be {rule}, got "):
            check("x", value)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_within_takes_its_borders_and_nothing_beyond(value: float) -> None:
    if -3.0 <= value <= 7.5:
        assert check_within("x", value, -3.0, 7.5) == value
    else:
        with pytest.raises(ParameterError, match=r"x must be in \[-3, 7\.5\], got "):
            check_within("x", value, -3.0, 7.5)


def test_an_error_says_what_which_value_and_what_to_do() -> None:
    error = ParameterError("beta", "> 1", 0.5, "The tail would hold infinite flux.")
    assert str(error) == "beta must be > 1, got 0.5. The tail would hold infinite flux."
    assert (error.name, error.rule, error.got) == ("beta", "> 1", 0.5)


def test_errors_are_caught_as_frontglass_errors_and_as_value_errors() -> None:
    with pytest.raises(FrontglassError):
        check_positive("x", 0)
    with pytest.raises(ValueError, match="x must be"):
        check_positive("x", 0)
    assert issubclass(AccuracyWarning, UserWarning)


def test_an_error_survives_the_way_from_another_process():
    error = ParameterError("white", "> 0", -3.0, "Say it in cd/m2.")
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), again.name, again.got, again.hint) == (
        "white must be > 0, got -3.0. Say it in cd/m2.",
        "white",
        -3.0,
        "Say it in cd/m2.",
    )
