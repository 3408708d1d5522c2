"""The sheet of distances: the still on the left, its distances on the right, their scale below."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

import frontglass as fg
from frontglass.errors import ParameterError
from frontglass.picture.display import display_codes
from frontglass.picture.encoding import Encoding
from frontglass.sheets.distance_page import FAR_SHADE, NEAR_SHADE, SKY_SHADE, distance_sheet

CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=36)
STILL = np.array([0.2, 0.02, 0.02], np.float32)


class Box(NamedTuple):
    left: int
    top: int
    right: int
    bottom: int


def box_of(mask: NDArray[np.bool_]) -> Box:
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    return Box(int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1)


@pytest.fixture(scope="module")
def sheet() -> NDArray[np.uint8]:
    """Of a red wall: sky above, then 2 m on the left and 8 m on the right."""
    light = np.tile(STILL, (200, 300, 1))
    distance = np.full((200, 300), 2.0, np.float32)
    distance[:, 150:] = 8.0
    distance[:40] = np.inf
    picture = fg.Picture(radiance=light, encoding=Encoding.linear(), distance_m=distance)
    return distance_sheet(picture, CAMERA, name="wall.exr", width_px=900).codes


def map_box(codes: NDArray[np.uint8]) -> Box:
    sky = box_of((codes == SKY_SHADE).all(2))
    # The sky is the upper fifth of the map.
    return sky._replace(bottom=sky.top + round(5 * (sky.bottom - sky.top)))


def test_the_still_stands_on_the_left_as_large_and_as_high_as_its_distances(sheet):
    red = display_codes(STILL.reshape(1, 1, 3))[0, 0].astype(int)
    still = box_of((np.abs(sheet.astype(int) - red) <= 1).all(2))
    distances = map_box(sheet)
    assert still.right < distances.left
    assert still.top == distances.top
    assert still.right - still.left == distances.right - distances.left
    assert still.bottom == pytest.approx(distances.bottom, abs=3)


def test_near_is_light_and_far_is_dark(sheet):
    left, top, right, bottom = map_box(sheet)
    # Between the places where metres are written.
    row = sheet[top + round(0.98 * (bottom - top)), left:right].astype(int)
    middle = (right - left) // 2
    assert (row[: middle - 1] == NEAR_SHADE).all()
    assert (row[middle + 1 :] == FAR_SHADE).all()


def test_the_scale_below_runs_from_near_to_far(sheet):
    left, _, right, bottom = map_box(sheet)
    ends = (sheet[bottom:, left] == NEAR_SHADE).all(1) & (
        sheet[bottom:, right - 1] == FAR_SHADE
    ).all(1)
    assert 5 < ends.sum() < 40
    bar = sheet[bottom + np.flatnonzero(ends)[0], left:right].astype(int)
    assert (np.ptp(bar, axis=1) == 0).all()
    # Even steps in the logarithm of distance are even steps of shade.
    np.testing.assert_allclose(bar[:, 0], np.linspace(NEAR_SHADE, FAR_SHADE, right - left), atol=1)


def test_a_lamp_is_marked_where_it_stands():
    light = np.full((200, 300, 3), 0.01, np.float32)
    distance = np.full((200, 300), 5.0, np.float32)
    light[150:154, 60:64] = 300.0
    with_lamp, without = (
        distance_sheet(
            fg.Picture(radiance=one, encoding=Encoding.linear(), distance_m=distance),
            CAMERA,
            name="a",
            width_px=900,
        ).codes.astype(int)
        for one in (light, np.minimum(light, 0.01))
    )
    # Text above the stills differs too: look at the left still, below the first line of labels.
    half = with_lamp.shape[1] // 2
    changed = np.abs(with_lamp - without).max(axis=2)[with_lamp.shape[0] // 3 :, :half] > 20
    found = box_of(changed)
    scale = half / 300
    assert found.left < 62 * scale + 20 < found.right + 40
    assert found.right - found.left < 90


def test_nothing_known_is_refused():
    picture = fg.Picture(radiance=np.ones((4, 4, 3), np.float32), encoding=Encoding.linear())
    with pytest.raises(ParameterError, match="Give a distance map"):
        distance_sheet(picture, CAMERA, name="a")
