"""The job itself on real photographs: a scout still in, the same still through a look out."""

from __future__ import annotations

import math
from dataclasses import replace
from importlib import resources
from pathlib import Path

import colour
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.elements import ExponentialLobe, Plate, StrayLamp
from frontglass.looks import look_names
from frontglass.picture.encoding import Encoding

PHOTOGRAPHS = Path(str(resources.files("skimage"))) / "data"
COFFEE = PHOTOGRAPHS / "coffee.png"  # 600 x 400, no profile: a cup under hard light, dark corner
SKY = PHOTOGRAPHS / "hubble_deep_field.jpg"  # 1000 x 872, ICC, EXIF, XMP: bright dots on black
CAMERA = fg.Camera.from_field(40.0)
CAMERA_WORDS = ("--lens", f"{CAMERA.focal_length_mm}", "--sensor", "full-frame")

# Scoped so that tests of one look run one after the other: what its filters need is kept.
every_look = pytest.mark.parametrize("name", look_names(), scope="module")


def codes_of(path: Path) -> NDArray[np.int64]:
    with Image.open(path) as image:
        image.load()
        return np.asarray(image).astype(np.int64)


def srgb_light(codes: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.asarray(colour.models.eotf_sRGB(codes / 255))


def through(still: Path, name: str, out: Path, strength: str | float = 1) -> fg.Picture:
    picture = fg.read_picture(still)
    # A wall 3 m away; only haze asks.
    distance = np.full(picture.radiance.shape[:2], 3.0, np.float32)
    picture = replace(picture, distance_m=distance)
    seen = fg.render(picture, [fg.read_look(name).at(strength)], camera=CAMERA)
    fg.write_picture(out, seen)
    return seen


def run(*words: object) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.source("ScikitImagePhotographs", "coffee.png and hubble_deep_field.jpg")
class TestOneStill:
    @every_look
    def test_size_depth_and_kind_stay(self, name, tmp_path):
        seen = through(COFFEE, name, tmp_path / "out.png")
        assert np.isfinite(seen.radiance).all()
        assert seen.radiance.min() >= -1e-6
        # A weighted mean of light in [0, 1] stays there, but for two kinds: a lamp beside the lens
        # adds light, and round a clear centre films are weighed where light comes from.
        elements = fg.read_look(name).elements
        if not any(isinstance(e, StrayLamp) or getattr(e, "clear_centre", None) for e in elements):
            assert seen.radiance.max() <= 1 + 1e-6
        with Image.open(tmp_path / "out.png") as image:
            assert (image.size, image.mode, image.format) == ((600, 400), "RGB", "PNG")

    @every_look
    def test_strength_0_writes_the_same_codes(self, name, tmp_path):
        through(COFFEE, name, tmp_path / "out.png", 0)
        np.testing.assert_array_equal(codes_of(tmp_path / "out.png"), codes_of(COFFEE))

    def test_a_jpeg_that_is_left_alone_stays_near(self, tmp_path):
        # JPEG loses a little at every writing: with the file's own tables a rounding of each
        # coefficient, some codes at most, in few pixels.
        through(SKY, "harbour-night", tmp_path / "out.jpg", 0)
        off = np.abs(codes_of(tmp_path / "out.jpg") - codes_of(SKY))
        assert off.max() <= 6
        assert (off > 1).mean() < 0.01
        assert off.mean() < 0.1

    def test_a_jpeg_keeps_what_stands_beside_the_pixels(self, tmp_path):
        through(SKY, "harbour-night", tmp_path / "out.jpg")
        with Image.open(SKY) as before, Image.open(tmp_path / "out.jpg") as after:
            assert after.size == before.size
            assert after.format == "JPEG"
            assert after.info["icc_profile"] == before.info["icc_profile"]
            assert after.info["xmp"] == before.info["xmp"]
            assert dict(after.getexif()) == dict(before.getexif())

    def test_a_longer_lens_swells_lamps_further(self):
        # The same glass at twice the focal length is the same glass twice as wide in pixels.
        picture, look = fg.read_picture(SKY), fg.read_look("harbour-night")
        lens = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=36)
        twice = fg.Camera(focal_length_mm=100, f_number=2.8, sensor_width_mm=36)
        short, long = (fg.render(picture, [look], camera=c).radiance for c in (lens, twice))
        peak = np.unravel_index(picture.radiance[100:-100, 100:-100].sum(2).argmax(), (672, 800))
        row, column = peak[0] + 100, peak[1] + 100
        assert long[row, column, 1] < short[row, column, 1] < picture.radiance[row, column, 1]


