"""What happens at the ends of scales: of codes, of gain maps, of what a bracket's stills hold."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

import frontglass as fg
from frontglass.accuracy import ACCURACY
from frontglass.picture import distance
from frontglass.picture.bracket import _said
from frontglass.picture.bracket_alignment import _bitmap_shift
from frontglass.picture.codes import Target, codes_from_radiance, radiance_from_codes
from frontglass.picture.curves import Curve, ParametricCurve, SampledCurve
from frontglass.picture.encoding import Encoding, Sample
from frontglass.picture.exposure import with_exposure_told
from frontglass.picture.gain_map import GainMap, LinearGain, LogGain
from frontglass.picture.own_depth import OwnDepth
from frontglass.picture.recovery import LampMark, Recovery

SHORT = (
    ParametricCurve(2.2, a=0.8),
    SampledCurve(np.linspace(0, 0.6, 9) ** 1.5),
    SampledCurve(np.linspace(0.2, 0.9, 5)),
)


@pytest.mark.parametrize("curve", SHORT)
@pytest.mark.parametrize("sample", [Sample.UINT8, Sample.UINT16])
def test_light_beyond_what_a_curve_holds_has_its_last_code(curve: Curve, sample: Sample):
    """Its highest code is less than white, or its lowest more than black: then those are taken."""
    top = np.iinfo(sample.dtype).max
    low, high = curve.decode([0.0, 1.0])
    assert high < 1
    for level, code in ((high, top), (0.5 * (1 + high), top), (1.0, top), (3.0, top), (-1.0, 0)):
        light = np.full((8, 8, 3), level, np.float32)
        coded = codes_from_radiance(light, Target(sample=sample, curves=(curve,) * 3)).codes
        # Where a curve ends within a step of the tables, a ten-thousandth of it may be missing.
        off = max(1, round(top / 10_000)) if level == high else 0
        assert abs(coded.astype(int) - code).max() <= off, level
    if low > 0:
        light = np.full((8, 8, 3), low / 2, np.float32)
        coded = codes_from_radiance(light, Target(sample=sample, curves=(curve,) * 3)).codes
        assert coded.max() == 0
    every = np.arange(top + 1, dtype=sample.dtype).reshape(-1, 1, 1).repeat(3, axis=2)
    light = radiance_from_codes(every, (curve,) * 3)
    assert light[0].min() == pytest.approx(low, abs=1e-6)
    assert light[-1].max() == pytest.approx(high)


@pytest.mark.source("ISO21496-1", "5.2.5.3 and 6.2: log2 of the gain, offsets, gamma")
def test_the_most_that_a_gain_map_tells_is_told_channel_by_channel():
    gain = LogGain(
        least=(-1.0, 0.5, 0.0), most=(1.0, 2.0, 3.0), gamma=(1.0, 2.0, 0.5),
        base_offset=(0.01, 0.02, 0.03), other_offset=(0.03, 0.01, 0.02),
    )  # fmt: skip
    told = GainMap(codes=np.zeros((2, 2, 3), np.uint8), gain=gain)
    # (1 + base offset) 2**most - other offset: white where the map is at its end.
    assert told.top() == pytest.approx(
        (1.01 * 2 - 0.03, 1.02 * 4 - 0.01, 1.03 * 8 - 0.02), rel=1e-12
    )
    halves = [float(gain.factor(np.array([0.5]), channel)[0]) for channel in range(3)]
    places = (0.5, 0.5**0.5, 0.5**2)
    wanted = [
        2 ** (low + (high - low) * place)
        for low, high, place in zip(gain.least, gain.most, places, strict=True)
    ]
    assert halves == pytest.approx(wanted, rel=1e-12)
    plain = GainMap(codes=np.zeros((2, 2, 1), np.uint8), gain=LinearGain(headroom=4.0))
    assert plain.top() == pytest.approx((4.0,) * 3)


def test_exposures_that_were_put_right_are_told_and_what_clips_in_a_share():
    assert _said((0.0, -2.0), (0.0, -2.0), 0.0) == []
    assert _said((0.0, -2.0, -4.0), (0.0, -1.75, -4.0), 0.0) == [
        "Exposures were up to 0.25 stops off; measured ones are used."
    ]
    for share, said in ((0.0131, "1.3 %"), (0.5, "50 %"), (0.999, "100 %"), (1.0, "100 %")):
        (text,) = _said((0.0, -2.0), (0.0, -2.0), share)
        assert text.startswith(f"{said} of the pixels clip even in the darkest still:")


def test_stills_of_floats_are_laid_over_one_another_whatever_they_hold_above_white():
    rng = np.random.default_rng(6)
    whole = cv2.GaussianBlur(rng.uniform(0, 1, (110, 150, 1)), (0, 0), 4)[..., np.newaxis]
    whole = (0.3 + 30 * (whole - whole.min()) ** 2) * np.ones((1, 1, 3))
    whole[30:60, 40:80] *= 6
    whole = whole.astype(np.float32)
    stills = [
        fg.Picture(radiance=whole[9:99, 13:133], encoding=Encoding.linear()),
        fg.Picture(radiance=whole[16:106, 8:128] / 16, encoding=Encoding.linear()),
    ]
    assert stills[0].radiance.max() > 3
    merged = fg.merged_bracket(stills, (0.0, -4.0))
    assert merged.shifts_px == ((0, 0), (-5, 7))


def test_an_exposure_is_suggested_where_more_than_half_is_white_and_not_from_a_half_on():
    light = np.full((10, 20, 3), 0.3, np.float32)
    light[:5] = 8.0
    half = fg.Picture(radiance=light)
    assert with_exposure_told(half, 0.0) is half
    light[5, :2] = 8.0
    (said,) = with_exposure_told(fg.Picture(radiance=light), 0.0).notices
    assert said.startswith("51% of the still is above white: --exposure -")
    light[:] = 0.001
    light[:, 0, :] = 0.3
    dark = fg.Picture(radiance=light)
    assert with_exposure_told(dark, 0.0) is dark  # a twentieth of it is lit
    light[1:, 0, :] = 0.001
    (said,) = with_exposure_told(fg.Picture(radiance=light), 0.0).notices
    assert said.startswith("The still is black: --exposure +")
    # What lies at white is not above it.
    white = fg.Picture(radiance=np.ones((4, 4, 3), np.float32))
    assert with_exposure_told(white, 0.0) is white


def test_what_is_typed_counts_from_where_a_file_ends():
    marks = (LampMark(1, 2, stops=5.0), LampMark(3, 4, stops=1.0), LampMark(5, 6, kind="bulb"))
    asked = Recovery(clipped=4, marks=marks)
    above = asked.above(1.5)
    assert above.clipped == 2.5
    assert [mark.stops for mark in above.marks] == [3.5, 0.0, None]
    assert above.marks[2] is marks[2]
    assert replace(above, clipped=4, marks=marks) == asked
    assert asked.above(6.0).clipped == 0
    assert Recovery(clipped="globe").above(2.0).clipped == "globe"


def depth_of(known: str | None = None, *texts: str) -> np.ndarray:
    """Distances of a slanted wall through a long lens, put right by what is typed."""
    slope = np.linspace(2.0, 4.0, 60, dtype=np.float32) * np.ones((40, 1), np.float32)
    if known == "even":
        slope[:] = 3.0
    still = fg.Picture(radiance=np.full((40, 60, 3), 0.2, np.float32))
    camera = fg.Camera(focal_length_mm=4000, sensor_width_mm=36)
    points = tuple(fg.DistancePoint.from_text(text) for text in texts)
    return OwnDepth(depth_m=slope).distance_m(still, camera, points)


def test_one_typed_distance_puts_the_unit_right_and_two_the_rest_of_inverse_depth():
    plain = depth_of()
    np.testing.assert_allclose(plain[0], np.linspace(2, 4, 60), rtol=1e-4)
    one = depth_of(None, "59,20,8")
    np.testing.assert_allclose(one, 2 * plain, rtol=1e-4)
    # 1/2 and 1/4 of the file are 1/5 and 1/10 now: 0.4 of the old inverse; between them as well.
    two = depth_of(None, "0,20,5", "59,20,10")
    np.testing.assert_allclose(two, 2.5 * plain, rtol=1e-3)
    # 1/2 becomes 1/4 and 1/4 stays: no slope at all, and what the file says of shapes stays.
    level = depth_of(None, "0,20,4", "59,20,4")
    assert np.isfinite(level).all()
    np.testing.assert_allclose(level[20, [0, 59]], 4, rtol=1e-3)
    # Inverse depths of 1/2 and 1/4 put at 1/3 and 1/4: a third of them, and a sixth more.
    three = depth_of(None, "0,20,3", "59,20,4")
    wanted = 1 / (1 / plain / 3 + 1 / 6)
    np.testing.assert_allclose(three[20], wanted[20], rtol=2e-3)
    even = depth_of("even", "0,20,4", "59,20,8")
    np.testing.assert_allclose(even[20, [0, 59]], [4, 8], rtol=1e-3)


def test_distances_are_typed_inside_the_still_and_not_on_its_sky():
    for x, y in ((60, 5), (5, 40)):
        said = f"inside the still's 60 x 40 px, got '{x},{y}'"
        with pytest.raises(fg.ParameterError, match=said):
            depth_of(None, f"{x},{y},3")
    assert np.isfinite(depth_of(None, "59,39,3")).all()


def test_of_two_stories_the_still_that_holds_most_of_the_frame_is_believed():
    """Somebody stands before a dark corner in the brightest still, where most is white."""
    light = np.full((80, 120, 3), 1.8, np.float32)
    light[:, :40] = 0.12
    crossed = light.copy()
    crossed[20:60, 10:30] = 0.5
    exposures = (0.0, -2.0, -4.0)
    stills = [
        fg.Picture(radiance=np.minimum(seen * 2.0**stops, 1).astype(np.float32))
        for seen, stops in zip((crossed, light, light), exposures, strict=True)
    ]
    merged = fg.merged_bracket(stills, exposures, alignment="off")
    np.testing.assert_allclose(merged.picture.radiance[24:56, 14:26], 0.12, rtol=0.02)
    assert merged.ghost_share > 0.05
    np.testing.assert_allclose(merged.picture.radiance[:, 60:], 1.8, rtol=0.02)


@pytest.mark.parametrize("side", [4, 7])
def test_stills_too_small_to_be_laid_over_one_another_stay(side: int):
    rng = np.random.default_rng(1)
    light = rng.uniform(0.1, 0.9, (side, 40, 3)).astype(np.float32)
    assert _bitmap_shift(light, light / 2, np.float32(0.5)) == (0.0, 0.0)


def test_an_even_lamp_in_the_darker_still_is_no_end_of_its_scale():
    light = np.full((60, 90, 3), 0.1, np.float32)
    light[20:40, 30:60] = 8 * (232 / 255) ** 2.4  # one code of the darker still, all over
    stills = [fg.Picture(radiance=np.minimum(light * 2.0**stops, 1)) for stops in (0.0, -3.0)]
    merged = fg.merged_bracket(stills, (0.0, -3.0), alignment="off")
    assert merged.clipped_share == 0
    assert not any("clip even" in text for text in merged.picture.notices)
    lamp = merged.picture.radiance[25:35, 35:55]
    np.testing.assert_allclose(lamp, light[25:35, 35:55], rtol=1e-3)


@pytest.mark.parametrize("few", [30, 15, 3])
def test_the_small_picture_that_distances_are_spread_on_holds_means_of_light(monkeypatch, few: int):
    """So that texture finer than its pixels is no edge."""
    light = np.random.default_rng(2).uniform(0, 1, (60, 90, 3)).astype(np.float32)
    monkeypatch.setattr(distance, "ACCURACY", replace(ACCURACY, distance_px=few))
    step = 90 // few
    means = light.mean(axis=2).reshape(60 // step, step, few, step).mean(axis=(1, 3))
    # In stops, over a fiftieth of the mean of the frame, lest noise in the dark be edges.
    stops = np.log2(means + 0.02 * means.mean())
    np.testing.assert_allclose(distance._small(light), stops, atol=1e-3)
    assert distance._small(light[:1]).shape == (1, few)
    assert distance._small(light[:, :1]).shape == (min(few, 60), 1)
