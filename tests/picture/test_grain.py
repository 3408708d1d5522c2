"""Grain is what the sensor added: all of it in flat parts, and nothing that is detail."""

import io

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

import frontglass as fg
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.grain import grain_of
from frontglass.picture.noise_curve import _noise

SHAPE = (256, 384)
CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=8.0)
LOOK = fg.read_look("powder-room")


def room():
    """Even walls of six levels, lit unevenly, with bars on the lower half of some."""
    light = np.zeros((*SHAPE, 3), np.float32)
    for place, level in enumerate((0.02, 0.05, 0.12, 0.25, 0.4, 0.6)):
        light[:, 64 * place : 64 * (place + 1)] = level
    light *= np.linspace(0.85, 1.15, SHAPE[0], dtype=np.float32)[:, np.newaxis, np.newaxis]
    light[200:, ::7] *= 1.5
    return light


def codes_of(light):
    return np.rint(255 * SRGB_CURVE.encode(np.clip(light, 0, 1))).astype(np.uint8)


def coded(light, quality=None):
    codes = codes_of(light)
    if quality is None:
        return codes
    stream = io.BytesIO()
    Image.fromarray(codes).save(stream, "JPEG", quality=quality, subsampling=0)
    return np.asarray(Image.open(stream))


def noisy(light, *, gain=6e-4, floor=1e-5, blur_px=0.0, seed=1):
    """Light with noise of light and of readout [Foi2008], as wide as a phone's if so said."""
    noise = np.random.default_rng(seed).normal(size=light.shape).astype(np.float32)
    if blur_px:
        noise = cv2.GaussianBlur(noise, (0, 0), blur_px)
        noise /= noise.std()
    return light + noise * np.sqrt(gain * light + floor).astype(np.float32)


def flat_parts():
    flat = np.zeros(SHAPE, bool)
    for place in range(6):
        flat[20:180, 64 * place + 20 : 64 * place + 44] = True
    return flat


def fine(light):
    return light - cv2.GaussianBlur(light, (0, 0), 3)


KINDS = {
    "sensor": ({}, None),
    "loud": ({"gain": 3e-3, "floor": 1e-4}, None),
    "phone": ({"blur_px": 1.0}, None),
    "jpeg 95": ({}, 95),
    "jpeg 85": ({"gain": 2e-3, "floor": 5e-5}, 85),
}


@pytest.fixture(scope="module", params=KINDS, ids=str)
def still(request):
    how, quality = KINDS[request.param]
    return coded(noisy(room(), **how), quality)


def test_grain_is_laid_into_room_that_is_there(still):
    light = fg.Picture.from_array(still).radiance
    here = np.full(light.shape, 7, np.int16)
    found, other = grain_of(light, 1 / 255, here), grain_of(light, 1 / 255)
    assert found.steps is here
    assert found.step == other.step
    np.testing.assert_array_equal(here, other.steps)


@pytest.mark.source("Foi2008", "eq. (1): noise of light and of readout; from memory")
@pytest.mark.parametrize("strength", [1 / 8, 1, 4])
def test_noise_of_flat_parts_stays_and_nothing_is_invented(still, strength):
    clean = room()
    bare = fg.Picture.from_array(still).radiance - clean
    truth = fg.render(clean, LOOK.at(strength), camera=CAMERA)
    off = fg.render(fg.Picture.from_array(still), LOOK.at(strength), camera=CAMERA).radiance - truth
    plain = fg.render(
        fg.Picture.from_array(still), LOOK.at(strength), camera=CAMERA, grain=False
    ).radiance
    flat = flat_parts()
    for channel in range(3):
        kept = fine(off)[flat][:, channel].std() / fine(bare)[flat][:, channel].std()
        assert 0.9 < kept < 1.1
    assert off.std() <= 1.1 * bare.std()
    if strength >= 1:
        assert fine(plain - truth)[flat].std() < 0.8 * fine(bare)[flat].std()


@pytest.mark.parametrize("quality", [None, 95, 85])
def test_a_clean_still_has_none_and_blocks_of_jpeg_are_none(quality):
    light = fg.Picture.from_array(coded(room(), quality)).radiance
    grain = grain_of(light, 1 / 255)
    assert grain is None or float(np.abs(grain.at(...)).max()) < 0.002


def fabric(shape):
    y, x = np.mgrid[: shape[0], : shape[1]]
    return 0.25 * (1 + 0.35 * np.sign(np.sin(2 * np.pi * x / 4.4)) * np.sin(2 * np.pi * y / 5.3))


def foliage(shape):
    rng = np.random.default_rng(5)
    leaves = cv2.GaussianBlur(rng.normal(size=shape), (0, 0), 1.3)
    return 0.25 * np.exp(1.2 * np.clip(leaves / leaves.std(), -2, 2) * 0.5)