class TestLight:
    @pytest.mark.parametrize("still", [COFFEE, SKY], ids=["coffee", "sky"])
    @pytest.mark.parametrize("name", ["harbour-night", "powder-room", "engine-shed"])
    def test_no_light_is_made_or_lost(self, still, name):
        before = fg.read_picture(still)
        # Of lamps without mirror images some light leaves the frame; grain is louder in more light.
        for grain, bound in ((False, 1e-5), (True, 2e-3)):
            look = fg.read_look(name)
            after = fg.render(before, [look], camera=CAMERA, surround="mirror", grain=grain)
            np.testing.assert_allclose(
                after.radiance.mean((0, 1), dtype=float),
                before.radiance.mean((0, 1), dtype=float),
                rtol=bound,
            )

    @pytest.mark.source("Colour0.4", "eotf_sRGB")
    def test_the_file_holds_the_light_too(self, tmp_path):
        # Nothing clips: an average of light up to white stays up to white. What is left of the
        # bound is dither in 8 bits, whose square the curve turns into a little light.
        through(COFFEE, "harbour-night", tmp_path / "out.png")
        before, after = (srgb_light(codes_of(p)) for p in (COFFEE, tmp_path / "out.png"))
        np.testing.assert_allclose(after.mean((0, 1)), before.mean((0, 1)), rtol=1e-3)

    @pytest.mark.source("Wells1969", "the transfer function of many scatterings, exp(-tau (1 - K))")
    @pytest.mark.source("Colour0.4", "eotf_sRGB")
    def test_the_file_is_what_a_few_lines_of_the_formula_give(self, tmp_path):
        """Second route, whole: decode, mirror, transform, multiply, crop, all in float64."""
        look = fg.read_look("harbour-night")
        plate, glow = look.elements  # nothing here is lamp, so the glass throws no ghost
        assert isinstance(plate, Plate)
        (lobe,) = glow.lobes
        assert isinstance(lobe, ExponentialLobe)
        light = srgb_light(codes_of(COFFEE))
        tall = np.concatenate([light, light[::-1]])
        mirrored = np.concatenate([tall, tall[:, ::-1]], axis=1)
        fy = np.fft.fftfreq(mirrored.shape[0])[:, np.newaxis]
        fx = np.fft.rfftfreq(mirrored.shape[1])
        px_per_rad = 600 / (2 * math.tan(math.radians(20)))
        core_px = px_per_rad * math.radians(lobe.scale_deg)
        otf = np.exp(-glow.optical_depth * -np.expm1(-2 * np.pi * core_px * np.hypot(fx, fy)))
        spectrum = np.fft.rfft2(mirrored, axes=(0, 1)) * otf[..., np.newaxis]
        want = np.fft.irfft2(spectrum, axes=(0, 1), s=mirrored.shape[:2])[:400, :600]

        seen = through(COFFEE, "harbour-night", tmp_path / "out.png")
        # What the engine promises.
        np.testing.assert_allclose(seen.radiance, want, rtol=1e-3, atol=1e-4)
        curve = 1.055 * np.maximum(want, 0) ** (1 / 2.4) - 0.055
        wanted_codes = 255 * np.where(want <= 0.0031308, want * 12.92, curve)
        off = np.abs(codes_of(tmp_path / "out.png") - wanted_codes)
        # Half a code of rounding, one of dither, and a hair for the engine's own error.
        assert off.max() < 1.75

    def test_dark_areas_beside_highlights_are_lifted_most(self):
        before = fg.read_picture(SKY).radiance
        after = fg.render(fg.read_picture(SKY), [fg.read_look("harbour-night")], camera=CAMERA)
        lift = (after.radiance - before).mean(2)
        dark = before.max(2) < 0.01
        from_star = ndimage.distance_transform_edt(before.max(2) < 0.7)
        near, far = lift[dark & (from_star < 10)], lift[dark & (from_star > 40)]
        assert min(near.size, far.size) > 1000
        assert near.mean() > 2.5 * far.mean() > 0
        # Nothing dark is darkened, beyond single dots of noise brighter than all around them.
        assert (lift[dark] > 0).mean() > 0.99
        # Nothing bright is brightened that was the brightest about.
        peaks = before.max(2) == ndimage.maximum_filter(before.max(2), 41)
        assert (lift[peaks & (before.max(2) > 0.7)] < 0).all()

    def test_a_veil_moves_every_pixel_towards_the_mean_and_no_pixel_past_it(self):
        before = fg.read_picture(COFFEE).radiance
        after = fg.render(fg.read_picture(COFFEE), [fg.read_look("slate-roof")]).radiance
        mean = before.mean((0, 1), dtype=float)
        assert (np.sign(after - before) * np.sign(mean - before) >= 0).all()
        assert (np.sign(mean - after) * np.sign(mean - before) >= 0).all()

    def test_what_is_far_from_any_lamp_is_left_alone_by_lamps_only(self):
        before = fg.read_picture(COFFEE, exposure_stops=1.5)
        after = fg.render(before, [fg.read_look("lamps-only")], camera=CAMERA)
        # The knee begins half a stop above white; the wider bell has 1 degree, 14.4 px.
        from_lamp = ndimage.distance_transform_edt(before.radiance.max(2) < math.sqrt(2))
        far, near = from_lamp > 6 * 14.4, (from_lamp > 0) & (from_lamp < 10)
        assert far.sum() > 20
        np.testing.assert_allclose(after.radiance[far], before.radiance[far], atol=1e-7)
        assert (after.radiance[near] > before.radiance[near]).mean() > 0.99


