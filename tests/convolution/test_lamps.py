"""Lamps shine from where they are; what is no lamp goes on beyond the frame."""

import numpy as np
import pytest

import frontglass as fg
from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.cosines import filtered
from frontglass.convolution.filters import ScatterFilter
from frontglass.convolution.lamps import lamp_pixels
from frontglass.convolution.over_pixels import lamps_within
from frontglass.convolution.product import in_turn
from frontglass.convolution.sines import LampRows
from frontglass.elements import ExponentialLobe, Glow, Net
from frontglass.optics.profiles import Exponential, Gaussian
from tests.convolution.test_mirrors import ASKEW, STRAIGHT, Dots, LaidDots, shifted_copies

HEIGHT, WIDTH = 120, 180
LONG_LENS = fg.Camera(focal_length_mm=200, f_number=2.8, sensor_width_mm=24.9)


def disc(shape: tuple[int, int], y: int, x: int, radius: float, level: float):
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    lit = (rows - y) ** 2 + (columns - x) ** 2 <= radius**2
    return np.repeat(np.where(lit, level, 0.0)[..., np.newaxis], 3, axis=2).astype(np.float32)


def dim(shape):
    return np.random.default_rng(4).random((*shape, 3)).astype(np.float32) * 0.2


@pytest.mark.parametrize("kind", [Dots, LaidDots])
@pytest.mark.parametrize("dots", [ASKEW, STRAIGHT], ids=["askew", "straight"])
@pytest.mark.parametrize("at", [(40, 3), (2, 60), (3, 4), (57, 86), (30, 45)], ids=str)
def test_every_pixel_gets_the_dots_of_a_lamp_and_none_of_its_mirror_images(kind, dots, at):
    shape = (60, 90)
    rest, lamp = dim(shape), disc(shape, at[0], at[1], 1.5, 50.0)
    rest[lamp > 0] = 0
    got = convolve(rest + lamp, [kind(dots)] * 3, Surround.LAMPLESS)
    expected = shifted_copies(rest, kind(dots))
    expected += shifted_copies(lamp, kind(dots), Surround.DARK)
    np.testing.assert_allclose(got, expected, atol=2e-5)


@pytest.mark.parametrize("sigma_px", [1.2, 40.0], ids=["on pixels", "on cells"])
@pytest.mark.parametrize("at", [(60, 3), (4, 90), (117, 178)], ids=str)
def test_a_glow_is_that_of_the_rest_among_mirrors_and_of_lamps_in_the_dark(sigma_px, at):
    shape = (HEIGHT, WIDTH)
    rest, lamp = dim(shape), disc(shape, at[0], at[1], 3, 300.0)
    rest[lamp > 0] = 0
    halo = [ScatterFilter(scatterers=((0.3, Gaussian(sigma_rad=sigma_px)),), px_per_rad=1.0)] * 3
    expected = convolve(rest, halo, Surround.MIRROR) + convolve(lamp, halo, Surround.DARK)
    got = convolve(rest + lamp, halo, Surround.LAMPLESS)
    np.testing.assert_allclose(got, expected, rtol=1e-3, atol=2e-4)
    mirrored = convolve(rest + lamp, halo, Surround.MIRROR)
    assert (mirrored - expected).max() > 0.01


@pytest.mark.parametrize("name", ["harbour-night", "fine-net", "tallow"])
def test_the_frame_is_as_cut_out_of_a_wider_view(name):
    around = 100
    shape = (HEIGHT + 2 * around, WIDTH + 2 * around)
    wide = np.full((*shape, 3), 0.02, np.float32) + disc(shape, around + 70, around + 9, 3, 600.0)
    inner = np.s_[around:-around, around:-around]
    look = fg.read_look(name).at(1)
    long = fg.Camera(focal_length_mm=200, f_number=2.8, sensor_width_mm=24.9 * shape[1] / WIDTH)
    truth = fg.render(wide, look, camera=long, surround="mirror")[inner]
    own = wide[inner].copy()

    def off(surround):
        seen = fg.render(own, look, camera=LONG_LENS, surround=surround)
        return float(np.sqrt(np.mean(np.log2(seen / truth) ** 2)))

    assert off("lampless") < 0.1 * off("mirror")


@pytest.mark.parametrize("level", [0.3, 1.0, 1.5, 4.0, 100.0])
@pytest.mark.parametrize("name", ["harbour-night", "fine-net", "keyhole", "powder-room"])
def test_an_even_field_stays_even_however_bright(level, name):
    field = np.full((90, 140, 3), level, np.float32)
    look = fg.read_look(name).at(1)
    seen = fg.render(field, look, camera=LONG_LENS)
    np.testing.assert_array_equal(seen, fg.render(field, look, camera=LONG_LENS, surround="mirror"))


