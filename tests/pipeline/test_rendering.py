"""The public `render`: what it takes, what it refuses, and what comes back."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

import frontglass as fg
from frontglass.errors import ParameterError

CAMERA = fg.Camera.from_field(40.0)
GLOW = fg.Glow(optical_depth=0.4, lobes=(fg.ExponentialLobe(scale_deg=1.5),), clear_share=0.7)
VEIL = fg.Veil(veil_share=0.05)
LOOK = fg.Look(elements=(GLOW, VEIL))
SHAPES = [(24, 36), (24, 36, 1), (24, 36, 3), (24, 36, 4)]


def night(shape: tuple[int, ...], dtype: type) -> np.ndarray:
    """Dim noise and a lamp, as light or as codes."""
    light = np.random.default_rng(5).uniform(0.02, 0.2, shape)
    light[8:11, 12:15] = 1.0
    if shape[-1] == 4:
        light[..., 3] = np.linspace(0, 1, shape[1])
    if np.dtype(dtype).kind == "f":
        return light.astype(dtype)
    return np.rint(light * np.iinfo(dtype).max).astype(dtype)


@pytest.fixture(scope="module")
def still() -> fg.Picture:
    return fg.Picture.from_array(night((24, 36, 3), np.float32) * 50)


class TestLooks:
    def test_one_look_is_several_of_one(self, still):
        np.testing.assert_array_equal(
            fg.render(still, LOOK).radiance, fg.render(still, [LOOK]).radiance
        )

    @pytest.mark.parametrize(
        "looks", [[GLOW, VEIL], (VEIL, GLOW), iter([GLOW, VEIL]), [fg.Look(elements=[GLOW]), VEIL]]
    )
    def test_elements_stand_for_looks_of_one(self, still, looks):
        np.testing.assert_array_equal(
            fg.render(still, looks).radiance, fg.render(still, LOOK).radiance
        )

    def test_one_element_is_a_look(self, still):
        expected = fg.render(still, fg.Look(elements=(GLOW,))).radiance
        np.testing.assert_array_equal(fg.render(still, GLOW).radiance, expected)

    @pytest.mark.parametrize(
        "looks", ["harbour-night", "", ["harbour-night"], None, 3, [LOOK, None], fg.Veil]
    )
    def test_anything_else_is_refused(self, still, looks):
        with pytest.raises(ParameterError, match="looks must be a look, an element, or several"):
            fg.render(still, looks)


class TestChoices:
    @pytest.mark.parametrize("name", ["lampless", "mirror", "dark"])
    def test_a_string_is_its_member(self, still, name: str):
        member = fg.Surround(name)
        long_lens = fg.Camera.from_field(3.0)  # the dots of a net are pixels apart
        for look in (LOOK, fg.Net(pitch_mm=0.5, thread_mm=0.05)):
            np.testing.assert_array_equal(
                fg.render(still, look, camera=long_lens, surround=name).radiance,
                fg.render(still, look, camera=long_lens, surround=member).radiance,
            )

    def test_lamps_have_no_mirror_images_unasked_and_dark_is_darker(self, still):
        usual = fg.render(still, LOOK).radiance
        np.testing.assert_array_equal(fg.render(still, LOOK, surround="lampless").radiance, usual)
        mirrored, dark = (
            fg.render(still, LOOK, surround=name).radiance[0, 0].sum()
            for name in ("mirror", "dark")
        )
        assert dark < usual[0, 0].sum() < mirrored

    @pytest.mark.parametrize("wrong", ["nonsense", "", "MIRROR", None, True, 0])
    def test_a_wrong_surround_names_the_right_ones(self, still, wrong):
        with pytest.raises(
            ParameterError, match="surround must be 'lampless', 'mirror' or 'dark', got"
        ):
            fg.render(still, LOOK, surround=wrong)

    @pytest.mark.parametrize("wrong", ["no", 0, 1, None, np.True_])
    def test_compensation_is_yes_or_no(self, still, wrong):
        with pytest.raises(ParameterError, match="compensate must be True or False, got"):
            fg.render(still, LOOK, compensate=wrong)

    def test_no_compensation_shows_the_light_lost(self, still):
        np.testing.assert_allclose(
            fg.render(still, LOOK, compensate=False).radiance,
            fg.render(still, LOOK).radiance * 0.7,
            rtol=1e-6,
        )

    @pytest.mark.parametrize("wrong", [50, "50mm", (50, 24.9)])
    def test_a_camera_is_a_camera(self, still, wrong):
        with pytest.raises(ParameterError, match="camera must be a Camera or None"):
            fg.render(still, LOOK, camera=wrong)


class TestArrays:
    @pytest.mark.parametrize(
        ("dtype", "shape"), list(product([np.float16, np.float32, np.float64], SHAPES))
    )
    def test_floats_are_light_before_and_after(self, dtype: type, shape: tuple[int, ...]):
        array = night(shape, dtype)
        before = array.copy()
        seen = fg.render(array, LOOK, camera=CAMERA)
        np.testing.assert_array_equal(array, before)
        assert (type(seen), seen.dtype, seen.shape) == (np.ndarray, array.dtype, shape)
        picture = fg.render(fg.Picture.from_array(array), LOOK, camera=CAMERA)
        colour = seen.reshape(24, 36, -1)
        tone = min(colour.shape[2], 3)
        expected: np.ndarray = picture.radiance[..., :tone].astype(dtype)
        np.testing.assert_allclose(colour[..., :tone], expected, rtol=1e-6)
        if shape[-1] == 4:
            np.testing.assert_array_equal(seen[..., 3], array[..., 3])

    @pytest.mark.parametrize(("dtype", "shape"), list(product([np.uint8, np.uint16], SHAPES)))
    def test_codes_are_what_a_file_would_hold(self, tmp_path, dtype: type, shape: tuple[int, ...]):
        array = night(shape, dtype)
        seen = fg.render(array, LOOK, camera=CAMERA)
        assert (seen.dtype, seen.shape) == (array.dtype, shape)
        fg.write_picture(tmp_path / "in.png", fg.Picture.from_array(array))
        picture = fg.render(fg.read_picture(tmp_path / "in.png"), LOOK, camera=CAMERA)
        fg.write_picture(tmp_path / "out.png", picture)
        held = fg.read_picture(tmp_path / "out.png").encoding
        np.testing.assert_array_equal(seen.reshape(24, 36, -1)[..., :3], held.codes)
        if shape[-1] == 4:
            np.testing.assert_array_equal(seen[..., 3], held.alpha.codes)

    @pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32, np.float64])
    def test_strength_nothing_gives_back_the_numbers(self, dtype: type):
        array = night((24, 36, 3), dtype)
        expected: np.ndarray = array.astype(np.float32).astype(dtype)
        np.testing.assert_array_equal(fg.render(array, LOOK.at(0)), expected)
        np.testing.assert_array_equal(fg.render(array, []), expected)

    def test_memory_order_does_not_matter(self):
        array = night((24, 36, 3), np.float64)
        np.testing.assert_array_equal(
            fg.render(np.asfortranarray(array), LOOK, camera=CAMERA),
            fg.render(array, LOOK, camera=CAMERA),
        )

    def test_a_grey_array_through_coloured_glass_is_its_luminance(self):
        array = night((24, 36), np.float64)
        tinted = fg.Glow(optical_depth=0.4, lobes=GLOW.lobes, channel_depth=(2.0, 1.0, 0.0))
        light = fg.render(fg.Picture.from_array(array), tinted, camera=CAMERA).radiance
        # Weights of ITU-R BT.709-6, to its four digits.
        np.testing.assert_allclose(
            fg.render(array, tinted, camera=CAMERA), light @ [0.2126, 0.7152, 0.0722], rtol=1e-4
        )

    @pytest.mark.parametrize(
        "wrong", [np.zeros((2, 3), bool), np.zeros((2, 3), np.int64), "scout.jpg"]
    )
    def test_what_is_no_picture_is_refused(self, wrong):
        with pytest.raises(ParameterError, match=r"array must be of floats|white must be given"):
            fg.render(wrong, LOOK)

    def test_no_numbers_are_refused(self):
        array = night((24, 36), np.float64)
        array[3, 4] = np.nan
        with pytest.raises(ParameterError, match="array must be finite"):
            fg.render(array, LOOK)
