from __future__ import annotations

import colour
import numpy as np
import pytest

from frontglass.picture.display import display_codes


@pytest.mark.source("Colour0.4", "eotf_inverse_sRGB of 18 % grey: code 117.65")
def test_middle_grey_is_shown_as_the_standard_says():
    codes = display_codes(np.full((128, 128, 3), 0.18, dtype=np.float32))
    expected = 255 * float(colour.models.eotf_inverse_sRGB(0.18))
    np.testing.assert_allclose(codes.mean(axis=(0, 1)), expected, atol=0.03)


def test_what_is_above_white_is_white():
    light = np.full((8, 8, 3), 4.0, dtype=np.float32)
    assert np.all(display_codes(light) == 255)


def test_codes_are_the_same_in_every_run():
    light = np.random.default_rng(1).random((50, 40, 3)).astype(np.float32)
    np.testing.assert_array_equal(display_codes(light), display_codes(light.copy()))