def letters(shape):
    rng = np.random.default_rng(6)
    rows = np.repeat(rng.random((shape[0] // 3 + 1, shape[1] // 2 + 1)) < 0.4, 3, axis=0)
    return np.where(np.repeat(rows, 2, axis=1)[: shape[0], : shape[1]], 0.05, 0.6)


WEAVE_TAKEN_FOR_NOISE = pytest.mark.xfail(
    strict=True,
    reason="JPEG took the noise of the walls, and one weave fills a third of a small frame",
)


@pytest.mark.parametrize(
    ("texture", "quality"),
    [
        (fabric, None),
        (foliage, None),
        (letters, None),
        (foliage, 85),
        (letters, 85),
        pytest.param(fabric, 85, marks=WEAVE_TAKEN_FOR_NOISE),
    ],
)
def test_texture_softens_as_the_glass_softens_it(texture, quality):
    clean = room()
    part = np.s_[120:, 192:]
    clean[part] = texture(clean[part].shape[:2])[..., np.newaxis]
    still = fg.Picture.from_array(coded(noisy(clean), quality))
    truth = fg.render(clean, LOOK.at(1), camera=CAMERA)
    seen = fg.render(still, LOOK.at(1), camera=CAMERA).radiance
    inner = np.s_[136:-16, 208:-16]
    lost, kept = (
        float(np.sum(fine(light)[inner] * fine(clean)[inner]) / np.sum(fine(clean)[inner] ** 2))
        for light in (truth, seen)
    )
    assert lost < 0.85
    assert kept == pytest.approx(lost, abs=0.03)


def test_floats_and_strength_0_stay_bit_for_bit():
    light = noisy(room()).astype(np.float32)
    with_, without = (
        fg.render(light, LOOK.at(1), camera=CAMERA, grain=grain) for grain in (True, False)
    )
    np.testing.assert_array_equal(with_, without)
    codes = coded(np.clip(light, 0, 1))
    np.testing.assert_array_equal(fg.render(codes, LOOK.at(0), camera=CAMERA), codes)


def test_pixels_that_nothing_reaches_keep_their_codes():
    codes = coded(noisy(room()))
    np.testing.assert_array_equal(
        fg.render(codes, fg.read_look("lamps-only"), camera=CAMERA), codes
    )


def test_noise_goes_by_the_light_that_reaches_the_sensor():
    """A veil brings light to the dark, and light is noisy as its root: codes stay as noisy."""
    dark = np.full((*SHAPE, 3), 0.02, np.float32)
    dark[:, 192:] = 0.8
    still = fg.Picture.from_array(coded(noisy(dark)))
    seen = fg.render(still, fg.Veil(veil_share=0.2), camera=CAMERA).radiance
    own = np.s_[40:-40, 40:150]
    root_before, root_after = (np.sqrt(light[own]).std() for light in (still.radiance, seen))
    assert seen[own].mean() > 3 * still.radiance[own].mean()
    assert root_after == pytest.approx(root_before, rel=0.15)


def grain_and_noise(gain, floor, seed):
    clean = room()
    light = fg.Picture.from_array(coded(noisy(clean, gain=gain, floor=floor, seed=seed))).radiance
    grain = grain_of(light, 1 / 255)
    return np.zeros_like(light) if grain is None else grain.at(...), light - clean


@settings(max_examples=12, deadline=None)
@given(
    gain=st.floats(1e-4, 4e-3),
    readout=st.floats(1e-3, 0.1),  # Light at which it is as loud as the noise of light, over white.
    seed=st.integers(0, 100),
)
def test_grain_is_bounded_by_the_noise_there_is(gain, readout, seed):
    grain, noise = grain_and_noise(gain, readout * gain, seed)
    assert grain.shape == noise.shape
    assert abs(float(grain.mean())) < 1e-3
    assert (grain - noise)[flat_parts()].std() <= 1.02 * noise[flat_parts()].std()
    # Beside edges a little of the detail counts as grain: up to 1.11 where it was looked at.
    assert grain.std() < 1.25 * noise.std()


def test_grain_is_bounded_where_readout_is_louder_than_light():
    grain, noise = grain_and_noise(1e-4, 1e-4, 0)
    assert grain.std() < 1.25 * noise.std()


def test_small_stills_and_single_rows_pass():
    for shape in ((1, 1, 3), (3, 40, 3), (40, 3, 3), (17, 33, 3)):
        codes = np.random.default_rng(1).integers(90, 110, shape).astype(np.uint8)
        assert fg.render(codes, LOOK.at(1), camera=CAMERA).shape == shape


def test_a_level_whose_quietest_blocks_lie_apart_from_all_others_tells_nothing():
    total = np.array([1.0] * 2 + [100.0] * 23)
    found, count = _noise(np.tile(total / 3, (3, 1)), total, np.full(25, 0.5), np.full(25, 1e3))
    assert np.isnan(found).all()
    assert count == 0
