"""What is read of a clipped area, on pictures so plain that it can be counted."""

from __future__ import annotations

import numpy as np
import pytest

import frontglass as fg
from frontglass.picture.clipped import RegionFeatures, outline, region_features
from frontglass.picture.clipped_lamps import lamp_share
from frontglass.picture.encoding import Encoding


def test_the_median_is_that_of_each_pixels_mean_over_its_channels():
    light = np.full((20, 30, 3), 0.1, dtype=np.float32)
    light[:, :14] = (0.3, 0.6, 0.9)
    light[8:12, 20:24] = 1.0
    found = outline(light)
    # Of 600 pixels 280 have a mean of 0.6 and 16 clip: the 300th holds 0.1.
    assert region_features(light, found).frame_median == pytest.approx(0.1, abs=1e-3)
    light[:, :16] = (0.3, 0.6, 0.9)
    assert region_features(light, found).frame_median == pytest.approx(0.6, abs=1e-3)


def test_large_areas_and_soft_edges_are_half_lamps():
    def share(area: float, edge: float) -> float:
        one = np.array([1.0])
        features = RegionFeatures(
            x_px=one, y_px=one, area_px=one, area_share=area * one, whole_share=one,
            edge=edge * one, frame_median=0.1, ring_light=np.ones((1, 3)),
        )  # fmt: skip
        return float(lamp_share(features)[0])

    # From 1/20 to 8/20 of the frame in three doublings, from 0.75 to 0.95 of the level.
    assert share(0.04, 0.7) == pytest.approx(1)
    assert share(0.2, 0.7) == pytest.approx(1 / 3)
    assert share(0.2, 0.85) == pytest.approx(1 / 6)
    assert share(0.04, 0.9) == pytest.approx(1 / 4)
    assert share(0.5, 0.7) == share(0.04, 0.96) == 0


def test_a_lamps_colour_is_half_way_to_its_ring():
    light = np.full((60, 80, 3), (0.4, 0.1, 0.1), dtype=np.float32)
    light[25:35, 35:45] = 1.0
    (lamp,) = fg.with_recovered_light(fg.Picture(radiance=light, encoding=Encoding.srgb())).lamps
    # Half of two stops is one: 2 to 1 to 1, with a mean of 1.
    assert lamp.colour == pytest.approx((1.5, 0.75, 0.75), rel=1e-4)


def test_the_edge_is_read_within_two_and_a_half_pixels():
    light = np.full((60, 80, 3), 0.1, dtype=np.float32)
    light[23:37, 33:47] = 0.4
    light[25:35, 35:45] = 1.0
    # Corners of that ring are 2.8 px away.
    assert region_features(light, outline(light)).edge[0] == pytest.approx(0.4, rel=1e-6)
