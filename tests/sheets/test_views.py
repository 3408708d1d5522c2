"""A still reduced or enlarged for a sheet."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from frontglass.errors import ParameterError
from frontglass.picture.display import display_codes
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import BT2020
from frontglass.picture.region import Region
from frontglass.sheets.views import view


def picture_of(light: np.ndarray, **more) -> Picture:
    radiance = np.repeat(np.asarray(light, np.float32)[..., np.newaxis], 3, axis=2)
    return Picture(radiance=radiance, encoding=Encoding.linear(), **more)


@pytest.mark.source("Colour0.4", "eotf_inverse_sRGB of 0.5")
def test_a_fine_checkerboard_reduces_to_half_the_light():
    checks = np.indices((64, 64)).sum(0) % 2
    half = 255 * float(colour.models.eotf_inverse_sRGB(0.5))  # code 187.5
    shown = view(picture_of(checks), (16, 16))
    assert shown.mean() == pytest.approx(half, abs=0.2)
    assert np.abs(shown - half).max() <= 1.5  # dither moves a code by one at most


def test_a_lamp_far_above_white_grows_no_larger_when_reduced():
    light = np.zeros((64, 64))
    light[32:36, 32:36] = 500.0
    shown = view(picture_of(light), (16, 16))
    lit = np.zeros((16, 16, 3))
    lit[8, 8] = 255
    assert np.abs(shown.astype(int) - lit).max() <= 1


@pytest.mark.parametrize("times", [2, 3, 5])
def test_enlarging_overshoots_nowhere(times: int):
    light = np.full((12, 12), 0.1)
    light[:, 6:] = 0.4
    # Strict: anything sharper than straight lines would leave the range of the two sides.
    low, high = display_codes(picture_of([[0.1, 0.4]]).radiance)[0, :, 0].astype(int)
    shown = view(picture_of(light), (12 * times, 12 * times)).astype(int)
    assert shown.min() >= low - 2
    assert shown.max() <= high + 2
    assert (np.diff(shown.mean(axis=(0, 2))) > -1).all()


def test_enlarged_far_enough_pixels_are_squares():
    shown = view(picture_of([[0.0, 1.0], [1.0, 0.0]]), (16, 16))
    assert (shown[:8, :8] == 0).all()
    assert (shown[:8, 8:] == 255).all()


def test_size_as_it_is_gives_the_display_codes_themselves():
    light = np.random.default_rng(3).random((9, 7))
    picture = picture_of(light)
    assert (view(picture, (7, 9)) == display_codes(picture.radiance)).all()


def test_other_primaries_are_shown_on_a_bt709_screen():
    # Light of BT.709's own red, in BT.2020's channels, by the chromaticities of both.
    red = np.zeros((4, 4, 3), np.float32)
    red[...] = np.array([0.627404, 0.069097, 0.016391]) * 0.5
    wide = Picture(radiance=red, primaries=BT2020, encoding=Encoding.linear())
    # 0.5 encodes to 0.735357, code 187.5; dither moves a code by one at most.
    for size in ((4, 4), (2, 2), (8, 8), (40, 40)):
        shown = view(wide, size).astype(int)
        assert np.abs(shown - [187.5, 0, 0]).max() <= 1.5
    green = np.zeros((4, 4, 3), np.float32)
    green[..., 1] = 0.2  # outside of BT.709: red and blue would be negative
    outside = Picture(radiance=green, primaries=BT2020, encoding=Encoding.linear())
    assert (view(outside, (4, 4))[..., [0, 2]] == 0).all()


def test_a_region_is_cut_with_its_distances():
    distance = np.arange(1, 49, dtype=np.float32).reshape(6, 8)
    whole = picture_of(np.arange(1, 49).reshape(6, 8), distance_m=distance)
    part = Region.from_text("2,1,3,4").of(whole)
    assert part.radiance.shape == (4, 3, 3)
    assert part.radiance[0, 0, 0] == part.distance_m[0, 0] == 11


@pytest.mark.parametrize("text", ["", "1,2,3", "1,2,3,4,5", "a,b,c,d", "1.5,2,3,4"])
def test_a_region_must_be_four_whole_numbers(text: str):
    with pytest.raises(ParameterError, match="close_up must be X,Y,W,H in whole pixels"):
        Region.from_text(text)


@pytest.mark.parametrize(
    "text", ["-1,0,2,2", "0,0,0,2", "0,0,2,0", "7,0,2,2", "0,5,2,2", "0,0,9,1"]
)
def test_a_region_must_lie_inside_the_still(text: str):
    with pytest.raises(ParameterError, match="inside the still's 8 x 6 px"):
        Region.from_text(text).check_inside(picture_of(np.zeros((6, 8))))


def test_the_width_alone_says_when_pixels_become_squares():
    wide = picture_of([[0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 1.0]] * 2)
    shown = view(wide, (64, 16))
    assert (shown[:, :8] == 0).all()
    assert (shown[:, 8:16] == 255).all()
    tall = picture_of([[0.0, 1.0]] * 8)
    # Four times: straight lines between neighbours, so greys.
    row = view(tall, (8, 32))[16, :, 1].astype(int)
    assert ((row > 10) & (row < 245)).sum() >= 3
