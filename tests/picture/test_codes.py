"""Fast decoding and encoding against the plain formulas."""

from __future__ import annotations

from dataclasses import dataclass

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from frontglass import threads
from frontglass.picture.codes import (
    Target,
    codes_from_radiance,
    is_grey,
    radiance_from_codes,
    tells_finite_light,
)
from frontglass.picture.curves import (
    LINEAR,
    OPRGB_CURVE,
    SRGB_CURVE,
    Curve,
    ParametricCurve,
    SampledCurve,
    Values,
)
from frontglass.picture.encoding import Sample
from frontglass.picture.hdr_curves import HLG, PQ
from frontglass.picture.primaries import BT709, BT2020

CURVES: dict[str, tuple[Curve, ...]] = {
    "srgb": (SRGB_CURVE,) * 3,
    "oprgb": (OPRGB_CURVE,) * 3,
    "three": (SRGB_CURVE, ParametricCurve(1.8), SampledCurve(np.linspace(0, 1, 256) ** 2.4)),
}


def every_code(sample: Sample) -> np.ndarray:
    top = np.iinfo(sample.dtype).max
    column = np.arange(top + 1, dtype=sample.dtype)[:, np.newaxis, np.newaxis]
    return np.repeat(column, 3, axis=2)


def ramp(rows: int = 300, columns: int = 200) -> np.ndarray:
    """A gradient so shallow that plain rounding would band it."""
    light = np.linspace(0.2, 0.22, rows * columns).reshape(rows, columns)
    return np.repeat(light[..., np.newaxis], 3, axis=2).astype(np.float32)


@pytest.mark.parametrize("sample", [Sample.UINT8, Sample.UINT16])
@pytest.mark.parametrize("name", CURVES)
def test_decoding_agrees_with_the_curves_formula(sample: Sample, name: str):
    codes, curves = every_code(sample), CURVES[name]
    light = radiance_from_codes(codes, curves)
    top = np.iinfo(sample.dtype).max
    for channel, curve in enumerate(curves):
        expected = curve.decode(codes[..., channel] / top)
        np.testing.assert_allclose(light[..., channel], expected, rtol=1e-7)


@pytest.mark.parametrize("sample", [Sample.UINT8, Sample.UINT16])
@pytest.mark.parametrize("name", CURVES)
def test_unchanged_light_keeps_every_code(sample: Sample, name: str):
    codes, curves = every_code(sample), CURVES[name]
    light = radiance_from_codes(codes, curves)
    coded = codes_from_radiance(light, Target(sample=sample, curves=curves, original=codes))
    np.testing.assert_array_equal(coded.codes, codes)
    assert coded.is_unchanged


@pytest.mark.parametrize("name", CURVES)
def test_16_bit_codes_come_back_without_their_original(name: str):
    codes, curves = every_code(Sample.UINT16), CURVES[name]
    light = radiance_from_codes(codes, curves)
    coded = codes_from_radiance(light, Target(sample=Sample.UINT16, curves=curves))
    # Float32 light of a power curve near black may lie a rounding beside the code.
    assert np.abs(coded.codes.astype(int) - codes.astype(int)).max() <= 1
    assert np.mean(coded.codes != codes) < 0.001


@pytest.mark.parametrize("name", CURVES)
def test_16_bit_encoding_agrees_with_the_curves_formula(name: str):
    rng = np.random.default_rng(1)
    light = rng.random((50, 60, 3)).astype(np.float32) ** 3
    coded = codes_from_radiance(light, Target(sample=Sample.UINT16, curves=CURVES[name]))
    for channel, curve in enumerate(CURVES[name]):
        exact = 65535 * curve.encode(light[..., channel])
        # Rounding is half a code, the table's straight pieces a little more.
        assert np.abs(coded.codes[..., channel] - exact).max() < 0.51


def test_8_bit_dither_is_one_code_at_most_and_keeps_the_mean():
    light = ramp()
    coded = codes_from_radiance(light, Target(sample=Sample.UINT8, curves=CURVES["srgb"]))
    exact = 255 * SRGB_CURVE.encode(light)
    error = coded.codes - exact
    assert np.abs(error).max() < 1.5 + 0.03
    # 60000 samples of triangular noise: the mean's own scatter is 0.002.
    assert abs(error.mean()) < 0.01
    assert 0.4 < error.std() < 0.6


