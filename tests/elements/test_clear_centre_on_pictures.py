"""A clear middle, or a lone smear, as a lens sees it: where it lies, and what becomes of light."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frontglass.elements import ClearCentre, ExponentialLobe, GaussianLobe, Glow, Grease, Net
from frontglass.looks import read_look
from frontglass.optics.camera import Camera
from tests.reference.front_optics import lamp, seen

# 36 mm across 540 px: 15 px a mm.
SHAPE = (360, 540)
FULL_FRAME = {"focal_length_mm": 50.0, "sensor_width_mm": 36.0, "filter_distance_mm": 80.0}


def share_of_clear(clear: ClearCentre, f_number: float) -> np.ndarray:
    """Share of each pixel's light that passes the clean part."""
    camera = Camera(f_number=f_number, **FULL_FRAME)
    return clear.share(SHAPE, camera).within(slice(0, SHAPE[0]))


def counted_share(x_mm: float, f_number: float) -> float:
    """Share of 100,000 points, even over the pupil seen from x on the sensor, within 15 mm."""
    k = np.arange(100_000) + 0.5
    radius, turn = 25 / f_number * np.sqrt(k / k.size), k * math.pi * (3 - math.sqrt(5))
    on_filter = np.hypot(x_mm * 80 / 50 + radius * np.cos(turn), radius * np.sin(turn))
    return float(np.mean(on_filter < 15))


@pytest.mark.parametrize("f_number", [2.0, 8.0])
def test_a_hole_of_15_mm_before_50_mm(f_number):
    # The map is drawn on nodes and interpolated.
    weights = [counted_share(2.0 * step, f_number) for step in range(9)]
    got = share_of_clear(ClearCentre(radius_mm=15.0), f_number)
    columns = (np.arange(SHAPE[1]) + 0.5) / 15 - 18
    # Rows are even in number: half a pixel, 0.03 mm, off the middle at the most.
    middle = got[SHAPE[0] // 2]
    at = np.interp(2.0 * np.arange(len(weights)), columns, middle)
    np.testing.assert_allclose(at, weights, atol=1e-3)


def test_a_spot_is_the_reverse_of_a_hole():
    where = {"radius_mm": 9.0, "right_mm": 6.0, "up_mm": -4.0}
    hole, spot = (
        share_of_clear(ClearCentre(clear=clear, **where), 4.0) for clear in ("inside", "outside")
    )
    np.testing.assert_allclose(hole + spot, 1, atol=1e-6)
    assert hole.max() > 0.99
    assert hole.min() == 0


def test_right_and_up_are_right_and_up_in_the_frame():
    # A place y on the filter is y f / d on the sensor, on the side where light comes from.
    hole = share_of_clear(ClearCentre(radius_mm=4.0, right_mm=16.0, up_mm=8.0), 11.0)
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]] + 0.5
    x = np.average(columns, weights=hole) / 15 - 18
    y = np.average(rows, weights=hole) / 15 - 12
    assert (x, y) == pytest.approx((16 * 50 / 80, -8 * 50 / 80), abs=0.02)


CLEAN = ClearCentre(radius_mm=8.0)
COVERINGS = {
    "grease": Grease(film_um=0.4, texture_um=4.0, clear_centre=CLEAN),
    "glow": Glow(optical_depth=0.7, lobes=(ExponentialLobe(scale_deg=0.5),), clear_centre=CLEAN),
    "net": Net(pitch_mm=0.2, thread_mm=0.03, clear_centre=CLEAN),
}
CAMERA = Camera(f_number=8.0, **FULL_FRAME)


@pytest.mark.parametrize("element", COVERINGS.values(), ids=COVERINGS.keys())
def test_a_lamp_in_the_clear_middle_has_a_halo_outside_and_one_outside_none_in_it(element):
    clean = share_of_clear(CLEAN, 8.0)
    for column in (270, 180):
        light = lamp(SHAPE, 180, column, 1000.0)
        got = seen(light, element, camera=CAMERA)[..., 1]
        np.testing.assert_array_equal(got[clean == 1], light[..., 1][clean == 1])
        assert got[clean == 0].sum() - light[..., 1][clean == 0].sum() != pytest.approx(0, abs=0.1)
    assert got[180, 180] < 900