class TestSizes:
    @pytest.mark.parametrize("name", ["harbour-night", "bakery-window", "rehearsal-room"])
    def test_a_preview_shows_what_the_still_shows(self, name):
        """The photograph at 2560 px, and a preview of it at 1280: the same change."""
        look = fg.read_look(name)
        still = cv2.resize(fg.read_picture(COFFEE).radiance, (2560, 1708))
        preview = cv2.resize(still, (1280, 854), interpolation=cv2.INTER_AREA)
        change_of_still, change_of_preview = (
            fg.render(
                fg.Picture(radiance=light, encoding=Encoding.linear()), [look], camera=CAMERA
            ).radiance
            - light
            for light in (still, preview)
        )
        shown = cv2.resize(change_of_still, (1280, 854), interpolation=cv2.INTER_AREA)
        largest = float(np.abs(shown).max())
        assert largest > 0.01
        # A pixel of the preview is its own little blur: 1 % of the largest change.
        np.testing.assert_allclose(change_of_preview, shown, atol=0.01 * largest)


class TestCommands:
    @pytest.mark.parametrize("still", [COFFEE, SKY], ids=["coffee", "sky"])
    def test_apply(self, still, tmp_path):
        out = tmp_path / f"out{still.suffix}"
        run("apply", still, "--look", "harbour-night:1/2", *CAMERA_WORDS, "-o", out)
        assert codes_of(out).shape == codes_of(still).shape
        changed = codes_of(out) != codes_of(still)
        assert 0.05 < changed.mean() < 1

    def test_apply_at_0_writes_the_same_codes(self, tmp_path):
        run("apply", COFFEE, "--look", "engine-shed:0", "-o", tmp_path / "out.png")
        np.testing.assert_array_equal(codes_of(tmp_path / "out.png"), codes_of(COFFEE))

    def test_ladder(self, tmp_path):
        out = tmp_path / "sheet.png"
        run("ladder", COFFEE, "--look", "rehearsal-room", "--close-up", "320,230,90,60", "-o", out)
        sheet = codes_of(out)
        assert sheet.shape[1] >= 600
        assert len(np.unique(sheet @ [1 << 16, 1 << 8, 1])) > 1000

    def test_batch(self, tmp_path):
        folder = tmp_path / "rendered"
        run(
            "batch",
            COFFEE,
            SKY,
            "--look",
            "late-tram",
            *CAMERA_WORDS,
            "-o",
            folder,
            "--jobs",
            1,
            "--patience",
            "inf",
        )
        for still in (COFFEE, SKY):
            apart = tmp_path / f"apart{still.suffix}"
            run("apply", still, "--look", "late-tram", *CAMERA_WORDS, "-o", apart)
            assert (
                folder / f"{still.stem}_late-tram_1{still.suffix}"
            ).read_bytes() == apart.read_bytes()

    @pytest.mark.slow
    def test_demo(self, tmp_path):
        folder = tmp_path / "demo"
        written = [Path(line) for line in run("demo", "-o", folder).splitlines()[:-1]]
        assert set(written) == set(folder.iterdir())
        bare = codes_of(folder / "bare.png")
        assert bare.shape == (720, 1280, 3)
        others = [p for p in written if "ladder" not in p.name and p.stem != "bare"]
        assert len(others) >= 5
        for path in others:
            codes = codes_of(path)
            assert codes.shape == bare.shape
            assert (codes != bare).mean() > 0.01, path.name
        (ladder,) = folder.glob("*ladder.png")
        assert codes_of(ladder).shape[1] > 1280
