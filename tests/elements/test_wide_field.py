"""Halos and dots over wide fields: against sums over directions, and the grating equation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frontglass.choices import Surround
from frontglass.elements import Element, Glow, Grease, Lines, Net, Veil
from frontglass.elements.lobes import ExponentialLobe, GaussianLobe, MoffatLobe
from frontglass.elements.wide_field import is_wide
from frontglass.optics.camera import Camera
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import render

HEIGHT, WIDTH = 320, 480
LAMPS = {"middle": (160, 240), "edge": (160, 440), "corner": (30, 450), "half way": (70, 370)}
RINGS_DEG = ((2, 3), (5, 6), (10, 12))


def seen(light: np.ndarray, camera: Camera, *elements: Element, **how) -> np.ndarray:
    picture = Picture(radiance=light.astype(np.float32), encoding=Encoding.linear())
    return render(picture, elements, camera=camera, **how).radiance


def directions(camera: Camera) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors through the pixels, and their solid angles [sr]."""
    scale = camera.px_per_rad(WIDTH)
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    rays = np.stack(
        [(x + 0.5 - WIDTH / 2) / scale, (y + 0.5 - HEIGHT / 2) / scale, np.ones(x.shape)], axis=-1
    )
    long = np.linalg.norm(rays, axis=-1)
    return rays / long[..., np.newaxis], long**-3 / scale**2


@pytest.mark.source("Lambert1760", "sum of radiance times solid angle times density, by direction")
@pytest.mark.parametrize("field_deg", [70, 84])
@pytest.mark.parametrize(
    "lobe",
    [ExponentialLobe(scale_deg=0.8), MoffatLobe(core_deg=0.3, beta=1.6)],
    ids=["exponential", "moffat"],
)
def test_halos_are_those_of_a_sum_over_directions_within_3_percent(field_deg, lobe):
    camera = Camera.from_field(field_deg)
    glow = Glow(optical_depth=0.2, lobes=(lobe,))
    rays, solid = directions(camera)
    nodes = np.geomspace(1e-3, 2, 3000)
    density = glow.psf(1).radial_density(nodes)
    for place, (row, column) in LAMPS.items():
        lamp = np.s_[row - 2 : row + 2, column - 2 : column + 2]
        light = np.zeros((HEIGHT, WIDTH, 3))
        light[lamp] = 100.0
        got = seen(light, camera, glow, surround="dark")[..., 1]
        expected = np.zeros((HEIGHT, WIDTH))
        for ray, own in zip(rays[lamp].reshape(-1, 3), solid[lamp].ravel(), strict=True):
            angle = np.arctan2(np.linalg.norm(np.cross(rays, ray), axis=-1), rays @ ray)
            expected += 100 * own * np.interp(angle, nodes, density)
        apart = np.degrees(np.arccos(np.clip(rays @ rays[row, column], -1, 1)))
        for least, most in RINGS_DEG:
            ring = (apart > least) & (apart < most)
            ratio = got[ring].sum() / expected[ring].sum()
            spread = float(np.std(got[ring] / expected[ring]))
            print(f"{place} {least} to {most} degrees: {ratio - 1:+.3f}, pixels {spread:.3f}")
            assert abs(ratio - 1) < 0.03
            assert spread < 0.02


@pytest.mark.source("BornWolf1999", "sec. 8.6.1: the grating equation, in direction cosines")
@pytest.mark.parametrize("place", [(160, 240), (160, 430), (60, 400)])
def test_rays_of_lines_stand_where_the_grating_equation_puts_them(place):
    camera = Camera.from_field(84)
    pitch_mm, wavelength_mm = 0.012, 540e-6
    lines = Lines(pitch_mm=pitch_mm, line_mm=0.004, families=1)
    light = np.zeros((HEIGHT, WIDTH, 3))
    lamp = np.s_[place[0] - 2 : place[0] + 2, place[1] - 2 : place[1] + 2]
    light[lamp] = 100.0
    spread = seen(light, camera, lines, surround="dark")[..., 1]
    assert spread.min() > -1e-3
    spread[lamp] = 0
    rays, _ = directions(camera)
    scale = camera.px_per_rad(WIDTH)
    right, down, _ = rays[lamp].mean((0, 1))
    for order in (-1, 1):
        across = right + order * wavelength_mm / pitch_mm
        forward = math.sqrt(1 - across**2 - down**2)
        column = across / forward * scale + WIDTH / 2 - 0.5
        row = down / forward * scale + HEIGHT / 2 - 0.5
        # Half way to the neighbouring orders, which are much fainter or the direct light.
        middle = place[1] - 0.5
        half = 0.5 * abs(column - middle)
        columns = np.arange(max(0, math.ceil(column - half)), min(WIDTH, int(column + half)))
        rows = np.arange(HEIGHT)
        own = spread[:, columns].astype(float)
        got = (own.sum(0) @ columns / own.sum(), own.sum(1) @ rows / own.sum())
        print(order, "at", np.round(got, 2), "not", np.round((column, row), 2))
        # The band of green smears an order, more outwards: its middle moves by a tenth of a pixel.
        assert got[0] == pytest.approx(column, abs=0.03 * abs(column - middle) + 0.15)
        assert got[1] == pytest.approx(row, abs=0.5)


