"""Looks before a lens: what `render` makes of their elements."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.elements import (
    Element,
    ExponentialLobe,
    GaussianLobe,
    Glow,
    MoffatLobe,
    Plate,
    Veil,
)
from frontglass.elements.glow import light_above
from frontglass.looks import catalogue
from frontglass.looks.look import Look
from frontglass.optics.camera import Camera, ShotData
from frontglass.picture.picture import Picture
from frontglass.pipeline.kept_grain import Bare
from frontglass.pipeline.light_path import _Ends, _without_rounding, through_light_path
from tests.conftest import Pictured

Light = NDArray[np.float32]

CAMERA = Camera.from_field(40.0)
GLOW = Glow(optical_depth=0.3, lobes=(ExponentialLobe(scale_deg=0.8),))
every_look = pytest.mark.parametrize("look", catalogue(), ids=str)
# Nets, films, lamps beside the frame and ghosts are held to others, beside their own tests.
SHIFT_INVARIANT = [
    look.with_glass(returns=0.0)
    for look in catalogue()
    if all(isinstance(e, Glow | Veil | Plate) for e in look.elements)
]
every_glow = pytest.mark.parametrize("look", SHIFT_INVARIANT, ids=str)


def look_of(*elements: Element) -> Look:
    return Look(name="test", summary="A test.", watch="Nothing.", elements=elements)


def room(height: int = 64, width: int = 96) -> Light:
    light = np.random.default_rng(8).uniform(0.002, 0.4, (height, width, 3)).astype(np.float32)
    light[height // 3, width // 4] = (400, 250, 90)
    light.flags.writeable = False  # What comes in is left alone.
    return light


@every_glow
@pytest.mark.parametrize("shape", [(1, 1), (5, 1), (48, 73)])
def test_flat_light_stays_flat(pictured: Pictured, look: Look, shape: tuple[int, int]) -> None:
    flat = np.full((*shape, 3), 0.18, dtype=np.float32)
    out = through_light_path(pictured(flat), [look], camera=CAMERA).radiance
    np.testing.assert_allclose(out, flat, rtol=5e-7)


@every_look
def test_strength_nothing_is_the_same_light_bit_for_bit(pictured: Pictured, look: Look) -> None:
    light = room()
    out = through_light_path(pictured(light), [look.at(0)], camera=CAMERA).radiance
    np.testing.assert_array_equal(out, light)


def test_no_look_gives_back_the_same_light(pictured: Pictured) -> None:
    picture = pictured(room())
    assert through_light_path(picture, [], camera=CAMERA).radiance is picture.radiance


@every_glow
def test_two_strengths_in_a_row_are_their_sum(pictured: Pictured, look: Look) -> None:
    if any(isinstance(e, Glow) and e.threshold_stops is not None for e in look.elements):
        pytest.skip("a threshold is not linear in the light")
    picture = pictured(room())
    in_a_row = through_light_path(picture, [look.at("1/4"), look.at("1/2")], camera=CAMERA).radiance
    at_once = through_light_path(picture, [look.at(0.75)], camera=CAMERA).radiance
    np.testing.assert_allclose(in_a_row, at_once, rtol=1e-3, atol=1e-4)


@pytest.mark.source("ISO9358", "veiling glare as a share of the mean light")
def test_a_scene_of_ten_stops_keeps_7_754_through_a_veil_of_2_percent(pictured: Pictured) -> None:
    # White 1, black 2**-10, and grey so that the mean is 0.18.
    light = np.full((40, 50, 3), 0.18, dtype=np.float32)
    light[0, 0], light[0, 1] = 1.0, 2.0**-10
    light[0, 2] = 3 * 0.18 - 1.0 - 2.0**-10
    out = through_light_path(
        pictured(light), [look_of(Veil(veil_share=0.02))], camera=CAMERA
    ).radiance
    stops = np.log2(out[0, 0, 1] / out[0, 1, 1])
    assert float(stops) == pytest.approx(7.754, abs=5e-4)  # three decimals, worked by hand


def test_a_veil_stands_behind_the_glow_whatever_order_looks_are_given_in(
    pictured: Pictured,
) -> None:
    picture = pictured(room())
    glow, veil = look_of(GLOW), look_of(Veil(veil_share=0.1))
    one, other = (
        through_light_path(picture, looks, camera=CAMERA, surround=Surround.DARK).radiance
        for looks in ([glow, veil], [veil, glow])
    )
    np.testing.assert_array_equal(one, other)


@pytest.mark.parametrize("surround", Surround)
def test_a_veil_beside_a_wide_glow_only_adds_its_share_of_the_mean(
    pictured: Pictured, surround: Surround
) -> None:
    picture = pictured(room())
    wide = Glow(optical_depth=0.05, lobes=(GaussianLobe(sigma_deg=9.0),))
    alone, veiled = (
        through_light_path(picture, [look_of(*parts)], camera=CAMERA, surround=surround).radiance
        for parts in ((wide,), (wide, Veil(veil_share=0.01)))
    )
    want = 0.99 * alone + 0.01 * picture.radiance.mean(axis=(0, 1))
    np.testing.assert_allclose(veiled, want, rtol=1e-5, atol=1e-6)


def test_light_meets_elements_of_one_place_in_the_order_given(pictured: Pictured) -> None:
    # A threshold sees what the glow before it has left.
    picture = pictured(room())
    thresholded = look_of(replace(GLOW, threshold_stops=2.0, knee_stops=0.5))
    one, other = (
        through_light_path(picture, looks, camera=CAMERA).radiance
        for looks in ([look_of(GLOW), thresholded], [thresholded, look_of(GLOW)])
    )
    assert float(np.abs(one - other).max()) > 1e-2


def test_light_lost_is_made_up_unless_told_otherwise(pictured: Pictured) -> None:
    picture, look = pictured(room()), look_of(replace(GLOW, clear_share=0.8))
    how = {"camera": CAMERA, "surround": Surround.MIRROR}
    made_up = through_light_path(picture, [look], **how).radiance
    lost = through_light_path(picture, [look], compensate=False, **how).radiance
    np.testing.assert_allclose(lost, 0.8 * made_up, rtol=1e-6)
    assert made_up.mean() == pytest.approx(picture.radiance.mean(), rel=1e-6)


def test_what_was_assumed_of_the_lens_is_said(pictured: Pictured) -> None:
    picture = pictured(room())
    assumed = through_light_path(picture, [look_of(GLOW)])
    assert any("40 degrees" in notice for notice in assumed.notices)
    known = replace(picture, shot=ShotData(focal_length_mm=50.0, sensor_width_mm=36.0))
    assert through_light_path(known, [look_of(GLOW)], camera=CAMERA).notices == ()


@pytest.mark.parametrize(
    "lobe",
    [
        GaussianLobe(sigma_deg=0.9),
        ExponentialLobe(scale_deg=0.5),
        MoffatLobe(core_deg=0.4, beta=2.0),
    ],
    ids=lambda lobe: type(lobe).__name__,
)
def test_a_look_is_the_same_in_degrees_at_1280_and_at_2560_pixels(
    pictured: Pictured, lobe: GaussianLobe
) -> None:
    look = look_of(Glow(optical_depth=0.4, lobes=(lobe,)))
    halos = []
    for width in (1280, 2560):
        height, side = width // 8, width // 160  # the lamp is as large in degrees in both
        light = np.zeros((height, width, 3), dtype=np.float32)
        middle = slice(height // 2 - side, height // 2 + side)
        light[middle, width // 2 - side : width // 2 + side] = 100.0
        out = through_light_path(pictured(light), [look], camera=CAMERA).radiance[..., 1]
        cell = width // 1280
        halos.append(out.reshape(height // cell, cell, width // cell, cell).mean(axis=(1, 3)))
    np.testing.assert_allclose(halos[1], halos[0], rtol=5e-3, atol=1e-3)


def width_of_a_halo(pictured: Pictured, focal_mm: float) -> float:
    """Standard deviation along a row beside a lamp [px]."""
    light = np.zeros((240, 361, 3), dtype=np.float32)
    light[120, 180] = 1e4
    look = look_of(Glow(optical_depth=0.3, lobes=(GaussianLobe(sigma_deg=1.0),)))
    camera = Camera(focal_length_mm=focal_mm, sensor_width_mm=36.0)
    seen = through_light_path(pictured(light), [look], camera=camera).radiance
    row, x = seen[119, :, 0].astype(np.float64), np.arange(361) - 180.0
    return math.sqrt((row * x**2).sum() / row.sum())


def test_a_longer_lens_sees_a_wider_halo(pictured: Pictured) -> None:
    short, long = (width_of_a_halo(pictured, focal_mm) for focal_mm in (35.0, 70.0))
    # The second deviation widens both alike, the pixel hardly at all.
    assert long / short == pytest.approx(2.0, rel=5e-3)


def test_a_chart_widens_a_halo_by_half_a_square_pixel_at_most(pictured: Pictured) -> None:
    # At 25 mm, 71 degrees, light is taken onto a chart, nowhere below nothing: that blurs it.
    on_the_chart, in_the_frame = (width_of_a_halo(pictured, focal_mm) for focal_mm in (25.0, 50.0))
    assert 0 <= on_the_chart**2 - (in_the_frame / 2) ** 2 < 0.5


class TestThreshold:
    def test_nothing_above_leaves_the_same_light(self, pictured: Pictured) -> None:
        picture = pictured(np.full((20, 30, 3), 0.9, dtype=np.float32))
        look = look_of(replace(GLOW, threshold_stops=1.0))
        seen = through_light_path(picture, [look], camera=CAMERA)
        np.testing.assert_array_equal(seen.radiance, picture.radiance)

    def test_light_that_is_not_above_only_gains(self, pictured: Pictured) -> None:
        light = room()
        look = look_of(replace(GLOW, threshold_stops=1.0, knee_stops=1.0))
        how = {"camera": CAMERA, "surround": Surround.MIRROR}
        out = through_light_path(pictured(light), [look], **how).radiance
        below = light.max(axis=2) < 1
        assert (out[below] >= light[below] * (1 - 1e-6)).all()
        np.testing.assert_allclose(
            out.sum(axis=(0, 1), dtype=np.float64),
            light.sum(axis=(0, 1), dtype=np.float64),
            rtol=1e-6,
        )

    def test_colour_of_what_is_above_is_that_of_the_pixel(self) -> None:
        light = room()
        above = np.asarray(light_above(light, threshold_stops=1.0, knee_stops=1.0))
        at = np.unravel_index(light[..., 0].argmax(), light.shape[:2])
        share = above[at] / light[at]
        np.testing.assert_allclose(share, share[0], rtol=1e-6)
        assert above[at][0] == pytest.approx(400 - 2**0.5 * 1.5, rel=1e-6)  # middle of 1/2..3/2

    @pytest.mark.parametrize("knee", [0.0, 0.5, 2.0])
    def test_the_knee_is_smooth_and_never_more_than_the_light(self, knee: float) -> None:
        levels = np.linspace(0, 12, 24001, dtype=np.float32)
        light = np.repeat(levels[np.newaxis, :, np.newaxis], 3, axis=2)
        above = np.asarray(light_above(light, threshold_stops=1.0, knee_stops=knee))[0, :, 0]
        slopes = np.diff(above.astype(np.float64)) / np.diff(levels.astype(np.float64))
        low, high = 2 ** (1 - knee / 2), 2 ** (1 + knee / 2)
        assert (above[levels <= low * (1 - 1e-6)] == 0).all()
        assert (above <= levels).all()
        assert (slopes > -2e-3).all()
        if knee:  # a slope that bends and does not jump, up to float32's rounding of the steps
            steepest = 1 / (high - low) * 12 / 24000
            assert np.abs(np.diff(slopes)).max() <= steepest + 8e-3
        beyond = levels[levels > high * (1 + 1e-6)]
        np.testing.assert_allclose(above[-len(beyond) :], beyond - (low + high) / 2, rtol=1e-5)


@pytest.mark.parametrize(
    ("lowest", "shown", "cleared"),
    [
        (-5e-7, 0.0, True),  # 5e-9 of the lamp: rounding
        (-2e-6, 0.0, False),  # 2e-8 of it is none
        (-5e-7, -0.1, False),  # the still itself holds colours below 0
    ],
)
def test_rounding_below_nothing_is_cleared_and_nothing_else(
    pictured: Pictured, lowest: float, shown: float, *, cleared: bool
) -> None:
    still = np.full((2, 3, 3), 0.2, np.float32)
    still[0, 0], still[1, 1] = 100, shown
    seen = np.full((2, 3, 3), 0.3, np.float32)
    seen[1, 2] = lowest
    found = _cleared(seen, pictured(still), Bare(still, None))
    np.testing.assert_array_equal(found, np.maximum(seen, 0) if cleared else seen)


def _ends(light: Light) -> tuple[float, float]:
    ends = _Ends()
    assert Bare(light, None).laid_over(light, ends.look) is light
    return ends.of_all


def _cleared(seen: Light, picture: Picture, still: Bare) -> Light:
    return _without_rounding(seen.copy(), _ends(seen)[0], picture, still)


@pytest.mark.parametrize("spoilt", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("row", [0, 399])
def test_what_is_no_number_shows_at_the_ends_of_light(spoilt: float, row: int) -> None:
    light = np.full((400, 3000, 3), 0.3, np.float32)
    light[7, 8, 1], light[398, 2, 2] = 0.1, 5
    assert _ends(light) == pytest.approx((0.1, 5))
    light[row, 7, 1] = spoilt
    assert not np.isfinite(_ends(light)).all()


def test_recovered_lamps_count_for_how_large_rounding_is(pictured: Pictured) -> None:
    still = np.full((2, 3, 3), 0.2, np.float32)
    seen = np.full((2, 3, 3), -5e-7, np.float32)
    lost = np.zeros_like(still)
    lost[0, 0] = 100
    lit = replace(pictured(still), recovered=lost)
    assert _cleared(seen, lit, Bare(still, None)).min() == 0
    beyond = replace(pictured(still), beyond=lost)
    assert _cleared(seen, beyond, Bare(still, None)).min() == 0
    assert _cleared(seen, pictured(still), Bare(still, None)).min() < 0
    # Of a still without a lamp a smaller part is more than rounding, too.
    seen[:] = -5e-9
    assert _cleared(seen, pictured(still), Bare(still, None)).min() < 0
