"""Every accepted look makes finite light that is there: at any strength, at the ends of ranges."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import frontglass as fg

DISTANCE_M = np.full((12, 17), 9.0, np.float32)
LOBES = (
    lambda x: fg.ExponentialLobe(scale_deg=60 * x),
    lambda x: fg.GaussianLobe(sigma_deg=60 * x),
    lambda x: fg.ConeLobe(radius_deg=60 * x),
    lambda x: fg.MoffatLobe(core_deg=60 * x, beta=1.01 + x),
    lambda x: fg.FlecksLobe(diameter_um=2 / x if x > 4e-4 else 5000),
)


@pytest.fixture(scope="module")
def scene() -> fg.Picture:
    """A room with a lamp in it."""
    light = np.random.default_rng(18).uniform(0, 2, (12, 17, 3)).astype(np.float32)
    light[4, 9] = 300
    return replace(fg.Picture.from_array(light), distance_m=DISTANCE_M)


def _lit(scene: fg.Picture, element: fg.Element, strength: float = 1.0) -> np.ndarray:
    look = fg.Look(elements=(element,)).at(strength)
    seen = np.asarray(fg.render(scene, look).radiance)
    assert np.isfinite(seen).all()
    assert seen.min() >= 0
    return seen


@pytest.mark.parametrize("lobe", LOBES)
@pytest.mark.parametrize("depth", [12.0, 64.0])
def test_a_glow_that_deviates_all_light_many_times_keeps_it(scene, lobe, depth):
    # Depths beyond 710 overflow exp(); the even field keeps its light whatever the depth.
    even = scene.with_radiance(np.full_like(scene.radiance, 0.5))
    glow = fg.Glow(optical_depth=depth, lobes=(lobe(0.01),))
    np.testing.assert_allclose(_lit(even, glow, 64), 0.5, rtol=1e-4)
    assert _lit(scene, glow, 64).mean() > 0.8 * scene.radiance.mean() * 0.5


@pytest.mark.filterwarnings("ignore::frontglass.AccuracyWarning")
@pytest.mark.parametrize("seed", [*range(18), 21])
def test_looks_drawn_by_chance_from_all_that_is_accepted_make_finite_light(scene, seed):
    rng = np.random.default_rng(seed)
    share, turn = rng.uniform(1e-6, 1), rng.uniform(-3600, 3600)
    wide = 10.0 ** rng.uniform(-4, 0)
    colour = tuple((10.0 ** rng.uniform(-3, 3, 3)).tolist())
    pitch = 10.0 ** rng.uniform(-1, 0)
    element = (
        lambda: fg.Glow(
            optical_depth=10.0 ** rng.uniform(-3, math.log10(64)),
            lobes=(LOBES[seed % len(LOBES)](wide), fg.GaussianLobe(sigma_deg=2, share=1e6)),
            clear_share=share,
            depth_exponent=rng.uniform(-4, 4) / 4,
            threshold_stops=None if seed % 2 else 0.0,
        ),
        lambda: fg.Veil(veil_share=share),
        lambda: fg.StrayLamp(
            right_deg=rng.uniform(-60, 60),
            illuminance=10.0 ** rng.uniform(-3, 6),
            colour=colour,
            asymmetry=share,
            ghosts=1000 * share,
        ),
        lambda: fg.Net(pitch_mm=pitch, thread_mm=pitch / 20, angle_deg=turn, weave="knitted"),
        lambda: fg.Grease(film_um=12 * share, texture_um=2 + 1e4 * wide, stroke_deg=turn),
        lambda: fg.Haze(extinction_per_m=share, airlight=colour),
    )[seed % 6]()
    _lit(
        scene.with_radiance(scene.radiance),
        element,
        1.0 if seed % 6 == 3 else float(64 * rng.uniform() ** 4),
    )


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: fg.StrayLamp(right_deg=40, illuminance=1e100), "illuminance"),
        (lambda: fg.StrayLamp(right_deg=40, illuminance=1, colour=(1e9, 1, 1)), "colour"),
        (lambda: fg.StrayLamp(right_deg=40, illuminance=1, ghosts=1e9), "ghosts"),
        (lambda: fg.Glow(optical_depth=1e9, lobes=(LOBES[0](0.1),)), "optical_depth"),
        (
            lambda: fg.Glow(optical_depth=64, lobes=(LOBES[0](0.1),), channel_depth=(100, 1, 1)),
            "channel_depth",
        ),
        (lambda: fg.GaussianLobe(sigma_deg=1, share=1e308), "share"),
        (lambda: fg.Net(pitch_mm=363, thread_mm=0.1), "pitch_mm"),
        (lambda: fg.Net(pitch_mm=1e-9, thread_mm=1e-10), "pitch_mm"),
        (lambda: fg.Net(pitch_mm=0.5, thread_mm=0.05, angle_deg=1e308), "angle_deg"),
        (lambda: fg.Lines(pitch_mm=1e-9, line_mm=1e-10), "pitch_mm"),
        (lambda: fg.Grease(film_um=1e200, texture_um=45), "film_um"),
        (lambda: fg.ClearCentre(radius_mm=1e300), "radius_mm"),
        (lambda: fg.BareLamp(right_m=0, up_m=0, forward_m=1e200, level=1), "forward_m"),
        (lambda: fg.BareLamp(right_m=0, up_m=0, forward_m=2, level=1e200), "level"),
    ],
)
def test_what_no_glass_or_lamp_can_be_is_refused_by_name(make, name):
    with pytest.raises(fg.ParameterError, match=f"^{name} must be "):
        make()


def test_a_net_too_strong_is_refused_in_words_about_strength():
    look = fg.Look(elements=(fg.Net(pitch_mm=0.5, thread_mm=0.05),)).at(64)
    with pytest.raises(fg.ParameterError, match=r"^strength must be "):
        _ = look.light_path
