"""Pictures of bare arrays: what numbers mean, and what comes back as numbers."""

from __future__ import annotations

from itertools import product

import colour
import numpy as np
import pytest

import frontglass as fg
from frontglass.errors import ParameterError
from frontglass.picture.arrays import array_like
from frontglass.picture.encoding import Tone
from frontglass.picture.primaries import BT2020, NamedPrimaries, primaries_of

SHAPES = [(5, 7), (5, 7, 1), (5, 7, 3), (5, 7, 4)]
FLOATS = [np.float16, np.float32, np.float64]
CODES = [np.uint8, np.uint16]


def numbers(shape: tuple[int, ...], dtype: type) -> np.ndarray:
    """Any light, or any codes."""
    rng = np.random.default_rng(7)
    if np.dtype(dtype).kind == "f":
        return rng.uniform(0, 1, shape).astype(dtype)
    return rng.integers(0, np.iinfo(dtype).max, shape, dtype, endpoint=True)


def back(array: np.ndarray) -> np.ndarray:
    picture = fg.Picture.from_array(array)
    return array_like(array, picture.radiance, picture.encoding, picture.primaries)


class TestMeaning:
    @pytest.mark.source("Colour0.4", "eotf_sRGB of code 188")
    @pytest.mark.parametrize(("dtype", "code"), [(np.uint8, 188), (np.uint16, 188 * 257)])
    def test_whole_numbers_are_srgb_codes(self, dtype: type, code: int):
        picture = fg.Picture.from_array(np.full((2, 3, 3), code, dtype))
        expected = float(colour.models.eotf_sRGB(188 / 255))
        np.testing.assert_allclose(picture.radiance, expected, rtol=1e-6)

    @pytest.mark.parametrize("dtype", FLOATS)
    def test_floats_are_light(self, dtype: type):
        array: np.ndarray = numbers((5, 7, 3), dtype) * 40
        picture = fg.Picture.from_array(array)
        np.testing.assert_array_equal(picture.radiance, array.astype(np.float32))

    def test_white_and_curve_are_what_is_said(self):
        ten_bits = np.array([[0, 511.5, 1023]]).repeat(2, 0)
        for array in (ten_bits, np.floor(ten_bits).astype(np.uint16)):
            linear = fg.Picture.from_array(array, white=1023, curve="linear").radiance
            np.testing.assert_allclose(linear[0, :, 0], [0, 0.5, 1], atol=5e-4)
            coded = fg.Picture.from_array(array, white=1023, curve="srgb").radiance
            np.testing.assert_allclose(coded[0, :, 0], [0, 0.21404, 1], atol=5e-4)

    def test_a_white_of_floats_is_a_gain(self):
        light = fg.Picture.from_array(np.full((2, 2), 50.0), white=100).radiance
        np.testing.assert_array_equal(light, 0.5)

    @pytest.mark.parametrize("dtype", [np.int16, np.int32, np.int64, np.uint32, np.uint64])
    def test_other_whole_numbers_must_say_their_white(self, dtype: type):
        array: np.ndarray = np.full((2, 3), 255, dtype)
        with pytest.raises(ParameterError, match=f"white must be given .* Which {array.dtype}"):
            fg.Picture.from_array(array)
        np.testing.assert_array_equal(fg.Picture.from_array(array, white=255).radiance, 1)

    def test_grey_is_three_equal_channels_and_says_it_was_one(self):
        for shape in SHAPES[:2]:
            picture = fg.Picture.from_array(numbers(shape, np.uint8))
            assert picture.encoding.tone is Tone.GREY
            assert (picture.radiance == picture.radiance[..., :1]).all()

    def test_primaries_go_by_name(self):
        array = numbers((5, 7, 3), np.float32)
        assert fg.Picture.from_array(array, primaries="bt2020").primaries == BT2020
        assert {primaries_of(name).is_close_to(BT2020) for name in NamedPrimaries} == {True, False}
        assert len({primaries_of(name) for name in NamedPrimaries}) == len(NamedPrimaries)
        with pytest.raises(ParameterError, match=r"primaries must be 'bt709', 'p3-d65', .*'ap1'"):
            fg.Picture.from_array(array, primaries="rec709")

    @pytest.mark.parametrize(("dtype", "shape"), list(product([*FLOATS, *CODES], SHAPES)))
    def test_memory_order_does_not_matter(self, dtype: type, shape: tuple[int, ...]):
        array = numbers(shape, dtype)
        plain = fg.Picture.from_array(array)
        for other in (np.asfortranarray(array), array[::-1, ::-1][::-1, ::-1]):
            again = fg.Picture.from_array(other)
            np.testing.assert_array_equal(again.radiance, plain.radiance)
            assert again.radiance.flags.c_contiguous


