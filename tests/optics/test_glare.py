"""Veiling glare: worked examples, composition and limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.optics.glare import (
    black_lift_stops,
    light_loss_stops,
    veil_share_at_strength,
    veiled_radiance,
)

BLACK = 2**-10
"""Ten stops below white."""


def contrast_ratio(white: float, black: float, *, mean_radiance: float, veil_share: float) -> float:
    lit, dark = (
        veiled_radiance(radiance, mean_radiance=mean_radiance, veil_share=veil_share)
        for radiance in (white, black)
    )
    return lit / dark


@pytest.mark.parametrize(
    ("mean", "veil", "stops"),
    [
        (0.18, 0.005, 9.06),
        (0.18, 0.01, 8.49),
        (0.18, 0.02, 7.754),
        (0.18, 0.05, 6.59),
        (0.5, 0.02, 6.50),
        (0.02, 0.02, 9.50),
    ],
)
def test_stops_left_of_a_scene_of_ten(mean: float, veil: float, stops: float) -> None:
    # By hand for 2 %: (.98 + .0036) / (.98 / 1024 + .0036) = 215.8 = 7.754 stops.
    ratio = contrast_ratio(1.0, BLACK, mean_radiance=mean, veil_share=veil)
    assert math.log2(ratio) == pytest.approx(stops, abs=6e-3)


def test_a_two_percent_veil_in_numbers() -> None:
    veil = {"mean_radiance": 0.18, "veil_share": 0.02}
    assert contrast_ratio(1.0, BLACK, **veil) == pytest.approx(215.8, abs=0.05)
    assert math.log2(contrast_ratio(1.0, BLACK, **veil)) == pytest.approx(7.754, abs=5e-4)
    assert math.log2(contrast_ratio(0.18, BLACK, **veil)) == pytest.approx(5.30, abs=5e-3)
    lift = math.log2(veiled_radiance(BLACK, **veil) / BLACK)
    assert lift == pytest.approx(2.22, abs=5e-3)


@pytest.mark.source("ISO9358", "index: a black patch over the white field around it")
@pytest.mark.parametrize("index", [0.005, 0.02, 0.1])
def test_a_black_patch_in_an_even_white_field_shows_the_veiling_glare_index(index: float) -> None:
    black, white = (
        veiled_radiance(radiance, mean_radiance=1.0, veil_share=index) for radiance in (0.0, 1.0)
    )
    assert black / white == pytest.approx(index, rel=1e-14)


@pytest.mark.parametrize(
    ("veil_over_black", "stops"),
    [(0.0718, 0.1), (0.1892, 0.25), (0.4142, 0.5), (1, 1), (3, 2), (7, 3), (0, 0)],
)
def test_light_that_lifts_a_black(veil_over_black: float, stops: float) -> None:
    assert black_lift_stops(0.01, veil_radiance=0.01 * veil_over_black) == pytest.approx(
        stops, abs=1e-4
    )


@given(
    st.lists(st.floats(0.0, 100.0), min_size=1, max_size=20),
    st.floats(0.0, 1.0),
)
def test_a_veil_keeps_the_mean_light_of_the_frame(frame: list[float], veil: float) -> None:
    mean = float(np.mean(frame))
    veiled = [veiled_radiance(light, mean_radiance=mean, veil_share=veil) for light in frame]
    assert float(np.mean(veiled)) == pytest.approx(mean, rel=1e-12, abs=1e-12)


@given(st.floats(0.0, 0.99), st.floats(0.0, 4.0), st.floats(0.0, 4.0))
def test_veil_strengths_add(veil: float, first: float, second: float) -> None:
    # Two veils in a row over the same mean: light kept in place multiplies.
    light, mean = 3.0, 0.4
    for strength in (first, second):
        share = veil_share_at_strength(veil, strength)
        light = veiled_radiance(light, mean_radiance=mean, veil_share=share)
    whole = veil_share_at_strength(veil, first + second)
    assert light == pytest.approx(
        veiled_radiance(3.0, mean_radiance=mean, veil_share=whole), rel=1e-12
    )


def test_veil_strengths_that_are_known() -> None:
    assert veil_share_at_strength(0.19, 0.0) == 0.0
    assert veil_share_at_strength(0.19, 1.0) == pytest.approx(0.19, rel=1e-14)
    assert veil_share_at_strength(0.19, 0.5) == pytest.approx(0.1, rel=1e-14)  # .9 * .9 = .81
    assert veil_share_at_strength(0.1, 2.0) == pytest.approx(0.19, rel=1e-14)


@pytest.mark.parametrize(
    ("transmittance", "stops"),
    # Light loss of square nets, transmittance (1 - w/p)**2, to three digits.
    [(0.9025, 0.148), (0.81, 0.304), (0.64, 0.644), (0.49, 1.029), (0.5, 1.0), (1.0, 0.0)],
)
def test_light_that_a_transmittance_costs(transmittance: float, stops: float) -> None:
    assert light_loss_stops(transmittance) == pytest.approx(stops, abs=5e-4)


@pytest.mark.parametrize("transmittance", [0.0, -0.5, 1.01, math.nan])
def test_an_impossible_transmittance_is_refused(transmittance: float) -> None:
    with pytest.raises(ParameterError, match=r"transmittance must be"):
        light_loss_stops(transmittance)


@pytest.mark.parametrize("share", [1.0, -0.01, 1.5, math.nan])
def test_a_veil_that_takes_all_light_has_no_strengths(share: float) -> None:
    with pytest.raises(ParameterError, match="veil_share must be"):
        veil_share_at_strength(share, 0.5)


def test_negative_light_and_strength_are_refused() -> None:
    with pytest.raises(ParameterError, match="radiance must be >= 0"):
        veiled_radiance(-0.1, mean_radiance=0.2, veil_share=0.1)
    with pytest.raises(ParameterError, match="strength must be >= 0"):
        veil_share_at_strength(0.1, -1.0)
    with pytest.raises(ParameterError, match="black must be > 0"):
        black_lift_stops(0.0, veil_radiance=0.1)
