"""Which camera a still was taken with: given, named by the file, or assumed."""

from __future__ import annotations

import math
from typing import TypedDict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import FrontglassError, ParameterError
from frontglass.optics.camera import (
    Camera,
    ShotData,
    choose_camera,
    f_number_from_text,
    filter_distance_mm_from_text,
    lens_mm_from_text,
)
from frontglass.optics.sensors import SENSORS_MM, sensor_mm_from_text

NOTHING = ShotData()


class Size(TypedDict):
    width_px: int
    height_px: int


SIZE: Size = {"width_px": 6000, "height_px": 4000}


@pytest.mark.source("CIPA-DCG-001", "35 mm equivalent by the diagonal")
@pytest.mark.parametrize(
    ("width_px", "height_px", "focal_px"),
    [(6000, 4000, 8333.33), (4000, 3000, 5778.13), (3840, 2160, 5091.47), (3000, 4000, 5778.13)],
)
def test_equivalent_focal_length_goes_by_the_diagonal(
    width_px: int, height_px: int, focal_px: float
) -> None:
    # By the width it would be 5555.56 px at 4000 x 3000 and 5333.33 px at 3840 x 2160.
    shot = ShotData(focal_length_35mm=50, f_number=2)
    camera = choose_camera(shot, width_px=width_px, height_px=height_px).camera
    assert camera.px_per_rad(width_px) == pytest.approx(focal_px, abs=5e-3)


def test_true_focal_length_is_kept_and_the_sensor_follows_from_the_field() -> None:
    # A phone: 6.8 mm lens, 24 mm equivalent, 4:3.
    shot = ShotData(focal_length_mm=6.8, focal_length_35mm=24, f_number=1.8)
    camera, notices = choose_camera(shot, width_px=4000, height_px=3000)
    assert notices == ()
    assert camera.focal_length_mm == 6.8
    assert camera.px_per_rad(4000) == pytest.approx(24 * 5000 / 43.266615, rel=1e-7)
    # 43.27 mm x 6.8 / 24 is the diagonal; a 4:3 picture is 4/5 of it wide.
    assert camera.sensor_width_mm == pytest.approx(43.266615 * 6.8 / 24 * 0.8, rel=1e-7)
    assert camera.entrance_pupil_mm == pytest.approx(6.8 / 1.8)


def test_options_win_over_the_file() -> None:
    shot = ShotData(focal_length_mm=35, focal_length_35mm=50, f_number=8, sensor_width_mm=23.5)
    choice = choose_camera(
        shot, **SIZE, lens_mm=85, f_number=1.4, sensor="36x24", filter_distance_mm=120
    )
    assert choice.notices == ()
    assert choice.camera == Camera(
        focal_length_mm=85, f_number=1.4, sensor_width_mm=36.0, filter_distance_mm=120
    )


def test_a_given_lens_keeps_the_sensor_of_the_file() -> None:
    from_equivalent = ShotData(focal_length_mm=35, focal_length_35mm=50, f_number=4)
    camera, notices = choose_camera(from_equivalent, **SIZE, lens_mm=85)
    assert camera.focal_length_mm == 85
    assert camera.sensor_width_mm == pytest.approx(25.2)
    assert notices == ()
    from_width = ShotData(sensor_width_mm=23.5, f_number=4)
    camera, notices = choose_camera(from_width, **SIZE, lens_mm=85)
    assert (camera.focal_length_mm, camera.sensor_width_mm, notices) == (85, 23.5, ())


def test_a_given_sensor_goes_with_the_lens_of_the_file() -> None:
    shot = ShotData(focal_length_mm=35, f_number=4)
    camera, notices = choose_camera(shot, **SIZE, sensor="aps-c")
    # 3:2 fits APS-C's 23.5 x 15.6 by its height: 15.6 x 3 / 2 is 23.4.
    assert camera.focal_length_mm == 35
    assert camera.sensor_width_mm == pytest.approx(23.4)
    assert notices == ()