def test_walls_and_skies_brighter_than_white_are_no_lamps():
    wall = np.linspace(2, 6, WIDTH, dtype=np.float32) * np.ones((HEIGHT, 1, 3), np.float32).reshape(
        HEIGHT, 3, 1
    )
    wall = np.ascontiguousarray(wall.transpose(0, 2, 1))
    assert lamp_pixels(wall) is None
    sky = np.full((HEIGHT, WIDTH, 3), 0.1, np.float32)
    sky[: HEIGHT // 3] = 8
    assert lamp_pixels(sky) is None
    assert lamp_pixels(np.ones((HEIGHT, WIDTH, 3), np.float32)) is None


def test_a_lamp_is_one_with_all_its_light_and_leaves_the_rest():
    light = dim((HEIGHT, WIDTH))
    lamp = disc((HEIGHT, WIDTH), 60, 80, 6, 40.0)
    lamps = lamp_pixels(np.maximum(light, lamp))
    np.testing.assert_array_equal(np.asarray(lamps), lamp)


def test_what_is_lamp_changes_with_the_light_and_never_jumps():
    base = dim((HEIGHT, WIDTH))
    shares = []
    for level in np.geomspace(0.9, 4, 400):
        lamps = lamp_pixels(np.maximum(base, disc((HEIGHT, WIDTH), 60, 80, 5, level)))
        shares.append(0.0 if lamps is None else float(lamps.light.max() / np.float32(level)))
    steps = np.diff(shares)
    assert shares[0] == 0
    assert shares[-1] == 1
    assert steps.min() >= 0
    assert steps.max() < 0.01
    radii = range(4, 60)
    sizes = [
        lamp_pixels(np.maximum(base, disc((HEIGHT, WIDTH), 60, 80, radius, 30.0)))
        for radius in radii
    ]
    middle = np.array([0.0 if s is None else np.asarray(s)[60, 80, 0] / 30 for s in sizes])
    assert middle[0] == 1
    assert middle[-1] == 0
    assert np.diff(middle).max() <= 0
    assert np.abs(np.diff(middle)).max() < 0.35


def test_strengths_add_in_one_rendering_and_none_leaves_the_still():
    light = dim((HEIGHT, WIDTH)) + disc((HEIGHT, WIDTH), 60, 5, 4, 100.0)
    look = fg.read_look("harbour-night").with_glass(returns=0.0)  # two panes throw two ghosts
    both = fg.render(light, [look.at(0.25), look.at(0.25)], camera=LONG_LENS)
    np.testing.assert_allclose(
        both, fg.render(light, look.at(0.5), camera=LONG_LENS), rtol=1e-4, atol=1e-5
    )
    np.testing.assert_array_equal(fg.render(light, look.at(0), camera=LONG_LENS), light)


def test_a_lamp_in_the_middle_gives_its_halo_as_before():
    light = dim((HEIGHT, WIDTH)) + disc((HEIGHT, WIDTH), 60, 90, 2, 20.0)
    halo = [ScatterFilter(scatterers=((0.1, Exponential(scale_rad=1.0)),), px_per_rad=1.0)] * 3
    np.testing.assert_allclose(
        convolve(light, halo, Surround.LAMPLESS),
        convolve(light, halo, Surround.MIRROR),
        atol=2e-4,
    )


def test_on_a_wide_field_twins_are_gone_too():
    light = np.full((HEIGHT, WIDTH, 3), 0.02, np.float32) + disc((HEIGHT, WIDTH), 60, 6, 3, 300.0)
    camera = fg.Camera.from_field(84)
    glow = fg.read_look("harbour-night").at(2)
    usual, mirrored = (
        fg.render(light, glow, camera=camera, surround=name) for name in ("lampless", "mirror")
    )
    even = fg.render(np.full_like(light, 0.02), glow, camera=camera)
    lamp = fg.render(light - 0.02, glow, camera=camera, surround="dark")
    np.testing.assert_allclose(usual, even + lamp, rtol=0.02, atol=2e-4)
    assert (mirrored - usual)[:, :40].max() > 0.02


def test_of_a_net_and_a_glow_on_a_large_frame_nothing_comes_round():
    # As large frames do it, on a small one, where far images shine brightest.
    shape, px_per_rad = (90, 130), 3000.0
    net = Net(pitch_mm=0.5, thread_mm=0.035, weave="knitted", unevenness=0.04, angle_deg=20)
    glow = Glow(optical_depth=0.25, lobes=(ExponentialLobe(scale_deg=0.4),))
    filters = [
        in_turn([one, other])
        for one, other in zip(net.filters(px_per_rad), glow.filters(px_per_rad), strict=True)
    ]
    lamp = np.zeros((*shape, 3), np.float32)
    lamp[30, 4], lamp[85, 120] = 3000.0, 2000.0
    dark = convolve(lamp, filters, Surround.DARK) - lamp * np.float32(filters[1].direct)
    rows = LampRows(np.array([30, 85]), lamp[[30, 85], :, 1])
    got = lamps_within(rows, filters[1], shape, np.dtype(np.float64))
    np.testing.assert_allclose(got, dark[..., 1], rtol=1e-3, atol=1e-4)
    # And it would, without a thought.
    folded = filtered(lamp[..., 1], filters[1].cosine_planes(shape, np.dtype(np.float64)))
    assert np.abs(folded - dark[..., 1]).max() > 0.1