@given(code=st.floats(0, 255))
@settings(max_examples=60, deadline=None)
def test_8_bit_dither_is_unbiased_everywhere_even_beside_black_and_white(code: float):
    light = np.full((128, 128, 3), SRGB_CURVE.decode(code / 255), dtype=np.float32)
    coded = codes_from_radiance(light, Target(sample=Sample.UINT8, curves=CURVES["srgb"]))
    # Every rank stands once in the tile; the table of cut floats adds up to 0.02 of a code.
    np.testing.assert_allclose(coded.codes.mean(axis=(0, 1)), code, atol=0.025)


@pytest.mark.parametrize("name", ["srgb", "oprgb"])
def test_pure_black_and_white_get_no_noise(name: str):
    light = np.zeros((64, 64, 3), dtype=np.float32)
    light[32:] = 1.0
    light[48:] = 7.5
    light[:8] = -0.5
    coded = codes_from_radiance(light, Target(sample=Sample.UINT8, curves=CURVES[name]))
    assert np.all(coded.codes[:32] == 0)
    assert np.all(coded.codes[32:] == 255)


@pytest.mark.source("BT2408", "table 1: diffuse white is 58 % of a PQ and 75 % of an HLG signal")
@pytest.mark.parametrize(("curve", "share"), [(PQ, 0.58), (HLG, 0.75)])
def test_white_that_is_not_the_highest_code_has_the_code_it_should(curve: Curve, share: float):
    light = np.ones((128, 128, 3), dtype=np.float32)
    coded = codes_from_radiance(light, Target(sample=Sample.UINT8, curves=(curve,) * 3))
    assert coded.codes.mean() == pytest.approx(255 * share, abs=0.005 * 255)


@pytest.mark.parametrize("code", [100.0, 100.25, 100.5])
def test_dither_is_fine_grained(code: float):
    """Blue noise: averages over 4 x 4 px are quieter than white noise would leave them."""
    light = np.full((256, 256, 3), SRGB_CURVE.decode(code / 255), dtype=np.float32)
    coded = codes_from_radiance(light, Target(sample=Sample.UINT8, curves=CURVES["srgb"])).codes
    values = coded[..., 1].astype(float)
    blocks = values.reshape(64, 4, 64, 4).mean(axis=(1, 3))
    # White noise would be a quarter of the single pixels' scatter; 0.62 of that is measured.
    assert blocks.std() < 0.7 * values.std() / 4


def test_only_changed_samples_are_dithered():
    codes = np.full((80, 90, 3), 120, dtype=np.uint8)
    light = radiance_from_codes(codes, CURVES["srgb"])
    light[20:40, :, 1] *= np.float32(1.001)
    target = Target(sample=Sample.UINT8, curves=CURVES["srgb"], original=codes)
    coded = codes_from_radiance(light, target)
    changed = coded.codes != codes
    assert changed[20:40, :, 1].any()
    changed[20:40, :, 1] = False
    assert not changed.any()
    assert not coded.is_unchanged


@pytest.mark.parametrize("samples", [1, 600, 7000, 1 << 30])
def test_strips_do_not_show(samples: int, monkeypatch: pytest.MonkeyPatch):
    light = ramp()
    target = Target(sample=Sample.UINT8, curves=CURVES["srgb"])
    expected = codes_from_radiance(light, target).codes
    monkeypatch.setattr(threads, "STRIP_SAMPLES", samples)
    np.testing.assert_array_equal(codes_from_radiance(light, target).codes, expected)


def test_clipping_is_counted_in_pixels():
    light = np.full((10, 10, 3), 0.5, dtype=np.float32)
    light[0, :5] = 2.0
    light[1, 0, 2] = 1.5
    light[2, 0, 0] = -0.1
    coded = codes_from_radiance(light, Target(sample=Sample.UINT16, curves=CURVES["srgb"]))
    assert coded.share_above == pytest.approx(0.06)
    assert coded.share_below == pytest.approx(0.01)


def test_light_goes_into_other_primaries_on_the_way():
    rng = np.random.default_rng(2)
    light = rng.random((20, 30, 3)).astype(np.float32)
    matrix = BT709.matrix_to(BT2020)
    target = Target(sample=Sample.FLOAT, curves=(LINEAR,) * 3, matrix=matrix)
    got = codes_from_radiance(light, target).codes
    np.testing.assert_allclose(got, light @ matrix.T, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("sample", [Sample.HALF, Sample.FLOAT])
def test_linear_floats_are_the_light_itself(sample: Sample):
    rng = np.random.default_rng(3)
    codes = (rng.standard_normal((20, 30, 3)) * 5).astype(sample.dtype)
    light = radiance_from_codes(codes, (LINEAR,) * 3)
    np.testing.assert_array_equal(light, codes.astype(np.float32))
    coded = codes_from_radiance(light, Target(sample=sample, curves=(LINEAR,) * 3))
    np.testing.assert_array_equal(coded.codes, codes)


def test_grey_codes_give_three_equal_channels():
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16, 1)
    light = radiance_from_codes(codes, (SRGB_CURVE,))
    assert light.shape == (16, 16, 3)
    assert is_grey(light)
    light[3, 4, 1] *= np.float32(1.01)
    assert not is_grey(light)


