"""Footprints on a filter: geometry, and how much of one lies in a hole."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.optics.footprint import Footprint, RoundHole, share_of_disc_in_disc


def footprint(focal_mm: float, f_number: float) -> Footprint:
    return Footprint.of_camera(
        Camera(
            focal_length_mm=focal_mm, f_number=f_number, sensor_width_mm=36, filter_distance_mm=80
        )
    )


@pytest.mark.parametrize(
    ("focal", "f_number", "pupil", "shift", "in_pupils", "blur", "share_of_width", "hole"),
    [
        (24, 2.8, 8.57, 60.0, 7.0, 2.57, 7, 3.0),
        (50, 1.4, 35.7, 28.8, 0.81, 22.3, 62, 6.25),
        (50, 2, 25, 28.8, 1.15, 15.6, 43, 6.25),
        (50, 5.6, 8.93, 28.8, 3.2, 5.58, 15.5, 6.25),
        (85, 2, 42.5, 16.9, 0.40, 45.2, 125, 10.6),
        (135, 2.8, 48.2, 10.7, 0.22, 81.4, 226, 16.9),
    ],
)
@pytest.mark.source("ISO517", "the f-number is the focal length over the entrance pupil")
def test_geometry_of_lenses_80_mm_behind_a_filter(
    focal: float,
    f_number: float,
    pupil: float,
    shift: float,
    in_pupils: float,
    blur: float,
    share_of_width: float,
    hole: float,
) -> None:
    # By similar triangles, to the digits of a table worked out by hand; in mm and per cent.
    seen = footprint(focal, f_number)
    edge_mm = float(seen.middle_m(18 / focal)) * 1e3
    assert seen.diameter_m * 1e3 == pytest.approx(pupil, abs=0.05)
    assert edge_mm == pytest.approx(shift, abs=0.05)
    assert edge_mm / (seen.diameter_m * 1e3) == pytest.approx(in_pupils, abs=0.05)
    assert seen.blur_diameter * focal == pytest.approx(blur, abs=0.05)
    assert seen.blur_diameter * focal / 36 * 100 == pytest.approx(share_of_width, abs=0.5)
    assert float(seen.tangent_of(0.010)) * focal == pytest.approx(hole, abs=0.05)


def test_a_near_point_has_a_smaller_footprint() -> None:
    near = Footprint(pupil_diameter_m=0.025, distance_m=0.08, subject_distance_m=0.8)
    assert near.diameter_m == pytest.approx(0.0225)  # nine tenths of the way to the pupil


@pytest.mark.parametrize(
    ("f_number", "shares"),
    [
        (2, [1, 0.98261, 0.83628, 0.67387, 0.51450, 0.36429, 0.22818, 0.11213, 0.02599, 0]),
        (8, [1, 1, 1, 1, 0.89884, 0.28189, 0]),
    ],
)
def test_share_of_a_footprint_in_a_clear_centre(f_number: float, shares: list[float]) -> None:
    # Overlap of circles, f = 50 mm, hole of 15 mm radius, at x = 0, 2, 4 ... mm on the sensor;
    # the sixth value of the first row by chance points as well: .67411.
    hole = RoundHole(radius_m=0.015)
    x = np.arange(len(shares)) * 2 / 50
    got = hole.share(footprint(50, f_number), x, 0 * x)
    np.testing.assert_allclose(got, shares, atol=1e-5)
    np.testing.assert_allclose(
        hole.share(footprint(50, f_number), 0.6 * x, -0.8 * x), got, atol=1e-12
    )


@example(distance=5e-324, radius=0.1, other=0.1)
@given(distance=st.floats(0.0, 4.0), radius=st.floats(0.1, 2.0), other=st.floats(0.1, 2.0))
def test_overlap_of_discs_against_a_quadrature(
    distance: float, radius: float, other: float
) -> None:
    # Strips of the first disc, and how much of each lies in the other.
    angle = (np.arange(4000) + 0.5) / 4000 * np.pi
    x = radius * np.cos(angle)
    height = radius * np.sin(angle)
    reach = np.sqrt(np.maximum(other**2 - (x - distance) ** 2, 0.0))
    area = np.sum(2 * np.minimum(height, reach) * height) * np.pi / 4000
    expected = area / (math.pi * radius**2)
    assert share_of_disc_in_disc(distance, radius, other) == pytest.approx(expected, abs=2e-4)


@given(distance=st.floats(0.0, 4.0), radius=st.floats(0.1, 2.0), other=st.floats(0.1, 2.0))
def test_both_discs_share_the_same_area(distance: float, radius: float, other: float) -> None:
    one = float(share_of_disc_in_disc(distance, radius, other)) * radius**2
    two = float(share_of_disc_in_disc(distance, other, radius)) * other**2
    assert one == pytest.approx(two, rel=1e-9, abs=1e-12)


def test_a_corner_smear_is_a_hole_off_the_middle() -> None:
    smear = RoundHole(radius_m=0.010, x_m=0.02, y_m=0.015)
    wide = footprint(24, 5.6)
    x, y = float(wide.tangent_of(0.02)), float(wide.tangent_of(0.015))
    assert smear.share(wide, x, y) == pytest.approx(1.0)
    assert smear.share(wide, -x, -y) == pytest.approx(0.0)


def test_paint_is_seen_as_its_mean_over_the_footprint() -> None:
    seen = footprint(50, 2)
    x = np.linspace(0, 18, 10) / 50
    hole = RoundHole(radius_m=0.015)

    def inside(px: np.ndarray, py: np.ndarray) -> np.ndarray:
        return (np.hypot(px, py) <= hole.radius_m).astype(np.float64)

    # 256 places: an edge is met to half of one in sixteen across.
    np.testing.assert_allclose(seen.seen(inside, x, 0 * x), hole.share(seen, x, 0 * x), atol=0.01)
    # The mean of a slope is its value in the middle, of a square the disc's D**2 / 16 more.
    slope = seen.seen(lambda px, _: px, x, 0 * x)
    np.testing.assert_allclose(slope, seen.middle_m(x), atol=2e-5)
    square = seen.seen(lambda px, _: px**2, np.zeros(1), np.zeros(1))
    # 1/256 of the area stands for itself by one place: half a per cent of the second moment.
    assert square[0] == pytest.approx(0.025**2 / 16, rel=8e-3)


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"pupil_diameter_m": 0.0}, "pupil_diameter_m"),
        ({"distance_m": -1.0}, "distance_m"),
        ({"subject_distance_m": 0.05}, "subject_distance_m"),
        ({"subject_distance_m": math.nan}, "subject_distance_m"),
    ],
)
def test_an_impossible_footprint_is_refused(changes: dict[str, float], name: str) -> None:
    with pytest.raises(ParameterError, match=name):
        Footprint(**({"pupil_diameter_m": 0.02, "distance_m": 0.08} | changes))
