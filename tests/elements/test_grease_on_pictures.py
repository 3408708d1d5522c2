"""What grease does to a lamp: core, streaks and patches."""

from __future__ import annotations

import dataclasses
import itertools
import math
from functools import cache

import numpy as np
import pytest
from scipy import signal

from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.elements import Grease
from frontglass.elements.filter_plane import map_over_frame
from frontglass.elements.grease import film_filter
from frontglass.optics.camera import Camera
from tests.reference.front_optics import GREEN, WAVELENGTHS_M, camera, lamp, seen

SHAPE, ROW, COLUMN = (121, 161), 60, 80
SCALE = 8000.0
CAMERA = camera(SHAPE[1], SCALE)
INDEX_LESS_1 = 0.47


def pattern(**values) -> np.ndarray:
    """Light of a lamp of flux 1 behind grease."""
    grease = Grease(**{"film_um": 0.1, "texture_um": 60.0, **values})
    return seen(lamp(SHAPE, ROW, COLUMN), grease, camera=CAMERA).astype(float)


def spreads(light: np.ndarray) -> tuple[float, float, float]:
    """Variances along x and y [px^2] and the direction of the longest, anticlockwise [degree]."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([ROW, COLUMN])[:, None, None]
    # Beyond 48 px only rounding would count.
    light = np.where(np.hypot(x, y) < 48, light, 0) / light.sum()
    xx, yy, xy = (light * x * x).sum(), (light * y * y).sum(), (light * x * y).sum()
    return xx, yy, math.degrees(math.atan2(-2 * xy, xx - yy) / 2)


@pytest.mark.parametrize("film_um", [0.05, 0.1, 0.2])
@pytest.mark.source(
    "Goodman2005", "sec. 8.6: a Gaussian screen leaves exp(-(2 pi (n-1) s/lambda)^2)"
)
def test_a_thin_film_keeps_a_core(film_um):
    got = pattern(film_um=film_um, texture_um=8.0)  # a halo of 81 px: none of it on the lamp
    for channel, wavelength in enumerate(WAVELENGTHS_M):
        tau = (2 * math.pi * INDEX_LESS_1 * film_um * 1e-6 / wavelength) ** 2
        assert got[ROW, COLUMN, channel] == pytest.approx(math.exp(-tau), abs=1e-3)
    np.testing.assert_allclose(got.sum((0, 1)), 1, rtol=1e-5)


def test_a_thick_film_blurs_by_its_slopes_in_every_colour():
    # tau is 30: no core is left, and the angle is (n - 1) x rms slope for every wavelength.
    got = pattern(film_um=1.0, texture_um=400.0)
    want = (INDEX_LESS_1 * 1.0 / 400.0 * SCALE) ** 2
    for channel in range(3):
        xx, yy, _ = spreads(got[..., channel])
        # The pixels' own: two averages over a pixel.
        assert xx == pytest.approx(want + 1 / 6, rel=0.01)
        assert yy == pytest.approx(want + 1 / 6, rel=0.01)
    assert got[ROW, COLUMN].max() < 1.05 / (2 * math.pi * want)


def test_a_very_thick_smooth_film_blurs_by_its_slopes_too():
    # tau is 750, each deviation a fifth of a pixel: the pixels' own blur must not count 750 times.
    got = pattern(film_um=5.0, texture_um=3000.0)
    want = (INDEX_LESS_1 * 5.0 / 3000.0 * SCALE) ** 2
    xx, yy, _ = spreads(got[..., GREEN])
    assert xx == pytest.approx(want + 1 / 6, rel=0.02)
    assert yy == pytest.approx(want + 1 / 6, rel=0.02)


def test_gaps_let_light_by():
    got = pattern(film_um=3.0, texture_um=60.0, gaps=0.3)
    assert got[ROW, COLUMN, GREEN] == pytest.approx(0.3, abs=1e-3)


@pytest.mark.parametrize("stroke_deg", [0.0, 90.0, 30.0, -50.0])
def test_lamps_streak_across_the_stroke(stroke_deg):
    got = pattern(film_um=0.3, texture_um=100.0, streak_ratio=5.0, stroke_deg=stroke_deg)
    xx, yy, longest = spreads(got[..., GREEN])
    across = (stroke_deg + 90) % 180
    assert min(abs(longest % 180 - across), 180 - abs(longest % 180 - across)) < 0.5
    # Film of one texture, 5 times as long along the stroke: a 25th of the variance.
    rms = INDEX_LESS_1 * 0.3 / 100.0 * SCALE
    assert xx + yy == pytest.approx(rms**2 * (1 + 1 / 25), rel=0.03, abs=2 / 6)


GREASE = {"film_um": 1.0, "texture_um": 300.0, "streak_ratio": 6.0}


@pytest.mark.parametrize("stroke_deg", [0.0, 90.0, 180.0, 17.0])
def test_a_stroke_turned_a_little_changes_little(stroke_deg):
    # On 640 px a deviation along the stroke is a twentieth of a pixel, and pixels must not add to
    # it where the stroke runs along them.
    lens = camera(SHAPE[1], 640 / 0.72)
    grease = [Grease(stroke_deg=stroke_deg + turn, **GREASE) for turn in (0.0, 1e-3)]
    level, turned = (seen(lamp(SHAPE, ROW, COLUMN), one, camera=lens) for one in grease)
    np.testing.assert_allclose(turned, level, rtol=1e-3, atol=1e-6)


@cache
def lamp_behind(grease: Grease, frame_px: int) -> np.ndarray:
    return seen(lamp(SHAPE, ROW, COLUMN), grease, camera=camera(SHAPE[1], frame_px / 0.72))


@pytest.mark.parametrize("frame_px", [160, 640, 6000])
@pytest.mark.parametrize("stroke_deg", [10.0, 45.0])
@pytest.mark.parametrize("changed", ["film_um", "texture_um", "streak_ratio", "stroke_deg"])
@pytest.mark.parametrize("film_um", [0.05, 1.0])
def test_a_thousandth_more_of_anything_changes_no_pixel_by_a_hundredth(
    frame_px, stroke_deg, changed, film_um
):
    values = {**GREASE, "stroke_deg": stroke_deg, "film_um": film_um}
    # A streak is six times as long as it is wide: a turn of 0.01 degrees shifts its end as much.
    by = 0.01 if changed == "stroke_deg" else values[changed] / 1000
    more = {**values, changed: values[changed] + by}
    once, again = (lamp_behind(Grease(**one), frame_px) for one in (values, more))
    np.testing.assert_allclose(again, once, rtol=1e-2, atol=1e-6)


@pytest.mark.parametrize("stroke_deg", [0.0, 20.0, 45.0])
def test_a_thick_film_blurs_by_its_slopes_across_and_along_the_stroke(stroke_deg):
    got = pattern(film_um=5.0, texture_um=3000.0, streak_ratio=5.0, stroke_deg=stroke_deg)
    xx, yy, longest = spreads(got[..., GREEN])
    across = (INDEX_LESS_1 * 5.0 / 3000.0 * SCALE) ** 2
    assert longest % 180 == pytest.approx(stroke_deg + 90, abs=0.01)
    # Along its own axes the pixels' blur is 1/6 each, whichever way they lie.
    ratio = math.cos(math.radians(2 * stroke_deg))
    apart = (yy - xx) / ratio if abs(ratio) > 0.1 else None
    assert xx + yy == pytest.approx(across * (1 + 1 / 25) + 2 / 6, rel=2e-3)
    if apart is not None:
        assert apart == pytest.approx(across * (1 - 1 / 25), rel=2e-3)


UNEVEN = Grease(
    film_um=0.4, texture_um=30.0, streak_ratio=3.0, strokes="random", unevenness=0.8, patch_mm=5.0
)
LENSES = {
    "long and fast": Camera(focal_length_mm=135, f_number=2.0, sensor_width_mm=36),
    "wide and stopped down": Camera(focal_length_mm=24, f_number=11.0, sensor_width_mm=36),
}
ROWS = slice(0, 90)
STRAIGHT_UNEVEN = Grease(film_um=0.4, texture_um=30.0, unevenness=0.8, patch_mm=5.0)


@pytest.mark.parametrize("lens", LENSES.values(), ids=LENSES.keys())
def test_shares_of_the_films_sum_to_the_light(lens):
    total = sum(share.within(ROWS) for share, _ in UNEVEN._patches().over_frame((90, 135), lens))
    np.testing.assert_allclose(total, 1, atol=2e-6)


def test_a_wide_lens_sees_the_patches_and_a_long_fast_one_their_mean():
    def depth(lens: Camera) -> np.ndarray:
        parts = STRAIGHT_UNEVEN._patches().over_frame((90, 135), lens)
        return np.sum([share.within(ROWS) * patch.variance_ratio for share, patch in parts], axis=0)

    wide, long = depth(LENSES["wide and stopped down"]), depth(LENSES["long and fast"])
    assert np.ptp(wide) > 1.0
    assert np.ptp(long) < 0.15 * np.ptp(wide)
    # Over a piece of filter many patches wide the film is what it was said to be.
    assert wide.mean() == pytest.approx(1, abs=0.15)


def test_even_light_stays_even_over_patches_and_the_light_of_a_lamp_is_nearly_kept():
    light = np.random.default_rng(1).uniform(0, 1, (90, 135, 3)).astype(np.float32)
    light[40, 60] = 1000
    for lens in LENSES.values():
        wall = np.full((90, 135, 3), 0.18, np.float32)
        np.testing.assert_allclose(seen(wall, UNEVEN, camera=lens), wall, rtol=3e-6)
        got = seen(light, UNEVEN, camera=lens)
        # A lamp's halo meets patches a little deeper or shallower than its own.
        np.testing.assert_allclose(
            got.mean((0, 1), dtype=float), light.mean((0, 1), dtype=float), rtol=1e-3
        )
        assert got.min() > -1e-4


def test_a_seed_is_a_smear():
    lens = LENSES["wide and stopped down"]
    light = np.random.default_rng(1).uniform(0, 1, (60, 90, 3)).astype(np.float32)
    once, again = (seen(light, UNEVEN, camera=lens) for _ in range(2))
    np.testing.assert_array_equal(once, again)
    other = seen(light, dataclasses.replace(UNEVEN, seed=7), camera=lens)
    assert np.abs(other - once).max() > 0.01


@pytest.mark.parametrize(("strokes", "turn"), [("radial", 90.0), ("circular", 0.0)])
def test_radial_strokes_streak_round_the_middle_and_circular_ones_towards_it(strokes, turn):
    lens = Camera(focal_length_mm=24, f_number=16.0, sensor_width_mm=36)
    grease = Grease(film_um=0.4, texture_um=8.0, streak_ratio=10.0, strokes=strokes)
    # To the right of the middle a radial stroke is level: the lamp streaks up and down.
    got = seen(lamp(SHAPE, ROW, 130), grease, camera=lens)[..., GREEN].astype(float)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([ROW, 130])[:, None, None]
    xx, yy = (got * x * x).sum(), (got * y * y).sum()
    assert (yy / xx if turn == 90.0 else xx / yy) > 2


def test_the_map_is_the_mean_over_the_pupil():
    lens = LENSES["wide and stopped down"]
    maps = map_over_frame(lambda x, _: np.stack([np.full(x.shape, 0.25), x]), (90, 135), lens)
    flat, ramp = (one.within(ROWS) for one in maps)
    np.testing.assert_allclose(flat, 0.25, rtol=1e-6)
    middles = (np.arange(135) - 67) / lens.px_per_rad(135)
    np.testing.assert_allclose(ramp[45, 4:-4], middles[4:-4], atol=1e-4)


def test_no_film_leaves_every_bit():
    light = np.random.default_rng(1).uniform(0, 1, (20, 30, 3)).astype(np.float32)
    for grease in (Grease(film_um=0, texture_um=60.0), Grease(film_um=1, texture_um=9, gaps=1)):
        np.testing.assert_array_equal(seen(light, grease, camera=CAMERA), light)


def test_a_film_in_the_dark_loses_what_leaves_the_frame():
    grease = Grease(film_um=0.3, texture_um=40.0)
    got = seen(lamp(SHAPE, ROW, 2), grease, camera=CAMERA, surround=Surround.DARK)
    # Of what is deviated a little less than half goes over the edge, 2.5 px away: the halo is
    # 17 px wide and more.
    tau = (2 * math.pi * INDEX_LESS_1 * 0.3 / 0.54) ** 2
    lost = 1 - got[..., GREEN].sum(dtype=float)
    assert lost == pytest.approx(0.45 * (1 - math.exp(-tau)), abs=0.04)


def test_the_films_of_a_picture_are_the_films_of_the_physics():
    film = Grease(film_um=0.2, texture_um=30.0, streak_ratio=4.0, stroke_deg=25.0).film()
    light = lamp(SHAPE, ROW, COLUMN)
    filters = [film_filter(film, channel, SCALE) for channel in range(3)]
    got = convolve(light, filters, Surround.MIRROR).astype(float)
    f = np.fft.fftfreq(SHAPE[0])[:, None], np.fft.fftfreq(SHAPE[1])[None, :]
    centred = np.roll(got[..., GREEN], (-ROW, -COLUMN), axis=(0, 1))
    transfer = np.fft.fft2(centred).real
    want = film.otf(f[1] * SCALE, f[0] * SCALE, WAVELENGTHS_M[GREEN])
    low = np.hypot(*f) < 0.08
    # Pixels blur the deviated light: (2 pi f)^2 / 12 of it and 2 % at most here.
    np.testing.assert_allclose(transfer[low], want[low], atol=0.02)


def averaged_over_two_pixels(variance: float, offsets: np.ndarray) -> np.ndarray:
    """Gaussian along one axis, averaged over the sending and the receiving pixel, by a sum."""
    q = (np.arange(4000) + 0.5) / 2000 - 1
    weights = (1 - np.abs(q)) / np.sum(1 - np.abs(q))
    bell = np.exp(-((offsets[:, np.newaxis] + q) ** 2) / (2 * variance))
    return bell @ weights / math.sqrt(2 * math.pi * variance)


@pytest.mark.source("Ishimaru1978", "multiple small-angle scattering: a Poisson number of times")
def test_a_thin_film_is_the_sum_over_the_numbers_of_deviations():
    # The grease of tallow: each deviation is less than half a pixel along the stroke.
    grease = Grease(film_um=0.07, texture_um=45.0, grain_um=9.0, grain_share=0.25, streak_ratio=6.0)
    shape, row, column, scale = (41, 61), 20, 30, 1312.0
    light = np.full((*shape, 3), 0.1, np.float32)
    light[row, column] = 600
    got = seen(light, grease, camera=camera(shape[1], scale))[..., GREEN].astype(float)

    wavelength, offsets = WAVELENGTHS_M[GREEN], np.arange(-160, 161)
    tau = (2 * math.pi * INDEX_LESS_1 * 0.07e-6 / wavelength) ** 2
    coarse, fine = ((wavelength / (2 * math.pi * um * 1e-6) * scale) ** 2 for um in (45.0, 9.0))
    kernel = np.zeros((offsets.size, offsets.size))
    for a, b in itertools.product(range(7), range(7)):
        if a + b:
            times = (0.75 * tau) ** a / math.factorial(a) * (0.25 * tau) ** b / math.factorial(b)
            across, along = (
                averaged_over_two_pixels(v, offsets)
                for v in (a * coarse + b * fine, (a * coarse + b * fine) / 36)
            )
            kernel += math.exp(-tau) * times * np.outer(across, along)
    pads = [(160, 160), (160, 160)]
    mirrored = np.pad(light[..., GREEN].astype(float), pads, mode="symmetric")
    want = signal.fftconvolve(mirrored, kernel, mode="valid")
    want += math.exp(-tau) * light[..., GREEN] + 0.1 * (1 - math.exp(-tau) - kernel.sum())
    np.testing.assert_allclose(got, want, rtol=1e-3, atol=1e-4)
