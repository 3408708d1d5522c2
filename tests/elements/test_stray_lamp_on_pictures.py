"""A lamp beside the lens, seen in a picture."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from frontglass.elements import StrayLamp
from frontglass.optics.camera import Camera
from tests.reference.front_optics import seen

# An odd number of pixels puts one on the axis; 721 px on 36 mm.
SHAPE = (481, 721)
CAMERA = Camera(focal_length_mm=50, sensor_width_mm=36)
BLACK = np.zeros((*SHAPE, 3), np.float32)
LAMP = StrayLamp(right_deg=40.0, illuminance=1.0, dust_share=0.0)


def along_the_row(element: StrayLamp) -> np.ndarray:
    """Green at -18, -9, 0, 9, 18 mm along the middle row."""
    row = seen(BLACK, element, camera=CAMERA)[240, :, 1]
    mm = (np.arange(SHAPE[1]) - 360) * 36 / SHAPE[1]
    return np.interp([-18, -9, 0, 9, 18], mm, row)


def white(radiance: float | list[float]) -> np.ndarray:
    """Light of white for cd/m2 under a key of 500 lx on a card of 0.9."""
    return math.pi * np.asarray(radiance) / (0.9 * 500)


@pytest.mark.source("HenyeyGreenstein1941", "the phase function, at 59.80, 50.20, 40 ... degrees")
def test_the_wash_of_a_lamp_40_degrees_to_the_right():
    # E = 500 lx, g = 0.9, depth 0.02: worked by hand, four digits; the ends of the row lie half a
    # pixel inside 18 mm.
    got = along_the_row(LAMP)
    np.testing.assert_allclose(got, white([0.135, 0.217, 0.409, 0.938, 2.761]), rtol=5e-3)


def test_the_lamps_side_is_brighter_whichever_it_is():
    wash = seen(BLACK, LAMP, camera=CAMERA)[..., 1]
    assert (np.diff(wash, axis=1) > 0).all()
    assert wash[240, -1] / wash[240, 0] == pytest.approx(2.761 / 0.135, rel=1e-2)
    other = seen(BLACK, replace(LAMP, right_deg=-40.0), camera=CAMERA)[..., 1]
    np.testing.assert_allclose(other, wash[:, ::-1], rtol=1e-6)
    above = seen(BLACK, replace(LAMP, right_deg=0.0, up_deg=40.0), camera=CAMERA)[..., 1]
    assert (np.diff(above, axis=0) < 0).all()


@pytest.mark.source("BornWolf1999", "sec. 4.8: a Lambertian surface, radiance = exitance / pi")
def test_dust_washes_evenly():
    dusty = replace(LAMP, scatter_depth=0.0, dust_share=0.01)
    got = seen(BLACK, dusty, camera=CAMERA)
    # E cos(40) rho / pi = 1.219 cd/m2.
    np.testing.assert_allclose(got, white(1.219), rtol=5e-4)


def test_a_hood_takes_it_all_away():
    light = np.random.default_rng(1).uniform(0, 1, (*SHAPE, 3)).astype(np.float32)
    hooded = replace(LAMP, hooded=True, ghosts=2.0, dust_share=0.5)
    np.testing.assert_array_equal(seen(light, hooded, camera=CAMERA), light)


def test_light_is_added_to_what_is_there_in_the_lamps_colour():
    light = np.random.default_rng(1).uniform(0, 1, (*SHAPE, 3)).astype(np.float32)
    tinted = replace(LAMP, colour=(1.0, 0.5, 0.0), dust_share=0.02)
    wash = seen(BLACK, tinted, camera=CAMERA)
    np.testing.assert_allclose(seen(light, tinted, camera=CAMERA), light + wash, atol=3e-7)
    np.testing.assert_allclose(wash[..., 1], wash[..., 0] / 2, rtol=1e-6)
    assert not wash[..., 2].any()


def test_strength_is_the_lamps_light():
    wash = seen(BLACK, LAMP, camera=CAMERA)
    for strength in (0.125, 3.0):
        got = seen(BLACK, LAMP.at(strength), camera=CAMERA)
        np.testing.assert_allclose(got, strength * wash, rtol=1e-6)


def test_ghosts_are_off_unless_asked_for_and_lie_across_the_middle():
    assert StrayLamp(right_deg=30.0, illuminance=1.0).ghosts == 0
    slant = StrayLamp(
        right_deg=16.0, up_deg=8.0, illuminance=1.0, scatter_depth=0.0, dust_share=0.0, ghosts=1.0
    )
    ghosts = seen(BLACK, slant, camera=CAMERA)[..., 1]
    rows, columns = np.nonzero(ghosts > ghosts.max() / 50)
    assert 500 < rows.size < 0.2 * ghosts.size
    # On the line from the lamp through the middle, up to the radius of the widest disc.
    x, y = (columns - 360) / CAMERA.px_per_rad(721), (rows - 240) / CAMERA.px_per_rad(721)
    off_line = np.abs(x * math.sin(math.atan2(8, 16)) + y * math.cos(math.atan2(8, 16)))
    assert off_line.max() < 0.056
    # Both on the lamp's side and across.
    assert ((x > 0.05) & (y < 0)).any()
    assert ((x < -0.05) & (y > 0)).any()


def test_the_wash_is_the_same_angle_by_angle_at_twice_the_pixels():
    small = seen(BLACK[:241, :361], LAMP, camera=CAMERA)
    big = seen(np.zeros((482, 722, 3), np.float32), LAMP, camera=CAMERA)
    halved = big.reshape(241, 2, 361, 2, 3).mean((1, 3))
    np.testing.assert_allclose(halved, small, rtol=1e-3)
