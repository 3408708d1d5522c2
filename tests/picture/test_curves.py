"""Transfer curves against the standards' numbers."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.picture.curves import (
    BT709_CURVE,
    LINEAR,
    OPRGB_CURVE,
    SRGB_CURVE,
    Curve,
    ParametricCurve,
    SampledCurve,
)

STEPPED = SampledCurve(np.array([0.0, 0.1, 0.1, 0.1, 0.4, 1.0]))
CURVES: dict[str, Curve] = {
    "linear": LINEAR,
    "srgb": SRGB_CURVE,
    "oprgb": OPRGB_CURVE,
    "power": ParametricCurve(1.8),
    "offset": ParametricCurve(2.2, 0.9, 0.1, 0.05, 0.08, e=0.0, f=0.002),
    "sampled": SampledCurve(np.linspace(0, 1, 1024) ** 2.2),
}


@pytest.mark.source("Colour0.4", "eotf_sRGB and eotf_inverse_sRGB")
def test_srgb_agrees_with_colour_science():
    codes, light = np.arange(256) / 255, np.concatenate([[0.001, 0.18], np.linspace(0, 1, 1001)])
    np.testing.assert_allclose(SRGB_CURVE.decode(codes), colour.models.eotf_sRGB(codes), atol=1e-9)
    encoded = colour.models.eotf_inverse_sRGB(light)
    np.testing.assert_allclose(SRGB_CURVE.encode(light), encoded, atol=1e-9)


@pytest.mark.source("Colour0.4", "oetf_BT709 and oetf_inverse_BT709")
def test_bt709_agrees_with_colour_science():
    codes, light = np.arange(256) / 255, np.linspace(0, 1, 1001)
    decoded = colour.models.oetf_inverse_BT709(codes)
    np.testing.assert_allclose(BT709_CURVE.decode(codes), decoded, atol=1e-9)
    encoded = colour.models.oetf_BT709(light)
    np.testing.assert_allclose(BT709_CURVE.encode(light), encoded, atol=1e-9)


@pytest.mark.source("Colour0.4", "RGB_COLOURSPACES, the curve of Adobe RGB (1998), which is opRGB")
def test_oprgb_has_its_exponent():
    decoded = colour.RGB_COLOURSPACES["Adobe RGB (1998)"].cctf_decoding(0.5)
    assert float(OPRGB_CURVE.decode(0.5)) == pytest.approx(float(decoded), abs=1e-12)


@pytest.mark.parametrize("name", CURVES)
@given(signal=st.floats(0, 1))
def test_encode_undoes_decode(name: str, signal: float):
    curve = CURVES[name]
    assert float(curve.encode(curve.decode(signal))) == pytest.approx(signal, abs=1e-6)


@pytest.mark.parametrize("name", CURVES)
def test_curves_rise(name: str):
    signal = np.linspace(0, 1, 4097)
    curve = CURVES[name]
    assert np.all(np.diff(curve.decode(signal)) > -1e-12)
    assert np.all(np.diff(curve.encode(np.sort(curve.decode(signal)))) > -1e-12)


def test_linear_light_is_left_as_it_is():
    light = np.array([-0.5, 0.0, 0.18, 7.0])
    np.testing.assert_array_equal(LINEAR.decode(light), light)
    np.testing.assert_array_equal(LINEAR.encode(light), light)
    assert ParametricCurve(1.0).is_line


def test_curves_without_a_line_are_odd():
    assert float(OPRGB_CURVE.decode(-0.5)) == -float(OPRGB_CURVE.decode(0.5))
    assert float(OPRGB_CURVE.encode(-0.2)) == -float(OPRGB_CURVE.encode(0.2))


def test_a_sampled_curve_goes_on_straight_beyond_its_ends():
    curve = SampledCurve(np.array([0.0, 0.25, 1.0]))
    assert float(curve.decode(1.5)) == pytest.approx(1.75)
    assert float(curve.decode(-0.5)) == pytest.approx(-0.25)
    assert float(curve.encode(1.75)) == pytest.approx(1.5)


def test_a_flat_piece_decodes_to_its_level_and_encodes_to_its_end():
    assert float(STEPPED.decode(0.4)) == pytest.approx(0.1)
    assert float(STEPPED.encode(0.1)) == pytest.approx(0.6)


@pytest.mark.parametrize(
    "samples", [[0.0, 1.0, 0.5], [0.5, 0.5], [0.0], [0.0, float("nan"), 1.0]], ids=str
)
def test_sampled_curves_that_do_not_rise_are_refused(samples: list[float]):
    with pytest.raises(ParameterError, match="curve must be"):
        SampledCurve(np.array(samples))


@pytest.mark.parametrize("parameters", [(0.0,), (-1.0,), (2.2, -1.0), (float("inf"),)])
def test_parametric_curves_that_do_not_rise_are_refused(parameters: tuple[float, ...]):
    with pytest.raises(ParameterError, match="rising"):
        ParametricCurve(*parameters)


def test_below_its_break_a_curve_without_slope_stays_level():
    # ICC's second kind: nothing below -b / a.
    curve = ParametricCurve(2.0, 1.25, -0.25, 0.0, 0.2)
    np.testing.assert_allclose(curve.decode([0.0, 0.1, 0.2, 0.6, 1.0]), [0, 0, 0, 0.25, 1])


def test_below_a_break_at_zero_a_curve_goes_on_straight():
    curve = ParametricCurve(2.0, 1.0, 0.0, 0.5, 0.0)
    np.testing.assert_allclose(curve.decode([-0.4, 0.0, 0.5]), [-0.2, 0, 0.25])
    np.testing.assert_allclose(curve.encode([-0.2, 0.0, 0.25]), [-0.4, 0, 0.5])


def test_one_sample_is_no_curve():
    with pytest.raises(ParameterError, match="two samples or more"):
        SampledCurve(np.array([0.5]))
    np.testing.assert_allclose(SampledCurve(np.array([0.0, 0.5])).decode([0.5]), [0.25])


def test_a_power_of_one_is_a_line_and_no_other_is():
    assert ParametricCurve(1.0).is_line
    assert ParametricCurve(1.0) == LINEAR
    assert not ParametricCurve(2.0).is_line
    assert float(ParametricCurve(2.0).decode(0.5)) == 0.25


def test_a_sampled_curve_may_begin_and_end_level_but_must_rise():
    curve = SampledCurve(np.array([0.0, 0.0, 1.0, 1.0]))
    np.testing.assert_allclose(curve.decode([0.2, 0.5, 0.9]), [0, 0.5, 1])
    with pytest.raises(ParameterError, match="rising"):
        SampledCurve(np.array([0.5, 0.5, 0.5]))


def test_a_flat_foot_has_one_signal_its_end():
    curve = ParametricCurve(2.0, d=0.25, f=0.0625)
    np.testing.assert_allclose(curve.decode([0.0, 0.1, 0.25, 0.5]), [0.0625, 0.0625, 0.0625, 0.25])
    np.testing.assert_allclose(curve.encode([0.0, 0.06, 0.0625, 0.25]), [0.25, 0.25, 0.25, 0.5])


@pytest.mark.parametrize(
    "samples",
    [[0, 1], [0, 0, 1], [0, 1, 1], [0, 0, 1, 1], [0, 0.2, 0.2, 0.2, 1], [0.1, 0.1, 0.3, 0.3, 0.9]],
)
def test_what_a_curve_with_flat_pieces_holds_comes_back(samples: list[float]):
    curve = SampledCurve(np.array(samples, dtype=np.float64))
    # Beyond both ends as well, where light goes on straight.
    light = np.linspace(samples[0], samples[-1], 41)
    np.testing.assert_allclose(curve.decode(curve.encode(light)), light, atol=1e-12)
    around = np.array([samples[0] - 1e-9, samples[0], samples[-1], samples[-1] + 1e-9])
    low, first, last, high = curve.encode(around)
    assert (low, last) == (pytest.approx(first, abs=1e-6), 1)
    assert high == pytest.approx(1, abs=1e-6)
    assert (np.diff(curve.encode(np.linspace(-0.5, 1.5, 300))) > 0).all()


def test_a_curve_that_does_not_begin_at_black_goes_on_straight_too():
    curve = SampledCurve(np.array([0.2, 0.3, 0.5]))
    # A fifth of white for the whole first half, two fifths for the second, and so on beyond.
    np.testing.assert_allclose(curve.decode([-0.5, 0, 0.5, 1, 1.5]), [0.1, 0.2, 0.3, 0.5, 0.7])
    np.testing.assert_allclose(curve.encode([0.1, 0.2, 0.3, 0.5, 0.7]), [-0.5, 0, 0.5, 1, 1.5])
