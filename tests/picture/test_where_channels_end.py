"""Where the channels of a still end: at the highest code at which pixels pile up.

Stills here have a flat histogram, as many pixels at each code, and a pile somewhere.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.picture.clipped import (
    FEWEST_PX,
    LOWEST_CLIP_CODE,
    SPIKE,
    _bright,
    clipping_levels,
    outline,
)

Light = NDArray[np.float32]


def light_of(*piles: tuple[int, int], usual: int = 10, top: int = 252, white: float = 1.0) -> Light:
    """One channel of so many pixels at each code up to `top`, and piles of (code, pixels)."""
    counts = np.zeros(256, int)
    counts[100 : top + 1] = usual
    for code, pixels in piles:
        counts[code] = pixels
    codes = np.repeat(np.arange(256), counts)
    codes = np.append(codes, np.zeros(-len(codes) % 50, int)).reshape(-1, 50)
    return np.asarray(white * (codes / 255) ** 2.4, np.float32)


def ends(*channels: Light, white: float = 1.0) -> list[int]:
    """Codes at which channels end, 255 where nothing piles up."""
    rows = max(len(channel) for channel in channels)
    whole = np.zeros((rows, 50, 3), np.float32)
    for number in range(3):
        own = channels[number % len(channels)]
        whole[: len(own), :, number] = own
    levels = clipping_levels(whole, white) / white
    return [round(255 * float(level) ** (1 / 2.4)) for level in levels]


@pytest.mark.parametrize("code", [210, 235, 250])
@pytest.mark.parametrize("usual", [10, 37])
def test_a_pile_is_several_times_what_lies_at_codes_below_it(code: int, usual: int):
    most = int(SPIKE * usual)
    assert ends(light_of((code, most), usual=usual, top=code)) == [code] * 3
    assert ends(light_of((code, most - 1), usual=usual, top=code)) == [255] * 3


def test_of_two_piles_the_higher_one_is_the_end():
    assert ends(light_of((220, 400), (240, 90), top=240)) == [240] * 3
    # No end where more lies at a code beyond it.
    assert ends(light_of((240, 41), (244, 42), top=244)) == [244] * 3
    assert ends(light_of((230, 60), (238, 61), usual=20, top=238)) == [255] * 3


def test_a_hump_is_no_pile():
    """As where much of a wall is nearly white: the codes just below hold half as many, or more."""
    for below, is_end in ((50, True), (51, False)):
        humped = light_of((237, below), (238, below), (239, below), (240, 100), top=240)
        assert (ends(humped) == [240] * 3) is is_end


def test_few_pixels_are_no_pile():
    for pixels, is_end in ((FEWEST_PX, True), (FEWEST_PX - 1, False)):
        assert (ends(light_of((240, pixels), usual=0)) == [240] * 3) is is_end
        # And so many at the highest code are an end whatever lies below.
        both = light_of((240, 90), (255, pixels), top=240)
        assert (ends(both) == [255] * 3) is is_end


def test_no_camera_ends_in_the_dark():
    for code, is_end in ((LOWEST_CLIP_CODE + 1, True), (LOWEST_CLIP_CODE - 1, False)):
        assert (ends(light_of((code, 900), top=code)) == [code] * 3) is is_end


def test_each_channel_ends_for_itself_and_ends_go_with_white():
    channels = [
        light_of((code, 200), top=code, white=3.0) if code else light_of(top=250, white=3.0)
        for code in (248, 0, 214)
    ]
    assert ends(*channels, white=3.0) == [248, 255, 214]


def disc(radius: float = 20, *, blue: float = 1.0, size: tuple[int, int] = (90, 120)) -> Light:
    """A disc in which red and green end, and blue is at a share of that."""
    rows, columns = np.mgrid[: size[0], : size[1]]
    inside = np.hypot(rows - 40, columns - 60) <= radius
    light = np.where(inside[..., np.newaxis], np.array([1.0, 1.0, blue]), 0.1)
    return np.asarray(light, np.float32)


@pytest.mark.parametrize(
    ("blue", "held"),
    [(0.5, 0.0), (0.86, 0.0), (0.8875, 5 / 32), (0.915, 0.5), (0.9425, 27 / 32), (0.97, 1), (1, 1)],
)
@pytest.mark.parametrize("times", [1, 3])
def test_how_far_a_channel_ends_rises_smoothly_over_eleven_hundredths(blue, held, times):
    """Between shares that are common practice, with no kink at either: 3 t**2 - 2 t**3."""
    light = disc(blue=blue)
    light[:2, :2, 2] = 1.0  # where blue ends, far from there
    for turn in range(3):  # and so with red and with green
        found = outline(np.roll(light, turn, axis=2) * np.float32(times), times)
        own = np.roll(found.held[found.owner == found.labels[40, 60] - 1], -turn, axis=1)
        assert len(own) > 1000
        np.testing.assert_array_equal(own[:, :2], 1)
        np.testing.assert_allclose(own[:, 2], held, atol=2e-4)


def test_a_dip_that_a_jpeg_makes_is_filled_and_a_wide_one_is_a_colour():
    light = disc()
    light[40, 50] = (1.0, 1.0, 0.88)  # one pixel of five by five
    light[30:51, 62:75, 2] = 0.8
    found = outline(light)
    held = np.ones(light.shape[:2])
    held.ravel()[found.at] = found.held[:, 2]
    assert held[40, 50] == 1
    assert held[40, 68] == 0
    # A pixel at its own end has ended, whatever lies round it.
    light[40, 68, 2] = 1.0
    held.ravel()[found.at] = outline(light).held[:, 2]
    assert held[40, 68] == 1
    assert held[40, 65] < 0.2


@pytest.mark.parametrize("radius", [1, 6.5, 20])
def test_what_clips_is_measured_from_its_edge(radius: float):
    light = disc(radius)
    found = outline(light)
    assert found.regions == 1
    inside = (light[..., 0] == 1).ravel()
    np.testing.assert_array_equal(found.at, np.flatnonzero(inside))
    np.testing.assert_array_equal(found.own, light.reshape(-1, 3)[inside])
    np.testing.assert_allclose(found.centres, [[60, 40]])
    assert found.depth.min() == pytest.approx(1, abs=0.1)
    assert found.depth.max() == pytest.approx(radius + 0.5, abs=0.06 * radius + 0.6)
    np.testing.assert_array_equal(found.sums(np.ones(len(found.at))), [inside.sum()])
    # The rim runs round it, one pixel outside.
    at, owner = found.rim
    away = np.hypot(at // 120 - 40, at % 120 - 60)
    assert (away > radius).all()
    assert (away < radius + 1.5).all()
    assert (owner == 0).all()


def test_channels_that_end_at_their_own_levels_are_found_as_those_that_end_alike():
    rng = np.random.default_rng(8)
    light = rng.uniform(0.5, 1.0, (150, 40, 3)).astype(np.float32)
    alike, ended = _bright(light, np.ones(3, np.float32))
    assert 0.3 < ended.mean() < 0.9
    for shares in ((1.0, 0.9, 0.8), (0.25, 1.0, 0.5), (0.3, 0.3, 1.0)):
        own = np.array(shares, np.float32)
        at, is_ended = _bright(light * own, own)
        np.testing.assert_array_equal(at, alike)
        np.testing.assert_array_equal(is_ended, ended)
    most = light.max(axis=2).ravel()
    np.testing.assert_array_equal(alike, np.flatnonzero(most > 0.876))
    np.testing.assert_array_equal(ended, most[alike] > 0.9525)
    dark, none = _bright(light * 0.1, np.ones(3, np.float32))
    assert dark.size == none.size == 0
