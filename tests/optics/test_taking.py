"""The taking lens: how it is said, and how much of a wider still it sees."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.optics.sensors import SENSORS_MM, sensor_mm_from_text
from frontglass.optics.taking import TakingLens

# A phone of 26 mm equivalent, 4000 x 3000 px: 26 x 5000 / 43.2666 px.
PHONE_FOCAL_PX = 3004.63
PHONE = Camera(focal_length_mm=PHONE_FOCAL_PX, sensor_width_mm=4000)
STILL = (4000, 3000)


@pytest.mark.source("SMPTE-apertures", "camera apertures in inches, from memory")
@pytest.mark.parametrize(
    ("name", "inches"),
    [
        ("super35", (0.980, 0.735)),
        ("academy35", (0.864, 0.630)),
        ("16mm", (0.404, 0.295)),
        ("super16", (0.493, 0.292)),
        ("super8", (0.228, 0.158)),
        ("65mm", (2.066, 0.906)),
    ],
)
def test_film_has_the_apertures_of_the_standards(name: str, inches: tuple[float, float]) -> None:
    # Inches have three digits: 0.0005 inch is 0.013 mm.
    assert SENSORS_MM[name] == pytest.approx([25.4 * side for side in inches], abs=0.014)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("S35", "super35"),
        ("super 35", "super35"),
        ("Super-35", "super35"),
        ("FF", "full-frame"),
        ("full frame", "full-frame"),
        ("s16", "super16"),
        ("Super35 3perf", "super35-3perf"),
    ],
)
def test_sensors_have_the_names_that_people_type(text: str, name: str) -> None:
    assert sensor_mm_from_text(text) == SENSORS_MM[name]


@pytest.mark.parametrize(
    ("text", "frame_mm", "f_number"),
    [
        ("50mm,super35,2.39", (24.89, 10.414), None),
        ("50,s35,T2.8,2.39:1", (24.89, 10.414), 2.8),
        ("50 mm, full-frame, f/4, 16:9", (36.0, 20.25), 4.0),
        ("85mm,four-thirds,1.33", (17.29, 13.0), None),
        ("50mm,24.9x14", (24.9, 14.0), None),
        ("18mm,16mm,f2", (10.26, 7.49), 2.0),
        # Unsqueezed, super 35 is 49.78 x 18.66; 2.39 of that is as high as the image.
        ("50mm,super35,2x,2.39", (44.597, 18.66), None),
        ("50mm,super35,anamorphic 1.5x", (37.335, 18.66), None),
    ],
)
def test_a_taking_lens_is_said_in_parts(
    text: str, frame_mm: tuple[float, float], f_number: float | None
) -> None:
    taking = TakingLens.from_text(text)
    assert taking.frame_mm == pytest.approx(frame_mm, abs=2e-3)
    assert taking.f_number == f_number
    assert str(taking) == text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "'' is no focal length"),
        ("super35,50mm", "'super35' is no focal length"),
        ("50mm", "Name the sensor: full-frame, super35"),
        ("50mm,2.39", "Name the sensor"),
        ("50mm,super35,2,39", "with one shape of the frame"),
        ("50mm,super35,full-frame", "with one sensor"),
        ("50mm,super35,T2,f/4", "with one stop"),
        ("50mm,super36", "'super36' is no sensor"),
        ("50mm,super35,16:0", "from 0.25 to 4"),
        ("50mm,super35,9", "from 0.25 to 4"),
        ("50mm,super35,3x", "squeeze must be from 1 to 2"),
        ("0mm,super35", "focal_length_mm must be > 0"),
        ("-5mm,super35", "'-5mm' is no focal length"),
    ],
)
def test_what_is_no_taking_lens_is_one_line_that_says_why(text: str, said: str) -> None:
    with pytest.raises(ParameterError) as caught:
        TakingLens.from_text(text)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@given(st.text(alphabet="0123456789.,mxTf/:super35 2", max_size=24))
def test_any_text_is_a_taking_lens_or_one_clear_line(text: str) -> None:
    try:
        taking = TakingLens.from_text(text)
    except ParameterError as error:
        assert "\n" not in str(error)  # noqa: PT017 - other exceptions must surface as they are
    else:
        assert all(0 < side < math.inf for side in taking.frame_mm)


@pytest.mark.source("Euclid", "similar triangles: image and object from one centre")
def test_the_frame_is_as_many_pixels_as_similar_triangles_say() -> None:
    # 3004.63 px x 24.89 / 50 and 24.89 / 2.39.
    size = TakingLens.from_text("50mm,super35,2.39").size_in(PHONE, STILL)
    assert size == (1496, 626)
    field = TakingLens.from_text("50mm,super35,2.39").field_deg
    assert field == pytest.approx((27.95, 11.89), abs=5e-3)  # 2 atan(24.89 / 100)


def test_a_still_that_is_not_wide_enough_names_the_widest_lens() -> None:
    with pytest.raises(ParameterError) as caught:
        TakingLens.from_text("16mm,super35,2.39").size_in(PHONE, STILL)
    # 2 atan(2000 / 3004.63) is 67.3 degrees; 3004.63 x 24.89 / 4000 is 18.697 mm.
    assert "It needs 75.8 by 36.1 degrees and the still has 67.3 by 53.1" in str(caught.value)
    assert "widest lens that fits this frame is 18.7 mm" in str(caught.value)
    assert TakingLens.from_text("18.7mm,super35,2.39").size_in(PHONE, STILL)[0] <= 4000


def test_a_portrait_still_is_too_narrow_by_its_short_side() -> None:
    with pytest.raises(ParameterError, match=r"widest lens that fits this frame is 25 mm"):
        TakingLens.from_text("24mm,super35,2.39").size_in(
            Camera(focal_length_mm=PHONE_FOCAL_PX, sensor_width_mm=3000), (3000, 4000)
        )
