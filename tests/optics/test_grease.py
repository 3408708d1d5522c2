"""Grease: films against simulated phase screens, and against the slopes of thick ones."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.optics.grease import (
    GreaseFilm,
    Strokes,
    stroke_direction_rad,
    variance_weights,
)
from frontglass.optics.scatter import CompoundScatter

WAVELENGTH = 550e-9
TEXTURE = 30e-6


def film(height_um: float, **changes: float) -> GreaseFilm:
    return GreaseFilm(rms_height_m=height_um * 1e-6, textures_m=(TEXTURE,), **changes)


def simulated_transfer(
    height_m: float, *, steps: tuple[int, ...], ratio: float = 1.0
) -> tuple[np.ndarray, np.ndarray, float]:
    """OTF at shifts along x and y of screens of random height, and the direct share.

    A screen is white noise through a filter, 10 samples to a texture, which is `ratio` times
    longer along x.
    """
    samples, length = 2048, 10.0
    fx, fy = np.fft.rfftfreq(samples), np.fft.fftfreq(samples)[:, np.newaxis]
    shape = np.exp(-((np.pi * length * np.hypot(fx * ratio, fy)) ** 2))
    noise = np.random.default_rng(7).standard_normal((samples, samples))
    height = np.fft.irfft2(np.fft.rfft2(noise) * shape, s=noise.shape)
    height *= height_m / height.std()
    field = np.exp(2j * np.pi * 0.47 / WAVELENGTH * height)
    along_x = [np.mean(field * np.conj(np.roll(field, step, axis=1))).real for step in steps]
    along_y = [np.mean(field * np.conj(np.roll(field, step, axis=0))).real for step in steps]
    return np.array(along_x), np.array(along_y), abs(np.mean(field)) ** 2


STEPS = (0, 2, 5, 8, 12, 20, 30, 60)


@pytest.mark.parametrize(
    ("height_um", "depth", "direct", "rms_mrad"),
    [(0.1, 0.288, 0.7495, 1.567), (0.2, 1.153, 0.3156, 3.133), (0.5, 7.2, 0.0007, 7.833)],
)
@pytest.mark.source("Goodman2005", "sec. 8.6: random phase screens of normal statistics")
def test_film_against_a_simulated_screen(
    height_um: float, depth: float, direct: float, rms_mrad: float
) -> None:
    grease = film(height_um)
    assert grease.optical_depth(WAVELENGTH) == pytest.approx(depth, rel=2e-3)
    assert grease.direct(WAVELENGTH) == pytest.approx(direct, abs=1e-4)
    assert grease.rms_angle_rad * 1e3 == pytest.approx(rms_mrad, abs=1e-3)
    along_x, along_y, plateau = simulated_transfer(height_um * 1e-6, steps=STEPS)
    frequency = np.array(STEPS) / 10 * TEXTURE / WAVELENGTH
    theory = grease.otf(frequency, 0.0, WAVELENGTH)
    # One screen of 200 x 200 textures.
    np.testing.assert_allclose(along_x, theory, atol=0.01)
    np.testing.assert_allclose(along_y, theory, atol=0.01)
    assert plateau == pytest.approx(direct, abs=5e-3)


@pytest.mark.source("Goodman2005", "sec. 8.6")
def test_a_stroke_streaks_across_itself() -> None:
    grease = film(0.1, streak_ratio=4.0)  # a stroke along x
    along_x, along_y, _ = simulated_transfer(0.1e-6, steps=STEPS, ratio=4.0)
    frequency = np.array(STEPS) / 10 * TEXTURE / WAVELENGTH
    np.testing.assert_allclose(grease.otf(frequency, 0.0, WAVELENGTH), along_x, atol=0.015)
    np.testing.assert_allclose(grease.otf(0.0, frequency, WAVELENGTH), along_y, atol=0.015)
    # Contrast is lost first across the stroke, so light goes there.
    assert grease.otf(0.0, frequency[2], WAVELENGTH) < grease.otf(frequency[2], 0.0, WAVELENGTH)
    turned = film(0.1, streak_ratio=4.0, stroke_rad=math.pi / 2)
    np.testing.assert_allclose(
        turned.otf(frequency, 0.0, WAVELENGTH), grease.otf(0.0, frequency, WAVELENGTH), atol=1e-12
    )


@pytest.mark.parametrize(
    ("slope_mrad", "px"), [(0.1, 0.39), (0.3, 1.18), (1, 3.9), (3, 11.8), (10, 39), (30, 118)]
)
def test_slopes_in_pixels(slope_mrad: float, px: float) -> None:
    # A thin wedge deviates by (index - 1) slope; 50 mm lens, 6 um pixels.
    grease = film(slope_mrad * 1e-3 * TEXTURE * 1e6)
    assert grease.rms_angle_rad * 50e-3 / 6e-6 == pytest.approx(px, rel=1.4e-2)  # two digits


def test_a_round_film_is_a_compound_scatterer() -> None:
    grease = GreaseFilm(rms_height_m=0.15e-6, textures_m=(30e-6, 90e-6), shares=(0.7, 0.3))
    scatter = CompoundScatter(
        optical_depth=grease.optical_depth(WAVELENGTH), profile=grease.profile(WAVELENGTH)
    )
    f = np.linspace(0, 400, 41)
    np.testing.assert_allclose(
        grease.otf(0.6 * f, 0.8 * f, WAVELENGTH), scatter.transform(f), atol=1e-14
    )
    assert grease.direct(WAVELENGTH) == pytest.approx(scatter.direct)
    with pytest.raises(ParameterError, match="streak_ratio"):
        film(0.1, streak_ratio=2.0).profile(WAVELENGTH)


@pytest.mark.source("BornWolf1999", "sec. 3.2: rays follow the gradient of the phase")
def test_a_thick_film_blurs_as_slopes_do() -> None:
    grease = film(5.0)  # tau 720
    f = np.array([2.0, 4.0, 7.0])
    gauss = np.exp(-2 * (np.pi * grease.rms_angle_rad * f) ** 2)
    # Next term: tau (wavelength f / texture)**4 / 8, 0.03 at most here.
    np.testing.assert_allclose(grease.otf(f, 0.0, WAVELENGTH), gauss, rtol=0.035)
    for wavelength in (465e-9, 600e-9):
        np.testing.assert_allclose(grease.otf(f, 0.0, wavelength), gauss, rtol=0.035)


@given(a=st.floats(0.0, 3.0), b=st.floats(0.0, 3.0))
def test_strengths_of_a_film_add(a: float, b: float) -> None:
    grease = film(0.1, streak_ratio=3.0, stroke_rad=0.4)
    both = grease.at_strength(a).otf(300.0, 200.0, WAVELENGTH)
    both = both * grease.at_strength(b).otf(300.0, 200.0, WAVELENGTH)
    assert both == pytest.approx(float(grease.at_strength(a + b).otf(300.0, 200.0, WAVELENGTH)))
    assert grease.at_strength(0).direct(WAVELENGTH) == 1


def test_clear_gaps_pass_light_as_it_is() -> None:
    grease = film(2.0, clear_share=0.3)
    assert grease.direct(WAVELENGTH) == pytest.approx(0.3, abs=1e-12)
    assert grease.otf(1e5, 0.0, WAVELENGTH) == pytest.approx(0.3, abs=1e-12)
    assert grease.otf(0.0, 0.0, WAVELENGTH) == pytest.approx(1.0, abs=1e-15)


def test_a_thin_film_takes_blue_first() -> None:
    red, blue = film(0.1).optical_depth(600e-9), film(0.1).optical_depth(465e-9)
    assert blue / red == pytest.approx((600 / 465) ** 2)


def test_strokes_go_the_way_they_are_called() -> None:
    x, y = np.array([0.01, 0.0, -0.01]), np.array([0.0, 0.01, 0.01])
    straight = stroke_direction_rad(Strokes.STRAIGHT, x, y, angle_rad=0.3)
    np.testing.assert_allclose(straight, 0.3)
    radial = stroke_direction_rad(Strokes.RADIAL, x, y)
    np.testing.assert_allclose(np.tan(radial[[0, 2]]), [0.0, -1.0], atol=1e-12)
    circular = stroke_direction_rad(Strokes.CIRCULAR, x, y)
    np.testing.assert_allclose(np.cos(circular - radial), 0.0, atol=1e-12)


def test_random_strokes_go_every_way_alike_and_turn_slowly() -> None:
    x, y = np.meshgrid(np.linspace(-0.5, 0.5, 200), np.linspace(-0.5, 0.5, 200))
    turns = stroke_direction_rad(Strokes.RANDOM, x, y, seed=4)
    again = stroke_direction_rad(Strokes.RANDOM, x, y, seed=4)
    np.testing.assert_array_equal(turns, again)
    assert (turns != stroke_direction_rad(Strokes.RANDOM, x, y, seed=5)).any()
    # Some 2500 patches of a centimetre: no direction wins by 0.1.
    assert abs(np.mean(np.exp(2j * turns))) < 0.1
    near = stroke_direction_rad(Strokes.RANDOM, x + 1e-4, y, seed=4)
    assert np.mean(np.cos(2 * (near - turns))) > 0.99


def test_variance_weights_keep_the_variance() -> None:
    nodes = np.array([0.0, 1.0, 4.0, 9.0])
    wanted = np.random.default_rng(1).uniform(0, 9, (6, 5))
    weights = variance_weights(wanted, nodes)
    assert weights.shape == (4, 6, 5)
    assert weights.min() >= 0
    np.testing.assert_allclose(weights.sum(axis=0), 1.0, atol=1e-15)
    np.testing.assert_allclose(np.tensordot(nodes, weights, axes=1), wanted, atol=1e-14)
    np.testing.assert_array_equal(variance_weights(nodes, nodes), np.eye(4))
    assert ((weights > 0).sum(axis=0) <= 2).all()


def test_scatter_form_of_mixed_blurs_keeps_all_light() -> None:
    # Light weighted before it is spread: one lamp where the blur changes.
    nodes = np.array([0.0, 4.0, 16.0, 64.0])
    light = np.zeros(256)
    light[97] = 1000.0
    variance = np.clip((np.arange(256) - 80) / 40, 0, 1) * 64
    f = np.fft.rfftfreq(256)
    out = np.zeros(256)
    for weight, node in zip(variance_weights(variance, nodes), nodes, strict=True):
        blur = np.exp(-2 * np.pi**2 * node * f**2)
        out += np.fft.irfft(np.fft.rfft(weight * light) * blur)
    assert out.sum() == pytest.approx(1000.0, rel=1e-12)
    offsets = np.arange(256) - 97
    assert np.sum(out * offsets**2) / 1000 == pytest.approx(variance[97], rel=1e-9)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: film(-0.1), "rms_height_m"),
        (lambda: GreaseFilm(rms_height_m=1e-7, textures_m=()), "shares"),
        (lambda: GreaseFilm(rms_height_m=1e-7, textures_m=(1e-5,), shares=(0.5,)), "shares"),
        (lambda: GreaseFilm(rms_height_m=1e-7, textures_m=(0.0,)), "textures_m"),
        (lambda: film(0.1, streak_ratio=0.5), "streak_ratio"),
        (lambda: film(0.1, clear_share=1.5), "clear_share"),
        (lambda: film(0.1, index=1.0), "index"),
        (lambda: variance_weights([1.0], [0.0, 0.5]), "variance"),
        (lambda: variance_weights([1.0], [1.0, 1.0]), "nodes"),
    ],
)
def test_what_no_grease_can_be_is_refused(call: object, name: str) -> None:
    assert callable(call)
    with pytest.raises(ParameterError) as caught:
        call()
    assert caught.value.name == name