def test_a_given_sensor_leaves_the_field_of_the_equivalent_alone() -> None:
    shot = ShotData(focal_length_35mm=50, f_number=4)
    plain = choose_camera(shot, **SIZE).camera
    given_sensor, notices = choose_camera(shot, **SIZE, sensor="one-inch")
    assert given_sensor.horizontal_field_deg == pytest.approx(plain.horizontal_field_deg)
    assert given_sensor.sensor_width_mm == pytest.approx(13.2)
    assert notices == ()


def test_a_lens_alone_is_taken_on_full_frame_and_said_so() -> None:
    camera, (notice,) = choose_camera(NOTHING, **SIZE, lens_mm=50, f_number=2)
    assert camera == Camera(focal_length_mm=50, f_number=2, sensor_width_mm=36)
    assert "full-frame sensor" in notice
    assert "super35" in notice


def test_an_equivalent_alone_is_taken_on_full_frame_and_said_so() -> None:
    camera, (notice,) = choose_camera(ShotData(focal_length_35mm=50, f_number=2), **SIZE)
    assert camera.focal_length_mm == pytest.approx(50)
    assert camera.sensor_width_mm == pytest.approx(36)
    assert "50 mm equivalent" in notice


@pytest.mark.parametrize(("width_px", "height_px"), [(6000, 4000), (4000, 6000), (1000, 1000)])
def test_nothing_known_is_a_field_of_forty_degrees_along_the_long_side(
    width_px: int, height_px: int
) -> None:
    camera, notices = choose_camera(NOTHING, width_px=width_px, height_px=height_px)
    half_px = camera.px_per_rad(width_px) * math.tan(math.radians(20))
    assert half_px == pytest.approx(max(width_px, height_px) / 2)
    assert len(notices) == 1
    for words in ("field of 40 degrees", "50mm", "f/2.8"):
        assert words in notices[0]
    assert camera.f_number == 2.8
    assert camera.filter_distance_mm == 80


def test_a_missing_f_number_alone_is_one_notice() -> None:
    shot = ShotData(focal_length_mm=35, focal_length_35mm=50)
    assert choose_camera(shot, **SIZE).notices == ("The camera is not fully known: assumed f/2.8.",)


@pytest.mark.source("Exif2.3", "FocalLengthIn35mmFilm: 0 means unknown")
@pytest.mark.parametrize("unknown", [0, 0.0, math.inf, math.nan])
def test_zero_in_a_file_means_unknown(unknown: float) -> None:
    shot = ShotData(
        focal_length_mm=unknown,
        focal_length_35mm=unknown,
        f_number=unknown,
        sensor_width_mm=unknown,
    )
    assert choose_camera(shot, **SIZE) == choose_camera(NOTHING, **SIZE)


@pytest.mark.parametrize(
    ("width_px", "height_px", "sensor", "width_mm"),
    [
        (6000, 4000, "full-frame", 36.0),
        (4000, 6000, "full-frame", 24.0),  # upright: the camera was turned
        (4000, 6000, "24x36", 24.0),
        (3840, 2160, "super35", 24.89),  # flatter than the sensor: its full width
        (2160, 3840, "super35", 24.89 * 9 / 16),
        (3000, 3000, "full-frame", 24.0),  # squarer: its full height
        (4000, 3000, "full-frame", 32.0),
    ],
)
def test_a_picture_fills_as_much_of_the_sensor_as_its_shape_allows(
    width_px: int, height_px: int, sensor: str, width_mm: float
) -> None:
    choice = choose_camera(
        NOTHING, width_px=width_px, height_px=height_px, lens_mm=50, f_number=2, sensor=sensor
    )
    assert choice.camera.sensor_width_mm == pytest.approx(width_mm, rel=1e-12)
    assert choice.notices == ()