@pytest.mark.parametrize("right", [0.0, 0.09, 0.11, 0.2], ids=lambda right: f"at {right}")
@pytest.mark.source("Euclid", "similar triangles (VI.4): where a ray meets filter and pupil")
def test_a_lamp_s_rays_followed_through_filter_and_pupil_land_where_they_are_seen(right):
    # Rays of a lamp far away fall on all of the filter. Where it is covered they are deviated at
    # random; the lens sees those that then pass its pupil, in the direction in which they come.
    shape, spread, depth = (120, 180), math.radians(2.0), 0.7
    rng, count, launched = np.random.default_rng(7), 1_500_000, 26e-3
    pupil, distance = 50e-3 / 8 / 2, 80e-3
    at = launched * np.sqrt(rng.random(count)) * np.exp(2j * np.pi * rng.random(count))
    at += right * distance
    covered = np.abs(at) > 8e-3
    times = np.where(covered, rng.poisson(depth, count), 0)
    turn = rng.normal(size=count) + 1j * rng.normal(size=count)
    seen_in = right + spread * np.sqrt(times) * turn
    passed = np.abs(at - distance * seen_in) < pupil
    ray = (launched / pupil) ** 2 / count
    from_middle = np.abs(seen_in)
    inside_frame = (np.abs(seen_in.real) < 0.36) & (np.abs(seen_in.imag) < 0.24)

    glow = Glow(
        optical_depth=depth,
        lobes=(GaussianLobe(sigma_deg=2.0),),
        clear_centre=ClearCentre(radius_mm=8),
    )
    column = int(right / 0.004) + 90
    got = seen(lamp(shape, 60, column, 1.0), glow, camera=CAMERA, surround="dark")[..., 1]
    core = got[60, column]
    direct = ray * np.sum(passed & (times == 0))
    assert core == pytest.approx(direct, abs=0.02)
    got[60, column] = 0
    y, x = np.mgrid[: shape[0], : shape[1]]
    place = np.hypot(y + 0.5 - 60, x + 0.5 - 90) * 0.004
    for low, high in ((0.0, 0.05), (0.05, 0.1), (0.1, 0.15), (0.15, 0.5)):
        rays = passed & (times > 0) & inside_frame & (from_middle >= low) & (from_middle < high)
        light = got[(place >= low) & (place < high)].sum()
        assert light == pytest.approx(ray * rays.sum(), abs=0.008), (low, high)


@pytest.mark.parametrize("strength", [1, 2])
@pytest.mark.parametrize("lens_mm", [24.0, 50.0])
@pytest.mark.parametrize("f_number", [2.8, 16.0])
def test_a_wall_stays_even_through_keyhole_and_the_light_of_many_lamps_is_kept(
    strength, lens_mm, f_number
):
    camera = Camera(
        focal_length_mm=lens_mm, f_number=f_number, sensor_width_mm=36.0, filter_distance_mm=80.0
    )
    keyhole = read_look("keyhole").at(strength).light_path
    wall = np.full((160, 240, 3), 0.18, np.float32)
    np.testing.assert_allclose(seen(wall, *keyhole, camera=camera), wall, rtol=1e-5)
    lamps = wall.copy()
    for row, column in np.random.default_rng(3).integers(0, (160, 240), (300, 2)):
        lamps[row, column] = 500
    through = seen(lamps, *keyhole, camera=camera, surround="mirror")
    assert through.mean(dtype=float) == pytest.approx(lamps.mean(dtype=float), rel=5e-3)


def test_a_glow_above_a_threshold_leaves_its_clear_middle_alone():
    glow = Glow(
        optical_depth=0.7,
        lobes=(ExponentialLobe(scale_deg=0.3),),
        threshold_stops=1.0,
        clear_centre=CLEAN,
    )
    dim = np.full((*SHAPE, 3), 0.5, np.float32)
    np.testing.assert_allclose(seen(dim, glow, camera=CAMERA), dim, rtol=1e-6)
    one = lamp(SHAPE, 180, 270, 1000.0)
    clean = share_of_clear(CLEAN, 8.0) == 1
    np.testing.assert_array_equal(seen(one, glow, camera=CAMERA)[clean], one[clean])
    two = seen(lamp(SHAPE, 180, 60, 1000.0), glow, camera=CAMERA)
    assert two[180, 60, 1] < 600
    # As far from the clear middle as it is, nearly all of its halo is seen.
    assert two.sum(dtype=float) == pytest.approx(3000, rel=0.02)
