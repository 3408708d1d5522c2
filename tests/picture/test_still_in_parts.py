"""A still looked at in parts, or at some of its pixels, is what it is when looked at whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

import frontglass as fg
from frontglass.accuracy import ACCURACY
from frontglass.picture import (
    clipped,
    clipped_lamps,
    distance,
    exposure,
    gain_map,
    grain,
    noise_curve,
    non_finite,
)
from frontglass.picture.encoding import Encoding
from frontglass.picture.gain_map import GainMap, LogGain, light_beyond
from frontglass.picture.primaries import BT709

Light = NDArray[np.float32]
RNG = np.random.default_rng


def night(height: int = 150, width: int = 210, lamps: int = 9) -> Light:
    """A dim, noisy room with round lamps that clip, their rims soft."""
    rng = RNG(4)
    light = 0.05 * rng.normal(1, 0.1, (height, width, 1)) * np.array([1.0, 0.9, 0.8])
    rows, columns = np.mgrid[:height, :width]
    for number in range(lamps):
        y, x = 20 + 45 * (number // 3), 30 + 70 * (number % 3)
        away = np.hypot(rows - y, columns - x)
        light += (1.6 * np.exp(-np.maximum(away - 3 - number / 2, 0) / 2))[..., np.newaxis]
    codes = np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    return np.asarray((codes / 255) ** 2.2, np.float32)


@pytest.mark.parametrize("rows", [1, 7, 149, 150])
def test_clipped_areas_are_the_same_however_many_rows_are_read_at_a_time(monkeypatch, rows):
    light = night()
    whole = clipped.outline(light)
    assert whole.regions == 9
    monkeypatch.setattr(clipped, "BAND_PX", rows)
    own = clipped.outline(light)
    for name in ("at", "owner", "own", "held", "depth", "boxes", "centres", "levels"):
        np.testing.assert_array_equal(getattr(own, name), getattr(whole, name), err_msg=name)


@pytest.mark.parametrize("times", [1, 2, 3])
def test_clipped_areas_lie_where_they_did_on_fewer_pixels(monkeypatch, times):
    light = night()
    whole = clipped.outline(light)
    # 210 px across on a half or a third as many: cells of 2 or 3 px.
    monkeypatch.setattr(clipped, "ACCURACY", replace(ACCURACY, outline_px=210 // times))
    own = clipped.outline(light)
    assert own.regions == whole.regions
    # Names of areas go by their first rows, which cells may put in another order.
    order, others = (np.lexsort(np.rint(one.centres / 9).T) for one in (own, whole))
    off = own.centres[order] - whole.centres[others]
    np.testing.assert_allclose(off, 0, atol=0.35 * (times - 1))
    np.testing.assert_allclose(own.boxes[order], whole.boxes[others], atol=2 * (times - 1))
    deepest = [found.depth.max() for found in (own, whole)]
    assert deepest[0] == pytest.approx(deepest[1], abs=times - 1)


def test_doubt_is_told_by_some_of_very_many_pixels(monkeypatch):
    still = fg.Picture(radiance=night(), encoding=Encoding.srgb())
    whole = fg.with_recovered_light(still).doubt_stops
    assert whole > 0.3
    for few in (700, 400, 250):
        monkeypatch.setattr(clipped_lamps, "ACCURACY", replace(ACCURACY, doubt_px=few))
        assert fg.with_recovered_light(still).doubt_stops == pytest.approx(whole, rel=0.05)


def test_where_channels_end_is_told_by_some_of_very_many_rows(monkeypatch):
    light = np.minimum(night(), np.float32(0.8))
    whole = clipped.clipping_levels(light)
    assert (whole < 0.85).all()
    monkeypatch.setattr(clipped, "ACCURACY", replace(ACCURACY, levels_px=light.shape[1] * 75))
    np.testing.assert_array_equal(clipped.clipping_levels(light), whole)


@pytest.mark.parametrize("at_a_time", [1, 5, 64])
def test_holes_are_mended_alike_however_many_at_a_time(monkeypatch, at_a_time):
    light = RNG(2).uniform(0, 1, (20, 30, 3)).astype(np.float32)
    light[3:9, 4:15] = np.nan
    light[12, ::2, 1] = -np.inf
    whole = non_finite.mended(light)
    monkeypatch.setattr(non_finite, "HOLES_AT_A_TIME", at_a_time)
    np.testing.assert_array_equal(non_finite.mended(light), whole)


@pytest.mark.parametrize("rows", [1, 7, 60])
def test_a_map_is_enlarged_alike_however_many_rows_at_a_time(monkeypatch, rows):
    light = night(60, 90, 2)
    away = RNG(3).uniform(2, 9, (20, 30)).astype(np.float32)
    whole = distance.fitted_distance(away, light)
    monkeypatch.setattr(distance, "ROWS_AT_A_TIME", rows)
    np.testing.assert_array_equal(distance.fitted_distance(away, light), whole)


def flat_noise(height: int, width: int) -> Light:
    """Walls of several levels with the noise of 8-bit codes and of light."""
    light = np.repeat(np.linspace(0.05, 0.6, 6), -(-width // 6))[:width] * np.ones((height, 1))
    light = light + RNG(9).normal(0, 0.03, light.shape) * np.sqrt(light)
    codes = np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2))
    return np.repeat(((codes / 255) ** 2.2)[..., np.newaxis], 3, axis=2).astype(np.float32)


def test_grain_is_the_same_in_tiles_of_any_size(monkeypatch):
    light = flat_noise(203, 266)
    whole = grain.grain_of(light, 1 / 255)
    assert whole is not None
    for tall, wide in ((96, 64), (64, 1024)):
        monkeypatch.setattr(grain, "TALL_PX", tall)
        monkeypatch.setattr(grain, "WIDE_PX", wide)
        own = grain.grain_of(light, 1 / 255)
        assert own is not None
        assert own.step == whole.step
        np.testing.assert_array_equal(own.steps, whole.steps)


def test_noise_is_told_by_some_of_very_many_blocks(monkeypatch):
    light = flat_noise(512, 384)
    whole = noise_curve.noise_curve_of(light, 1 / 255)
    # Of 768 blocks every second strip of four rows, and round it what filters reach.
    monkeypatch.setattr(noise_curve, "MOST_BLOCKS", 384)
    some = noise_curve.noise_curve_of(light, 1 / 255)
    assert whole is not None
    assert some is not None
    np.testing.assert_allclose(some.precisions, whole.precisions, rtol=0.25)
    # What is not looked at does not count.
    light[80:112] *= RNG(1).uniform(0.2, 1.8, (32, 384, 1)).astype(np.float32)
    again = noise_curve.noise_curve_of(light, 1 / 255)
    assert again is not None
    np.testing.assert_array_equal(again.precisions, some.precisions)


@pytest.mark.parametrize("samples", [1, 13, 40])
def test_an_exposure_is_found_on_some_of_very_many_pixels(monkeypatch, samples):
    rows, columns = np.mgrid[:80, :120]
    light = (0.02 * 2 ** (columns / 40 + rows / 40)).astype(np.float32)
    still = fg.Picture(radiance=np.repeat(light[..., np.newaxis], 3, axis=2))
    whole = exposure.fitting_exposure_stops(still)
    monkeypatch.setattr(exposure, "SAMPLES", samples)
    # A wider step than the still is high sees its corner alone, which is the darkest.
    least = 0.3 if samples > 1 else 2.6
    assert abs(exposure.fitting_exposure_stops(still) - whole) <= least


def test_a_lift_is_found_on_some_of_very_many_pixels(monkeypatch):
    light = night()
    codes = RNG(7).integers(0, 256, (75, 105, 1), np.uint8)
    told = GainMap(codes=codes, gain=LogGain(least=(0.4,) * 3, most=(1.5,) * 3))
    whole = light_beyond(light, BT709, told)
    assert whole.lift > 1.3
    monkeypatch.setattr(gain_map, "_SAMPLES", 50)
    some = light_beyond(light, BT709, told)
    assert some.lift == pytest.approx(whole.lift, rel=0.05)
    # All pixels are given their light whatever the lift was found on.
    np.testing.assert_allclose(
        (some.light + light) * some.lift, (whole.light + light) * whole.lift, rtol=1e-5
    )
    assert some.highest * some.lift == pytest.approx(whole.highest * whole.lift, rel=1e-5)
