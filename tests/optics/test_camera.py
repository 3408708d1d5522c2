"""The camera: angles and pixels, fields and pupils."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.optics.camera import FULL_FRAME_DIAGONAL_MM, Camera
from frontglass.optics.sensors import SENSORS_MM

FULL_FRAME_50 = Camera(focal_length_mm=50, sensor_width_mm=36)


@pytest.mark.source("CIPA-DCG-001", "diagonal of 36 mm x 24 mm: 43.27 mm")
def test_diagonal_of_full_frame() -> None:
    assert pytest.approx(43.27, abs=0.005) == FULL_FRAME_DIAGONAL_MM
    assert pytest.approx(43.266615, abs=5e-7) == FULL_FRAME_DIAGONAL_MM


def test_normal_lens_on_full_frame_by_trigonometry() -> None:
    assert FULL_FRAME_50.px_per_rad(6000) == pytest.approx(8333.33, abs=5e-3)
    assert FULL_FRAME_50.px_per_deg(6000) == pytest.approx(145.44, abs=5e-3)
    assert FULL_FRAME_50.horizontal_field_deg == pytest.approx(39.598, abs=5e-4)
    # Turned upright, the picture's width lies along the 24 mm.
    upright = Camera(focal_length_mm=50, sensor_width_mm=24)
    assert upright.horizontal_field_deg == pytest.approx(26.991, abs=5e-4)
    diagonal = Camera(focal_length_mm=50, sensor_width_mm=FULL_FRAME_DIAGONAL_MM)
    assert diagonal.horizontal_field_deg == pytest.approx(46.793, abs=5e-4)


@pytest.mark.parametrize(
    ("focal_length_mm", "angle_deg", "distance_px"),
    [
        (50, 0.05, 7.3),
        (50, 0.1, 14.5),
        (50, 0.5, 72.7),
        (50, 1, 145.5),
        (50, 3, 436.7),
        (50, 10, 1469.4),
        (24, 1, 69.8),
        (135, 1, 392.7),
    ],
)
def test_pixels_of_an_angle_on_full_frame_of_6_um(
    focal_length_mm: float, angle_deg: float, distance_px: float
) -> None:
    camera = Camera(focal_length_mm=focal_length_mm, sensor_width_mm=36)
    # f tan(theta) / 6 um; the table has one digit after the point.
    got = camera.px_per_rad(6000) * math.tan(math.radians(angle_deg))
    assert got == pytest.approx(distance_px, abs=0.06)
    assert camera.focal_length_mm / 6e-3 == pytest.approx(camera.px_per_rad(6000), rel=1e-14)


@pytest.mark.source("CIPA-DCG-001", "ratio of diagonals")
@pytest.mark.parametrize(
    ("name", "crop"),
    [
        ("full-frame", 1.0),
        ("super35", 1.3909),
        ("super35-3perf", 1.5151),
        ("aps-c", 1.5339),
        ("four-thirds", 1.9994),
        ("one-inch", 2.7273),
        ("65mm", 0.7551),
    ],
)
def test_crop_factors_by_diagonal(name: str, crop: float) -> None:
    got = FULL_FRAME_DIAGONAL_MM / math.hypot(*SENSORS_MM[name])
    assert got == pytest.approx(crop, abs=5e-5)


def test_every_named_sensor_is_written_long_side_first() -> None:
    assert all(width > height > 0 for width, height in SENSORS_MM.values())


@pytest.mark.source("ISO517", "f-number: focal length over entrance pupil")
@pytest.mark.parametrize(
    ("focal_length_mm", "f_number", "pupil_mm"),
    [
        (24, 2.8, 8.57),
        (50, 1.4, 35.7),
        (50, 2, 25),
        (50, 5.6, 8.93),
        (85, 2, 42.5),
        (135, 2.8, 48.2),
    ],
)
def test_entrance_pupil(focal_length_mm: float, f_number: float, pupil_mm: float) -> None:
    camera = Camera(focal_length_mm=focal_length_mm, f_number=f_number, sensor_width_mm=36)
    assert camera.entrance_pupil_mm == pytest.approx(pupil_mm, rel=2e-3)


@given(st.floats(0.1, 179.0), st.integers(1, 20000))
def test_a_camera_from_its_field_has_that_field(field_deg: float, width_px: int) -> None:
    camera = Camera.from_field(field_deg)
    assert camera.horizontal_field_deg == pytest.approx(field_deg, rel=1e-9)
    # Half the picture spans half the field.
    half = camera.px_per_rad(width_px) * math.tan(math.radians(field_deg / 2))
    assert half == pytest.approx(width_px / 2, rel=1e-9)


@given(st.integers(1, 20000), st.integers(1, 20000))
def test_a_preview_spans_the_same_angle_as_the_full_still(small_px: int, large_px: int) -> None:
    small = small_px * FULL_FRAME_50.rad_per_px(small_px)
    assert small == pytest.approx(large_px * FULL_FRAME_50.rad_per_px(large_px), rel=1e-12)


@pytest.mark.parametrize("name", ["focal_length_mm", "f_number", "sensor_width_mm"])
@pytest.mark.parametrize("value", [0, -1.0, math.nan, math.inf, "50"])
def test_a_camera_without_size_is_refused(name: str, value: float) -> None:
    settings: dict[str, float] = {"focal_length_mm": 50, "sensor_width_mm": 36, "f_number": 2.0}
    settings[name] = value
    with pytest.raises(ParameterError, match=name):
        Camera(**settings)


@pytest.mark.parametrize("field_deg", [0.0, 180.0, -5.0, math.nan])
def test_an_impossible_field_is_refused(field_deg: float) -> None:
    with pytest.raises(ParameterError, match="field_deg"):
        Camera.from_field(field_deg)
