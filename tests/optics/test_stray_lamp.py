"""A lamp beside the lens: its wash over the frame, and ghosts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frontglass.errors import ParameterError
from frontglass.optics.stray_lamp import (
    EXAMPLE_GHOSTS,
    HenyeyGreensteinScatter,
    LampDirection,
    OffAxisLamp,
    ghost_radiance,
    iris_cover,
    white_from_radiance,
)
from tests.reference.eye_scatter import InverseSquareScatter

RIGHT_40 = LampDirection(off_axis_rad=math.radians(40))
PLACES = np.array([-18.0, -9.0, 0.0, 9.0, 18.0]) / 50  # mm on the sensor over a 50 mm lens
NONE = HenyeyGreensteinScatter(optical_depth=0.0, asymmetry=0.0)


def test_angles_from_pixels_to_a_lamp() -> None:
    got = np.degrees(RIGHT_40.angle_to_rad(PLACES, 0.0))
    np.testing.assert_allclose(got, [59.80, 50.20, 40, 29.80, 20.20], atol=5e-3)


def test_a_lamp_below_is_nearest_to_the_bottom_of_the_frame() -> None:
    below = LampDirection(off_axis_rad=0.7, clock_rad=math.pi / 2)
    top, bottom = below.angle_to_rad(0.0, np.array([-0.2, 0.2]))
    assert bottom == pytest.approx(0.7 - math.atan(0.2), abs=1e-12)
    assert top == pytest.approx(0.7 + math.atan(0.2), abs=1e-12)
    x, y = below.tangents
    assert below.angle_to_rad(x, y) == pytest.approx(0.0, abs=1e-15)


@pytest.mark.source("Spencer1995", "eq. for f2: scatter of the eye, inverse square of the angle")
def test_wash_of_inverse_square_glass() -> None:
    lamp = OffAxisLamp(
        direction=RIGHT_40, illuminance=500, scatter=InverseSquareScatter(level_per_sr=10)
    )
    wash = lamp.wash(PLACES, 0.0)
    np.testing.assert_allclose(wash, [1.071, 1.520, 2.394, 4.314, 9.386], atol=5e-4)
    assert math.log2(wash[-1] / wash[0]) == pytest.approx(3.1, abs=0.05)  # stops over the frame
    assert white_from_radiance(wash[2], key_illuminance=500) == pytest.approx(0.0167, abs=5e-5)


@pytest.mark.source("HenyeyGreenstein1941", "the phase function")
def test_wash_of_forward_scattering_glass() -> None:
    scatter = HenyeyGreensteinScatter(optical_depth=0.02, asymmetry=0.9)
    lamp = OffAxisLamp(direction=RIGHT_40, illuminance=500, scatter=scatter)
    expected = [0.135, 0.217, 0.409, 0.938, 2.761]
    np.testing.assert_allclose(lamp.wash(PLACES, 0.0), expected, atol=5e-4)


def test_wash_of_dust_is_even() -> None:
    lamp = OffAxisLamp(direction=RIGHT_40, illuminance=500, scatter=NONE, dust_share=0.01)
    np.testing.assert_allclose(lamp.wash(PLACES, 0.0), 1.219, atol=5e-4)


@pytest.mark.source("HenyeyGreenstein1941", "mean cosine g, values at 0")
@pytest.mark.parametrize(
    ("g", "forward", "half_deg"),
    [(0.5, 0.4775, 31.44), (0.7, 1.5031, 15.80), (0.8, 3.5810, 9.83), (0.9, 15.1197, 4.63)],
)
def test_phase_function(g: float, forward: float, half_deg: float) -> None:
    scatter = HenyeyGreensteinScatter(optical_depth=1.0, asymmetry=g)
    assert scatter.density(0.0) == pytest.approx(forward, abs=5e-5)
    half = scatter.density(math.radians(half_deg))
    assert half == pytest.approx(forward / 2, rel=2e-3)
    cosine, weight = np.polynomial.legendre.leggauss(400)
    values = scatter.density(np.arccos(cosine))
    assert 2 * math.pi * np.sum(weight * values) == pytest.approx(1.0, abs=1e-10)
    assert 2 * math.pi * np.sum(weight * values * cosine) == pytest.approx(g, abs=1e-10)


def test_a_hood_keeps_the_lamp_off() -> None:
    lamp = OffAxisLamp(
        direction=RIGHT_40,
        illuminance=500,
        scatter=InverseSquareScatter(level_per_sr=10),
        dust_share=0.01,
        hooded=True,
    )
    assert not lamp.wash(PLACES, 0.0).any()
    assert not ghost_radiance(lamp, EXAMPLE_GHOSTS, PLACES, 0 * PLACES).any()


def test_ghosts_lie_on_the_line_through_the_middle_and_hold_their_light() -> None:
    lamp = OffAxisLamp(
        direction=LampDirection(off_axis_rad=math.radians(30), clock_rad=0.5),
        illuminance=2.0,
        scatter=NONE,
    )
    step = 1e-3
    along = (np.arange(-600, 600) + 0.5) * step
    x, y = np.meshgrid(along, along)
    across = y * math.cos(0.5) - x * math.sin(0.5)
    along_line = (x * math.cos(0.5) + y * math.sin(0.5)) / math.tan(math.radians(30))
    for ghost in EXAMPLE_GHOSTS:
        radiance = ghost_radiance(lamp, (ghost,), x, y, blades=7, edge=2e-3)
        light = radiance.sum() * step**2
        # A soft edge of 1/8 of the smallest radius leaves the area within a few per cent.
        assert light == pytest.approx(2.0 * math.cos(math.radians(30)) * ghost.share, rel=0.02)
        assert np.sum(radiance * across) / radiance.sum() == pytest.approx(0.0, abs=step)
        middle = np.sum(radiance * along_line) / radiance.sum()
        assert middle == pytest.approx(ghost.place, abs=3 * step)


@pytest.mark.parametrize("blades", [5, 6, 9, 18])
def test_iris_has_the_area_of_its_polygon(blades: int) -> None:
    along = np.linspace(-1.1, 1.1, 1101)
    cover = iris_cover(
        along, along[:, np.newaxis], radius=1.0, blades=blades, turn_rad=0.2, edge=0.01
    )
    area = cover.sum() * (along[1] - along[0]) ** 2
    assert area == pytest.approx(blades / 2 * math.sin(2 * math.pi / blades), rel=2e-3)
    # A corner lies at the turn: just inside it is light, beyond the middle of a side dark.
    corner = iris_cover(
        0.97 * math.cos(0.2), 0.97 * math.sin(0.2), radius=1.0, blades=blades, turn_rad=0.2,
        edge=1e-3,
    )  # fmt: skip
    side = 0.2 + math.pi / blades
    beyond = iris_cover(
        math.cos(side), math.sin(side), radius=1.0, blades=blades, turn_rad=0.2, edge=1e-3
    )
    assert corner == 1
    assert beyond == 0


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: LampDirection(off_axis_rad=math.radians(95)), "off_axis_rad"),
        (lambda: LampDirection(off_axis_rad=0.5, clock_rad=math.inf), "clock_rad"),
        (lambda: HenyeyGreensteinScatter(optical_depth=-1.0, asymmetry=0.0), "optical_depth"),
        (lambda: HenyeyGreensteinScatter(optical_depth=0.1, asymmetry=1.0), "asymmetry"),
        (lambda: OffAxisLamp(direction=RIGHT_40, illuminance=-1.0, scatter=NONE), "illuminance"),
        (
            lambda: OffAxisLamp(direction=RIGHT_40, illuminance=1.0, scatter=NONE, dust_share=2.0),
            "dust_share",
        ),
        (lambda: white_from_radiance(1.0, key_illuminance=0.0), "key_illuminance"),
        (
            lambda: white_from_radiance(1.0, key_illuminance=1.0, white_reflectance=1.2),
            "white_reflectance",
        ),
        (
            lambda: iris_cover(0.0, 0.0, radius=1.0, blades=4, turn_rad=0.0, edge=0.1),
            "blades",
        ),
    ],
)
def test_what_no_lamp_can_be_is_refused(call: object, name: str) -> None:
    assert callable(call)
    with pytest.raises(ParameterError) as caught:
        call()
    assert caught.value.name == name
