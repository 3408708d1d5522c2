"""A part of a picture on fewer pixels."""

from __future__ import annotations

import pytest

from frontglass.picture.reduced import reduced_region
from frontglass.picture.region import Region


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
