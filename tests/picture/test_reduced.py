"""A picture, a frame of a still and a part of it on fewer pixels."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.picture.lamp_place import LampPlace
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


@given(st.integers(-3, 9), st.integers(-3, 9), st.integers(0, 7), st.integers(0, 7), st.data())
def test_a_region_holds_the_pixels_that_it_cuts(x, y, width, height, data):
    region = Region(x, y, width, height)
    inside = {(column, row) for row in range(y, y + height) for column in range(x, x + width)}
    column, row = data.draw(st.tuples(st.integers(-4, 17), st.integers(-4, 17)))
    assert region.holds(column, row) == ((column, row) in inside)
    assert region.holds(column + 0.5, row + 0.5) == ((column, row) in inside)
    if x >= 0 and y >= 0:
        places = np.arange(20 * 20).reshape(20, 20)
        cut = {(int(place) % 20, int(place) // 20) for place in region.cut(places).ravel()}
        assert cut == inside


@given(
    st.integers(0, 90), st.integers(0, 50), st.integers(1, 10), st.integers(1, 10),
    st.floats(0.05, 1.0),
)  # fmt: skip
def test_a_reduced_part_lies_where_it_lay(x, y, width, height, scale):
    small = reduced_region(Region(x, y, width, height), scale)
    for start, size, own, wide in (
        (small.x_px, small.width_px, x, width),
        (small.y_px, small.height_px, y, height),
    ):
        assert start == int(own * scale)
        assert size == max(1, int((own + wide) * scale) - start)


def test_a_picture_on_fewer_pixels_keeps_its_light_and_forgets_its_lamps():
    light = np.random.default_rng(2).uniform(0, 1, (40, 60, 3)).astype(np.float32)
    still = Picture(
        radiance=light,
        beyond=2 * light,
        recovered=3 * light,
        distance_m=light[..., 0] + 1,
        lamps=(LampPlace(x_px=1, y_px=2),),
    )
    small = reduced(still, 30)
    fours = light.reshape(20, 2, 30, 2, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(small.radiance, fours, rtol=1e-5)
    np.testing.assert_allclose(small.beyond, 2 * fours, rtol=1e-5)
    np.testing.assert_allclose(small.with_lamps - small.radiance, 3 * fours, rtol=1e-4)
    assert set(small.distance_m.ravel()) <= set(still.distance_m.ravel())
    assert small.lamps is None
    assert reduced(still, 60) is still
    assert reduced(Picture(radiance=light[:1]), 7).radiance.shape == (1, 7, 3)
