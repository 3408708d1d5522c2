"""A picture, a frame of a still and a part of it on fewer pixels."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
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


@settings(max_examples=60)
@given(
    still=st.tuples(st.integers(2, 160), st.integers(1, 120)),
    part=st.tuples(*[st.floats(0, 1)] * 4),
    width=st.floats(0, 1),
)
@example(still=(119, 72), part=(80 / 119, 1.0, 1.0, 0.0), width=3 / 80)
@example(still=(65, 49), part=(40 / 65, 1.0, 1.0, 0.0), width=29 / 40)
def test_a_frame_of_any_still_is_reduced_to_one_within_it(still, part, width):
    """A frame as high as its still among them, whatever either's height is rounded to."""
    across, down = (max(1, round(side * share)) for side, share in zip(still, part, strict=False))
    left, top = (
        round(share * (side - own))
        for side, own, share in zip(still, (across, down), part[2:], strict=True)
    )
    light = np.zeros((still[1], still[0], 3), np.float32)
    frame = framed(Picture(radiance=light), Region(left, top, across, down))
    most = max(1, round(width * across))
    small = reduced(frame, most)
    assert small.width_px == min(most, across)
    scale = small.width_px / across
    assert small.height_px == pytest.approx(max(1, scale * down), abs=1)
    assert small.wider is not None
    region, whole = small.wider.region, small.wider.picture
    assert region.size_px == (small.width_px, small.height_px)
    assert whole.width_px == pytest.approx(scale * still[0], abs=0.5)
    for start, own, length, all_of_it in (
        (region.x_px, left, region.width_px, whole.width_px),
        (region.y_px, top, region.height_px, whole.height_px),
    ):
        # Where it lay, but for the still's last pixel.
        assert min(scale * own, all_of_it - length) - 0.5 <= start <= scale * own + 0.5


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
