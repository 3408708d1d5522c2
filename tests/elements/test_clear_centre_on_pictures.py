"""A clear middle, or a lone smear, as a lens sees it: where it lies, and what becomes of light."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frontglass.elements import ClearCentre, ExponentialLobe, Glow, Grease, Net
from frontglass.optics.camera import Camera
from tests.reference.front_optics import lamp, seen

# 36 mm across 540 px: 15 px a mm.
SHAPE = (360, 540)
FULL_FRAME = {"focal_length_mm": 50.0, "sensor_width_mm": 36.0, "filter_distance_mm": 80.0}


def share_of_clear(clear: ClearCentre, f_number: float) -> np.ndarray:
    """Share of each pixel's light that passes the clean part."""
    camera = Camera(f_number=f_number, **FULL_FRAME)
    white = np.ones((*SHAPE, 3), np.float32)
    return clear.through(white, camera, 0.0, np.zeros_like)[..., 1]


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
def test_light_is_weighed_where_it_comes_from_and_none_is_lost(element):
    light = np.random.default_rng(2).uniform(0, 1, (*SHAPE, 3)).astype(np.float32)
    light[180, 120] = 5000
    got = seen(light, element, camera=CAMERA, compensate=False)
    clean = share_of_clear(CLEAN, 8.0)[..., np.newaxis].astype(float)
    kept = getattr(element, "covered_transmittance", 1.0)
    want = (light * (clean + (1 - clean) * kept)).sum((0, 1), dtype=float)
    np.testing.assert_allclose(got.sum((0, 1), dtype=float), want, rtol=3e-6)


@pytest.mark.parametrize("element", COVERINGS.values(), ids=COVERINGS.keys())
def test_a_lamp_in_the_clear_middle_is_untouched_and_one_outside_spills_into_it(element):
    inside, outside = (lamp(SHAPE, 180, column, 1000.0) for column in (270, 180))
    got = seen(inside, element, camera=CAMERA)
    np.testing.assert_allclose(got, inside, atol=2e-5)
    got = seen(outside, element, camera=CAMERA)
    assert got[180, 180, 1] < 900
    # Where the glass is wholly clear there is light of the lamp outside: weighed where light
    # arrives instead, there would be none.
    clean = share_of_clear(CLEAN, 8.0)
    assert clean[180, 235] == 1
    assert got[180, 230:240, 1].sum() > 1e-3


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
    np.testing.assert_allclose(seen(one, glow, camera=CAMERA), one, atol=1e-5)
    two = seen(lamp(SHAPE, 180, 60, 1000.0), glow, camera=CAMERA)
    assert two[180, 60, 1] < 600
    assert two.sum(dtype=float) == pytest.approx(3000, rel=1e-5)
