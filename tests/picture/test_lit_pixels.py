"""Light of a few pixels is what a whole frame of it would be."""

import cv2
import numpy as np
import pytest

from frontglass.lit_pixels import LitPixels


def frame(shape=(47, 83, 3)):
    rng = np.random.default_rng(2)
    lit = rng.random((*shape[:2], 1)) > 0.9
    return np.where(lit, rng.random(shape), 0).astype(np.float32)


def test_a_frame_is_itself_again():
    whole = frame()
    np.testing.assert_array_equal(LitPixels.of(whole), whole)
    dark = LitPixels.of(np.zeros_like(whole))
    assert not np.asarray(dark).any()
    assert not np.asarray(dark.on_pixels(20, 10)).any()


@pytest.mark.parametrize("size", [(83, 47), (40, 20), (31, 47), (1, 1), (82, 46)])
def test_on_fewer_pixels_it_is_what_opencv_makes_of_the_frame(size):
    whole = frame()
    expected = cv2.resize(whole, size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0], 3)
    np.testing.assert_allclose(LitPixels.of(whole).on_pixels(*size), expected, atol=2e-6)


@pytest.mark.parametrize("rows", [slice(0, 47), slice(10, 11), slice(30, 60)])
@pytest.mark.parametrize("columns", [slice(None), slice(5, 40)])
def test_a_part_is_that_of_the_frame(rows, columns):
    whole = frame()
    np.testing.assert_array_equal(LitPixels.of(whole).within(rows, columns), whole[rows, columns])


def test_brighter_and_added():
    whole, light = frame(), frame() + 1
    lit = LitPixels.of(whole)
    np.testing.assert_array_equal(lit.times([1, 2, 3]), whole * np.float32([1, 2, 3]))
    np.testing.assert_array_equal(lit.added_to(light.copy()), light + whole)