def test_greyness_ignores_float_rounding():
    light = np.full((4, 4, 3), 0.3, dtype=np.float32)
    light[..., 2] = np.nextafter(np.float32(0.3), np.float32(1))
    assert is_grey(light)


@pytest.mark.parametrize("sample", list(Sample))
@pytest.mark.parametrize("rows", [4, 2000])
def test_light_that_every_code_holds_is_cut_nowhere(sample: Sample, rows: int):
    light = np.full((rows, 60, 3), 0.5, dtype=np.float32)
    coded = codes_from_radiance(light, Target(sample=sample, curves=CURVES["srgb"]))
    assert (coded.share_above, coded.share_below) == (0, 0)


def test_what_is_cut_is_counted_over_all_strips():
    light = np.full((2000, 60, 3), 0.5, dtype=np.float32)
    light[::20] = 2.0
    light[1::40] = -1.0
    coded = codes_from_radiance(light, Target(sample=Sample.UINT8, curves=CURVES["srgb"]))
    assert (coded.share_above, coded.share_below) == (1 / 20, 1 / 40)


@pytest.mark.parametrize("channel", range(3))
@pytest.mark.parametrize("row", [0, 63, 64, 129])
def test_one_pixel_of_colour_anywhere_is_not_grey(channel: int, row: int):
    light = np.full((130, 7, 3), 0.3, dtype=np.float32)
    light[row, 3, channel] *= np.float32(1.001)
    assert not is_grey(light)


@pytest.mark.parametrize("sample", [Sample.UINT8, Sample.UINT16])
def test_black_is_not_below_black_and_white_not_above_white(sample: Sample):
    light = np.full((4, 5, 3), 0.5, np.float32)
    light[0], light[1] = 0, 1
    light[2, 0, 1], light[2, 1:3] = 1.5, 1.01
    light[3, 0], light[3, 1, 2] = (-0.1, 2, 0.5), -1e-6
    coded = codes_from_radiance(light, Target(sample=sample, curves=CURVES["srgb"]))
    assert (coded.share_above, coded.share_below) == (4 / 20, 2 / 20)
    assert not coded.is_unchanged
    top = np.iinfo(sample.dtype).max
    assert (coded.codes[0].max(), coded.codes[1].min()) == (0, top)
    assert coded.codes[3, 0, 0] == 0
    assert coded.codes[3, 0, 1] == top


@pytest.mark.source("Colour0.4", "eotf_inverse_ST2084, oetf_BT2100_HLG")
def test_hdr_signals_of_light_are_those_of_colour_science():
    light = np.concatenate([[0.0, 1e-4, 0.01], np.linspace(0.02, 3.5, 60)])
    # Diffuse white is 203 cd/m2 of PQ, and the scene light of a signal of 75 % of HLG.
    pq = colour.models.eotf_inverse_ST2084(203 * light)
    np.testing.assert_allclose(PQ.encode(light), pq, atol=1e-6)
    white = float(colour.models.oetf_inverse_BT2100_HLG(0.75))
    with np.errstate(invalid="ignore"):  # of what it does not take
        hlg = colour.models.oetf_BT2100_HLG(light * white)
    np.testing.assert_allclose(HLG.encode(light), hlg, atol=1e-6)
    np.testing.assert_allclose(HLG.encode(-light), -HLG.encode(light))


@dataclass(frozen=True)
class BrokenCurve:
    """A curve that has no light for one code in the middle."""

    light: float

    def decode(self, signal: ArrayLike) -> Values:
        x = np.asarray(signal, np.float64)
        return np.where(np.abs(x - 0.4) < 1e-6, self.light, x)

    def encode(self, light: ArrayLike) -> Values:
        return np.asarray(light, np.float64)


@pytest.mark.parametrize("spoilt", [np.nan, np.inf])
@pytest.mark.parametrize("sample", [Sample.UINT8, Sample.UINT16])
def test_codes_tell_finite_light_unless_a_curve_has_none(sample: Sample, spoilt: float) -> None:
    for curves in CURVES.values():
        assert tells_finite_light(sample, curves)
        assert not tells_finite_light(sample, (*curves[:2], BrokenCurve(spoilt)))
