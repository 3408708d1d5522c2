"""A picture, a frame of a still and a part of it on fewer pixels."""

from __future__ import annotations

import numpy as np
import pytest

from frontglass.picture.picture import Picture
from frontglass.picture.reduced import reduced, reduced_region
from frontglass.picture.region import Region
from frontglass.picture.wider import framed


def test_a_frame_and_its_still_are_reduced_alike():
    still = Picture(radiance=np.random.default_rng(2).uniform(0, 1, (120, 160, 3)))
    frame = framed(still, Region(40, 30, 64, 32))
    small = reduced(frame, 32)
    assert small.wider.region == Region(20, 15, 32, 16)
    assert small.wider.picture.radiance.shape == (60, 80, 3)
    fours = frame.radiance.reshape(16, 2, 32, 2, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(small.radiance, fours, rtol=1e-5)
    assert reduced(frame, 64) is frame


@pytest.mark.parametrize(
    ("part", "scale", "there"),
    [
        (Region(10, 20, 30, 40), 0.5, Region(5, 10, 15, 20)),
        (Region(11, 21, 30, 40), 0.5, Region(5, 10, 15, 20)),
        (Region(95, 55, 5, 5), 0.1, Region(9, 5, 1, 1)),
        (Region(3, 4, 1, 1), 0.1, Region(0, 0, 1, 1)),
    ],
)
def test_a_part_stays_inside_and_keeps_a_pixel(part: Region, scale: float, there: Region):
    assert reduced_region(part, scale) == there