class TestRefusals:
    @pytest.mark.parametrize(
        "array", [np.zeros((2, 2), bool), np.zeros((2, 2), complex), [["a"]], np.array([[None]])]
    )
    def test_what_is_no_number(self, array):
        with pytest.raises(ParameterError, match="array must be of floats or whole numbers"):
            fg.Picture.from_array(array)

    @pytest.mark.parametrize("shape", [(4,), (2, 2, 2), (3, 4, 5), (2, 2, 3, 1), (0, 4, 3)])
    def test_what_is_no_picture(self, shape: tuple[int, ...]):
        with pytest.raises(ParameterError, match="array must be of shape"):
            fg.Picture.from_array(np.zeros(shape))

    @pytest.mark.parametrize(
        ("how", "said"),
        [
            ({"curve": "gamma"}, "curve must be 'srgb' or 'linear', got 'gamma'"),
            ({"white": 0}, "white must be > 0"),
            ({"non_finite": "skip"}, "non_finite must be 'refuse' or 'mend', got 'skip'"),
        ],
    )
    def test_wrong_choices_name_the_right_ones(self, how: dict, said: str):
        with pytest.raises(ParameterError, match=said):
            fg.Picture.from_array(np.zeros((2, 2)), **how)

    def test_alpha_beyond_opaque(self):
        array = np.zeros((2, 2, 4))
        array[0, 0, 3] = 1.5
        with pytest.raises(ParameterError, match="alpha must be from 0 to opaque"):
            fg.Picture.from_array(array)


class TestNonFinite:
    @pytest.mark.parametrize("shape", SHAPES)
    @pytest.mark.parametrize("dtype", FLOATS)
    @pytest.mark.parametrize("value", [np.nan, np.inf])
    def test_it_is_refused_or_mended(self, dtype: type, shape: tuple[int, ...], value: float):
        array: np.ndarray = np.full(shape, 0.5, dtype)
        array[(3, 4, 0)[: array.ndim]] = value
        with pytest.raises(ParameterError, match=r"array must be finite, .* x 4, y 3"):
            fg.Picture.from_array(array)
        picture = fg.Picture.from_array(array, non_finite="mend")
        np.testing.assert_array_equal(picture.radiance, 0.5)
        assert "mended" in picture.notices[0]


class TestFiles:
    @pytest.mark.parametrize("shape", SHAPES)
    @pytest.mark.parametrize("dtype", CODES)
    def test_codes_are_written_as_they_came(self, tmp_path, dtype: type, shape: tuple[int, ...]):
        array = numbers(shape, dtype)
        out = tmp_path / "out.png"
        assert fg.write_picture(out, fg.Picture.from_array(array)) == ()
        encoding = fg.read_picture(out).encoding
        codes = encoding.codes
        if shape[-1] == 4:
            codes = np.concatenate([codes, encoding.alpha.codes[..., np.newaxis]], axis=2)
        np.testing.assert_array_equal(codes.reshape(shape), array)

    @pytest.mark.parametrize("dtype", FLOATS)
    def test_floats_are_written_as_light(self, tmp_path, dtype: type):
        array = numbers((5, 7, 3), dtype) * 40
        out = tmp_path / "out.exr"
        fg.write_picture(out, fg.Picture.from_array(array))
        read = fg.read_picture(out)
        np.testing.assert_array_equal(read.radiance, array.astype(np.float32))
        assert read.encoding.sample == ("float16" if dtype is np.float16 else "float32")

    def test_alpha_of_other_whole_numbers_is_opaque_at_their_white(self):
        array = np.full((2, 3, 4), 1023, np.uint16)
        alpha = fg.Picture.from_array(array, white=1023).encoding.alpha
        np.testing.assert_array_equal(alpha.codes, 65535)


class TestBack:
    @pytest.mark.parametrize(("dtype", "shape"), list(product([*FLOATS, *CODES], SHAPES)))
    def test_light_that_never_changed_is_the_array_again(self, dtype, shape):
        array = numbers(shape, dtype)
        again = back(array)
        assert (again.dtype, again.shape) == (array.dtype, array.shape)
        expected = array.astype(np.float32).astype(dtype)
        if shape[-1] == 4:
            expected[..., 3] = array[..., 3]  # never touched
        np.testing.assert_array_equal(again, expected)

    @pytest.mark.source("Colour0.4", "WEIGHTS_YCBCR, BT.2020")
    def test_one_channel_is_the_luminance_of_three(self):
        picture = fg.Picture.from_array(np.full((2, 3), 0.5), primaries="bt2020")
        red = np.zeros((2, 3, 3), np.float32)
        red[..., 0] = 1
        again = array_like(np.zeros((2, 3)), red, picture.encoding, picture.primaries)
        np.testing.assert_allclose(again, colour.WEIGHTS_YCBCR["ITU-R BT.2020"][0], atol=5e-5)

    def test_half_floats_that_cannot_hold_the_light_are_refused(self):
        picture = fg.Picture.from_array(np.zeros((2, 2, 3), np.float16))
        light = np.full((2, 2, 3), 7e4, np.float32)
        with pytest.raises(ParameterError, match="float32 or float64"):
            array_like(np.zeros((2, 2, 3), np.float16), light, picture.encoding, picture.primaries)


@pytest.mark.parametrize("white", [1.0, 2.0, 4.0])
def test_linear_light_is_told_over_its_white(white: float):
    array = np.full((4, 5, 3), 2.0)
    picture = fg.Picture.from_array(array, curve="linear", white=white)
    np.testing.assert_array_equal(picture.radiance, np.float32(2 / white))