@given(
    width_px=st.integers(1, 10000),
    height_px=st.integers(1, 10000),
    sensor=st.sampled_from([None, *SENSORS_MM]),
    lens_mm=st.none() | st.floats(1, 1000),
    shot=st.builds(
        ShotData,
        focal_length_mm=st.none() | st.floats(1, 1000),
        focal_length_35mm=st.none() | st.floats(1, 1000),
        sensor_width_mm=st.none() | st.floats(1, 100),
    ),
)
def test_turning_the_camera_does_not_change_the_lens(
    width_px: int, height_px: int, sensor: str | None, lens_mm: float | None, shot: ShotData
) -> None:
    level, upright = (
        choose_camera(shot, width_px=w, height_px=h, sensor=sensor, lens_mm=lens_mm)
        for w, h in ((width_px, height_px), (height_px, width_px))
    )
    assert level.camera.px_per_rad(width_px) == pytest.approx(
        upright.camera.px_per_rad(height_px), rel=1e-9
    )
    assert level.notices == upright.notices
    assert len(level.notices) == 1  # the f-number at least


@pytest.mark.parametrize(
    "name", ["lens_mm", "f_number", "filter_distance_mm", "width_px", "height_px"]
)
@pytest.mark.parametrize("value", [0, -2.0, math.nan])
def test_impossible_options_are_refused(name: str, value: float) -> None:
    with pytest.raises(ParameterError, match=r"> 0|finite"):
        choose_camera(NOTHING, **{**SIZE, name: value})  # type: ignore[arg-type] # wrong on purpose


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [("50mm", 50), ("50", 50), (" 50 mm ", 50), ("24.5MM", 24.5), (".5", 0.5), ("50.", 50)],
)
def test_lengths_in_text(text: str, millimetres: float) -> None:
    assert lens_mm_from_text(text) == millimetres
    assert filter_distance_mm_from_text(text) == millimetres


@pytest.mark.parametrize(
    ("text", "number"), [("2.8", 2.8), ("f/2.8", 2.8), ("F/4", 4), ("f2", 2), (" f / 1.4 ", 1.4)]
)
def test_f_numbers_in_text(text: str, number: float) -> None:
    assert f_number_from_text(text) == number


BAD_NUMBERS = [
    "",
    "mm",
    "50m",
    "-50",
    "0",
    "0mm",
    "5 0",
    "1e3",
    "nan",
    "inf",
    "50,5,5",
    "\u0665\u0660",
    "1" * 400,
]


@pytest.mark.parametrize("text", BAD_NUMBERS)
def test_text_that_is_no_number_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(ParameterError, match="lens must be a focal length in mm such as 50mm"):
        lens_mm_from_text(text)
    with pytest.raises(
        ParameterError, match=r"stop must be an f-number such as 2\.8, f/2\.8 or T2"
    ):
        f_number_from_text(text)
    with pytest.raises(ParameterError, match=r"filter distance must be .* such as 80mm"):
        filter_distance_mm_from_text(text)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("full-frame", (36.0, 24.0)),
        (" Super35 ", (24.89, 18.66)),
        ("24.9x18.7", (24.9, 18.7)),
        ("24.9 X 18.7 mm", (24.9, 18.7)),
        ("36mm x 24mm", (36.0, 24.0)),
        ("36\u00d724", (36.0, 24.0)),
    ],
)
def test_sensors_in_text(text: str, size: tuple[float, float]) -> None:
    assert sensor_mm_from_text(text) == size


@pytest.mark.parametrize(
    "text", ["", "super-53", "36", "36x", "0x24", "36x24x2", "-36x24", "\u0663x\u0662"]
)
def test_an_unknown_sensor_is_refused_with_the_known_names(text: str) -> None:
    with pytest.raises(ParameterError, match="sensor must be") as caught:
        sensor_mm_from_text(text)
    assert all(name in str(caught.value) for name in SENSORS_MM)


@given(st.text(max_size=20))
def test_any_text_gives_a_positive_number_or_one_clear_line(text: str) -> None:
    for parse in (lens_mm_from_text, f_number_from_text, filter_distance_mm_from_text):
        try:
            number = parse(text)
        except FrontglassError as error:
            assert "\n" not in str(error)  # noqa: PT017 - other exceptions must surface as they are
        else:
            assert 0 < number < math.inf


@given(st.floats(0.1, 1e4), st.floats(0.1, 1e4))
def test_a_written_size_is_read_back(width_mm: float, height_mm: float) -> None:
    assert sensor_mm_from_text(f"{width_mm:f}x{height_mm:f}") == pytest.approx(
        (width_mm, height_mm), abs=1e-6
    )
