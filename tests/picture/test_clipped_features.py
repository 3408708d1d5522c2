"""What is read of a clipped area, on pictures so plain that it can be counted."""

from __future__ import annotations

import numpy as np
import pytest

import frontglass as fg
from frontglass.picture.clipped import outline
from frontglass.picture.clipped_features import RegionFeatures, region_features
from frontglass.picture.encoding import Encoding


def night(height: int = 120, width: int = 200, ground: float = 0.1) -> np.ndarray:
    return np.full((height, width, 3), ground, dtype=np.float32)


def features_of(light: np.ndarray) -> RegionFeatures:
    return region_features(light, outline(light))


def test_place_size_and_box_are_those_of_the_area():
    light = night()
    light[40:60, 80:110] = 1.0
    found = outline(light)
    features = region_features(light, found)
    assert (features.x_px[0], features.y_px[0]) == (94.5, 49.5)
    assert features.area_px[0] == 600
    assert tuple(found.boxes[0]) == (80, 40, 30, 20)
    assert features.core_share[0] == 1
    # From the middle of its short side to what does not clip.
    assert features.deepest_px[0] == pytest.approx(10, abs=1)


@pytest.mark.parametrize("times", [1, 16])
def test_a_large_still_shows_the_same_in_its_own_pixels(times):
    light = night(100, 256)
    light[40:60, 80:110] = 1.0
    light = np.repeat(np.repeat(light, times, axis=0), times, axis=1)
    found = outline(light)
    features = region_features(light, found)
    assert features.x_px[0] / times == pytest.approx(94.5, abs=0.6)
    assert features.area_px[0] / times**2 == pytest.approx(600, rel=0.01)
    np.testing.assert_allclose(found.boxes[0] / times, (80, 40, 30, 20), atol=0.2)
    assert features.deepest_px[0] / times == pytest.approx(10, abs=1)


def test_a_large_still_and_its_mirror_image_show_the_same():
    light = np.random.default_rng(1).uniform(0.05, 0.6, (100, 1280, 3)).astype(np.float32)
    light[40:60, 380:410] = 1.0
    one, other = (region_features(x, outline(x)) for x in (light, light[::-1, ::-1].copy()))
    assert other.x_px[0] == 1279 - one.x_px[0]
    np.testing.assert_allclose(other.rim_light, one.rim_light)
    np.testing.assert_allclose(other.frame_light, one.frame_light)


@pytest.mark.parametrize("times", [1, 8])
def test_depth_counts_in_octaves_below_the_deepest_that_may_be_a_lamp(times):
    light = night(100, 256)
    light[20:40, 20:40] = 1.0  # 10 px deep
    light[60:66, 60:90] = 1.0  # 3
    light[60:61, 120:122] = 1.0  # 1, the least that counts
    light[70:72, 160:162] = 1.0
    light = np.repeat(np.repeat(light, times, axis=0), times, axis=1)
    found = outline(light)
    shallow = region_features(light, found).shallow
    by_place = shallow[np.argsort(found.centres[:, 0])]
    np.testing.assert_allclose(by_place, -np.log2([1, 10 / 3, 10, 10]), atol=0.25)
    # A wall in the sun is deeper, and no lamp: nothing is measured by it.
    light = night(100, 256, ground=0.9)
    light[10:90, 10:130] = 1.0
    light[:, 135:] = 0.1
    light[40:60, 180:200] = 1.0
    found = outline(light)
    assert region_features(light, found).shallow[found.centres[:, 0] > 135] == pytest.approx(0)


def test_an_area_of_much_of_the_frame_or_with_a_soft_edge_is_no_lamp():
    def share(high: int, edge: float, wide: int = 10) -> float:
        light = night()
        light[40 - wide : 60 + wide + high, 60 - wide : 140 + wide] = edge
        light[40 : 60 + high, 60:140] = 1.0
        return float(features_of(light).lamp_share[0])

    assert share(0, 0.1) == pytest.approx(1)
    # 80 x 80 of 120 x 200 px are 0.267 of the frame, of 0.2 to 0.5: in doublings, 0.314.
    assert share(60, 0.1) == pytest.approx(1 - 0.314, abs=0.005)
    # Half way from 0.75 to 0.95 of the level.
    assert share(0, 0.85) == pytest.approx(0.5, abs=0.01)
    assert share(0, 0.85, wide=2) == pytest.approx(0.5, abs=0.01)
    light = night()
    light[:] = 1.0
    assert features_of(light).lamp_share[0] == 0


def aureole(light: np.ndarray, x: int = 100, y: int = 60, radius: float = 12) -> float:
    """What is read of a disc whose light falls off outside it as its distance does, squared."""
    rows, columns = np.mgrid[: light.shape[0], : light.shape[1]]
    away = np.maximum(np.hypot(rows - y, columns - x) / radius, 1)
    light = np.maximum(light, (0.95 / away**1.5)[..., np.newaxis])
    light[np.hypot(rows - y, columns - x) <= radius] = 1.0
    return float(features_of(light.astype(np.float32)).aureole[0])


def test_the_sun_has_an_aureole_and_a_lamp_a_sheet_and_a_window_have_none():
    assert aureole(night()) > 0.9
    assert aureole(night(), x=0) == 0  # it goes on outside the frame
    for ground in (0.1, 0.4, 0.7):
        light = night(ground=ground)
        light[40:60, 80:110] = 1.0
        assert features_of(light).aureole[0] == 0


def test_a_lamps_colour_is_that_of_its_rim_beyond_what_lies_farther_out():
    light = night(ground=0.0) + np.array([0.05, 0.1, 0.2], dtype=np.float32)
    light[38:62, 78:112] += np.array([0.4, 0.22, 0.1], dtype=np.float32)
    light[40:60, 80:110] = 1.0
    (lamp,) = fg.with_recovered_light(fg.Picture(radiance=light, encoding=Encoding.srgb())).lamps
    # Three quarters of the way in stops, for a black body's colour; the still's own colour, here
    # bluish, takes a little.
    want = np.array([0.4, 0.22, 0.1]) ** 0.75
    np.testing.assert_allclose(lamp.colour, want / want.mean(), atol=0.13)
    assert lamp.colour[0] > lamp.colour[1] > lamp.colour[2]