SPREADING = {
    "exponential glow": Glow(optical_depth=0.4, lobes=(ExponentialLobe(scale_deg=2.0),)),
    "wide glow": Glow(optical_depth=0.5, lobes=(GaussianLobe(sigma_deg=9.0),)),
    "net": Net(pitch_mm=0.5, thread_mm=0.05, angle_deg=10),
    "tulle with pale threads": Net(pitch_mm=1, thread_mm=0.06, weave="tulle", pale_share=0.5),
    "grease": Grease(film_um=0.4, texture_um=60, streak_ratio=3),
    "glow and veil": Glow(optical_depth=0.3, lobes=(MoffatLobe(core_deg=0.1, beta=1.6),)),
}
EVERY_SPREADING = pytest.mark.parametrize("element", SPREADING.values(), ids=SPREADING.keys())


@EVERY_SPREADING
def test_an_even_wall_stays_even(element):
    wall = np.full((90, 160, 3), 0.37)
    got = seen(wall, Camera.from_field(84), element, Veil(veil_share=0.02))
    np.testing.assert_allclose(got, 0.37, rtol=1e-3)


@EVERY_SPREADING
def test_strength_0_is_the_bare_still_and_strengths_add(element):
    light = np.random.default_rng(4).uniform(0, 0.3, (60, 90, 3))
    light[20, 70] = 300
    camera = Camera.from_field(84)
    assert seen(light, camera, element.at(0)).tobytes() == light.astype(np.float32).tobytes()
    if isinstance(element, Glow):  # two thin nets are not a thick one, nor films below a pixel
        whole = seen(light, camera, element)
        parts = seen(light, camera, element.at(0.25), element.at(0.75))
        np.testing.assert_allclose(parts, whole, rtol=1e-4, atol=1e-5)


def test_light_that_goes_straight_on_is_not_resampled():
    # A halo so wide that what it adds has no detail: all that is left is the direct light.
    light = np.random.default_rng(4).uniform(0, 1, (90, 160, 3))
    glow = Glow(optical_depth=0.3, lobes=(GaussianLobe(sigma_deg=12.0),))
    rest = seen(light, Camera.from_field(84), glow) - math.exp(-0.3) * light
    assert np.abs(np.diff(rest, axis=1)).max() < 3e-3
    assert np.abs(np.diff(rest, axis=0)).max() < 3e-3
    assert rest.mean() == pytest.approx((1 - math.exp(-0.3)) * light.mean(), rel=0.01)


def test_a_large_still_is_blended_once_and_has_the_same_halo():
    camera = Camera.from_field(80)
    glow = Glow(optical_depth=0.2, lobes=(ExponentialLobe(scale_deg=0.8),))
    small = np.zeros((300, 450, 3))
    small[40:43, 400:403] = 100.0
    large = np.repeat(np.repeat(small, 3, axis=0), 3, axis=1)
    got = seen(large, camera, glow, surround="dark")
    means = got.reshape(300, 3, 450, 3, 3).mean((1, 3))
    expected = seen(small, camera, glow, surround="dark")
    far = np.hypot(*np.mgrid[-41:259, -401:49])
    near = (far > 15) & (far < 80)
    off = np.abs(means[near] / expected[near] - 1)
    print(f"median {np.median(off):.3f}, 99 % {np.percentile(off, 99):.3f}, most {off.max():.3f}")
    assert np.percentile(off, 99) < 0.04
    assert off.max() < 0.06


@pytest.mark.parametrize(
    ("field_deg", "shape", "expected"),
    [(60.0, (400, 600), False), (60.5, (400, 600), True), (43.0, (600, 400), True)],
)
def test_a_field_is_wide_along_its_long_side(field_deg, shape, expected):
    assert is_wide(Camera.from_field(field_deg), shape) is expected


def test_surround_is_seen_from_a_wide_field_too():
    light = np.full((60, 90, 3), 0.5)
    glow = SPREADING["wide glow"]
    dark = seen(light, Camera.from_field(84), glow, surround=Surround.DARK)
    assert dark[0, 0, 1] < dark[30, 45, 1] < 0.5
