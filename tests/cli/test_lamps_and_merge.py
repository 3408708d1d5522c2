"""Clipped lamps and brackets on the command line."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from tests.picture.hdr_scenes import codes, scene

CAMERA = ("--lens", "50", "--stop", "2.8", "--sensor", "super35")


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture
def still(tmp_path):
    path = tmp_path / "scout.png"
    Image.fromarray(codes(scene("interior-b"))).save(path)
    return path


def frames(tmp_path, *, with_exif=True):
    """A bracket of JPEGs: 1/15 s, 1/125 s and 1/1000 s at f/4, ISO 200."""
    light = scene("interior-b")
    paths = []
    for number, (time, stops) in enumerate(((15, 0.0), (125, -3.0), (1000, -6.0))):
        exif = Image.Exif()
        if with_exif:
            exif.get_ifd(0x8769).update({33434: (1.0 / time), 33437: 4.0, 34855: 200})
            exif.get_ifd(0x8769).update({37386: 6.8, 41989: 26})
        path = tmp_path / f"frame{number}.jpg"
        image = Image.fromarray(codes(light * np.float32(2.0**stops)))
        image.save(path, quality=95, subsampling=0, exif=exif)
        paths.append(path)
    return paths


class TestLamps:
    def test_text_and_json_say_what_the_library_says(self, still):
        lamps = fg.with_recovered_light(fg.read_picture(still)).lamps
        record = json.loads(run("lamps", still, "--json").stdout)
        said = record["lamps"]
        assert record["areas"] == len(lamps) >= len(said) > 3
        assert record["white_cd_per_m2"] is None
        # What is told sends all but a hundredth of the light.
        assert sum(one["share"] for one in said) >= 0.99
        assert said[0]["stops"] == pytest.approx(lamps[0].stops, abs=0.01)
        assert said[0]["x_px"] == pytest.approx(lamps[0].x_px, abs=0.1)
        text = run("lamps", still).stdout
        assert f"{lamps[0].x_px:.0f},{lamps[0].y_px:.0f}" in text
        assert f"{lamps[0].stops:.1f} +-{lamps[0].uncertain_stops:.1f}" in text

    def test_a_mark_is_shown_as_typed_and_drawn(self, still, tmp_path):
        first = fg.with_recovered_light(fg.read_picture(still)).lamps[0]
        mark = f"{first.x_px:.0f},{first.y_px:.0f},7"
        result = run("lamps", still, "--lamp", mark, "-o", tmp_path / "map.png")
        assert "7.0 typed" in result.stdout
        drawn = np.asarray(Image.open(tmp_path / "map.png"))
        bare = np.asarray(Image.open(still))
        assert drawn.shape == bare.shape
        assert (drawn != bare).any(axis=2).mean() > 0.005
        again = run("lamps", still, "-o", tmp_path / "map.png")
        assert again.exit_code == 1
        assert "exists already" in again.stderr

    def test_a_thousand_specks_are_one_line(self, tmp_path):
        codes = np.full((400, 600), 90, np.uint8)
        codes[::8, ::8] = 255
        codes[100:130, 200:230] = 255
        path = tmp_path / "leaves.png"
        Image.fromarray(codes).save(path)
        text = run("lamps", path, "--white", "3000").stdout
        assert text.startswith("white: 3e+03 cd/m2\n")
        assert text.count("\n") < 26
        assert "that would send" in text.splitlines()[-1]

    def test_marks_are_kept_and_read_again_by_every_command(self, still, tmp_path):
        first = fg.with_recovered_light(fg.read_picture(still)).lamps[0]
        mark = f"{first.x_px:.0f},{first.y_px:.0f},globe"
        words = ("--lamp", mark, "--lamps", "bulb", "--white", "40")
        kept = run("lamps", still, *words, "--keep", "--json")
        assert kept.exit_code == 0, kept.output
        (one,) = fg.read_scene(tmp_path).stills
        assert (one.file, one.white_cd_per_m2, one.others) == (still.name, 40, "bulb")
        assert [(lamp.kind, lamp.stops) for lamp in one.lamps] == [("globe", None)]
        again = run("lamps", still, "--json")
        assert json.loads(again.stdout)["lamps"] == json.loads(kept.stdout)["lamps"]
        recipe = fg.read_scene(tmp_path).recipe(still)
        typed = fg.with_recovered_light(
            fg.read_picture(still),
            fg.Recovery(
                clipped="bulb",
                marks=(fg.LampMark(round(first.x_px), round(first.y_px), kind="globe"),),
                white_cd_per_m2=40,
            ),
        ).picture
        np.testing.assert_array_equal(recipe.picture_from(still).recovered, typed.recovered)

    def test_a_batch_reads_each_stills_own_marks_and_renders_anew_what_they_change(
        self, still, tmp_path
    ):
        other = tmp_path / "other.png"
        other.write_bytes(still.read_bytes())
        words = (
            "batch",
            still,
            other,
            "--look",
            "harbour-night",
            *CAMERA,
            "--jobs",
            "1",
            "--patience",
            "inf",
        )
        folder = tmp_path / "out"
        assert run(*words, "-o", folder).exit_code == 0
        before = {path.name: path.read_bytes() for path in folder.glob("*.png")}
        one, two = (f"{name}_harbour-night_1.png" for name in ("scout", "other"))
        assert before[one] == before[two]
        assert run("lamps", other, "--lamps", "globe", "--white", "10", "--keep").exit_code == 0
        assert run(*words, "-o", folder).exit_code == 0
        after = {path.name: path.read_bytes() for path in folder.glob("*.png")}
        assert after[one] == before[one]
        assert after[two] != before[two]

    def test_lamps_toml_is_read_until_there_is_a_scene(self, still, tmp_path):
        first = fg.with_recovered_light(fg.read_picture(still)).lamps[0]
        mark = f"{first.x_px:.0f},{first.y_px:.0f},globe"
        (tmp_path / "lamps.toml").write_text(f'["{still.name}"]\nwhite = 20\nlamp = ["{mark}"]\n')
        old = run("lamps", still, "--json")
        assert "1 lamp, white 20 cd/m2 (frontglass scene takes that over)" in old.stderr
        kept = run("lamps", still, "--lamps", "bulb", "--keep", "--json")
        assert "lamps.toml: taken over into" in kept.stderr
        assert json.loads(kept.stdout)["white_cd_per_m2"] == 20
        (one,) = fg.read_scene(tmp_path).stills
        assert (one.white_cd_per_m2, one.others, one.lamps[0].kind) == (20, "bulb", "globe")
        (tmp_path / "lamps.toml").write_text('["scout.png"]\nlight = 3\n')
        assert run("lamps", still).exit_code == 0

    def test_a_wrong_word_in_lamps_toml_is_one_line(self, still, tmp_path):
        (tmp_path / "lamps.toml").write_text('["scout.png"]\nlight = 3\n')
        result = run("lamps", still)
        assert result.exit_code == 1
        assert "scout.png: unknown key 'light'" in result.stderr
        assert result.stderr.count("\n") == 1
        assert run("lamps", still, "--no-scene").exit_code == 0

    def test_a_still_without_clipped_areas_says_so(self, tmp_path):
        path = tmp_path / "grey.png"
        Image.fromarray(np.full((20, 30, 3), 90, np.uint8)).save(path)
        assert run("lamps", path).stdout == "nothing clips\n"


class TestApply:
    def light(self, still, tmp_path, *options):
        out = tmp_path / "out.exr"
        words = ("apply", still, "--look", "harbour-night", *CAMERA, *options)
        result = run(*words, "-o", out, "--overwrite")
        assert result.exit_code == 0, result.output
        return fg.read_picture(out).radiance

    def test_more_recovered_light_makes_more_glow(self, still, tmp_path):
        off = self.light(still, tmp_path, "--clipped", "off")
        auto = self.light(still, tmp_path)
        typed = self.light(still, tmp_path, "--clipped", "8")
        dark = fg.read_picture(still).radiance.max(axis=2) < 0.5
        assert off[dark].mean() < auto[dark].mean() < typed[dark].mean()
        plain = fg.render(
            fg.read_picture(still),
            [fg.read_look("harbour-night")],
            camera=fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.89),
        )
        np.testing.assert_allclose(off, plain.radiance, rtol=6e-4)  # half floats

    def test_strength_0_keeps_every_code(self, still, tmp_path):
        out = tmp_path / "bare.png"
        run("apply", still, "--look", "harbour-night:0", *CAMERA, "-o", out)
        np.testing.assert_array_equal(np.asarray(Image.open(out)), np.asarray(Image.open(still)))

    def test_the_core_stays_white(self, still, tmp_path):
        out = tmp_path / "out.png"
        run("apply", still, "--look", "harbour-night", *CAMERA, "-o", out)
        before, after = np.asarray(Image.open(still)), np.asarray(Image.open(out))
        white = (before == 255).all(axis=2)
        assert white.sum() > 100
        assert after[white].min() >= 254

    def test_doubt_is_said_and_both_ends_can_be_seen(self, still, tmp_path):
        result = run("apply", still, "--look", "harbour-night", "-o", tmp_path / "one.png")
        assert "How bright the clipped lamps are is not known" in result.stderr
        out = tmp_path / "ladder.png"
        words = ("ladder", still, "--look", "harbour-night", "--strengths", "1", "-o", out)
        assert run(*words, "--lamp-range", "--width", 900).exit_code == 0
        assert fg.read_picture(out).height_px > 300
        boards = tmp_path / "board"
        mood = run("mood", still, "--look", "harbour-night", "-o", boards, "--lamp-range")
        assert mood.exit_code == 0, mood.output
        board = next(boards.glob("*.html")).read_text()
        assert all(f"scout, lamps {end}" in board for end in ("low", "likely", "high"))
        numbers = ("--look", "harbour-night", "--watch", "lamp:100,20,20,20", "--json")
        said = run("compare", still, *numbers, "--lamp-range", "-o", tmp_path / "compare.png")
        assert said.exit_code == 0, said.output
        watched = json.loads(said.stdout)["watched"]["lamp"]
        assert len(watched) == 4

    @pytest.mark.parametrize(
        ("options", "said"),
        [
            (("--lamps", "bulbs"), "Did you mean bulb?"),
            (("--lamps", "bulb", "--clipped", "3"), "lamps must be given without --clipped"),
            (("--white", "-2"), "white must be > 0"),
            (("--clipped", "much"), "clipped must be auto, off, a kind of lamp, or a number"),
            (("--lamp", "1"), "lamp must be X,Y with"),
            (("--lamp", "5000,2,3"), "inside the still's"),
        ],
    )
    def test_nonsense_is_one_line(self, still, options, said):
        result = run("apply", still, "--look", "harbour-night", *options)
        assert result.exit_code == 1
        assert said in result.stderr
        assert result.stderr.count("\n") == 1


class TestMerge:
    @pytest.mark.source("ISO2721", "camera exposure: t S / N^2")
    def test_exposures_come_from_exif(self, tmp_path):
        paths = frames(tmp_path)
        read = [fg.read_picture(path).shot.exposure_stops for path in paths]
        # log2((1/15) * 2 / 16) and so on.
        assert read == pytest.approx([-6.907, -9.966, -12.966], abs=0.001)
        out = tmp_path / "scene.exr"
        result = run("merge", *paths, "-o", out, "--json")
        assert result.exit_code == 0, result.output
        said = json.loads(result.stdout)
        # 1/15 to 1/125 is engraved for the eight times that the shutter really makes.
        assert said["exposure_stops"] == pytest.approx([0, -3, -6], abs=0.04)
        kept, darkest = (fg.read_picture(path).shot for path in (out, paths[0]))
        assert kept.exposure_stops == pytest.approx(darkest.exposure_stops, abs=1e-5)
        assert (kept.focal_length_mm, kept.focal_length_35mm) == (6.8, 26)
        light = fg.read_picture(out).radiance
        truth = scene("interior-b")
        held = (truth.min(axis=2) > 0.02) & (truth.max(axis=2) < 50)
        error = np.log2(light[held] / truth[held])
        assert float(np.sqrt(np.mean(error**2))) < 0.05

    @pytest.mark.parametrize(("suffix", "kept"), [(".tif", 26), (".hdr", None)])
    def test_the_lens_is_kept_or_its_loss_is_said(self, tmp_path, suffix, kept):
        out = tmp_path / f"scene{suffix}"
        result = run("merge", *frames(tmp_path), "-o", out)
        assert result.exit_code == 0, result.output
        assert fg.read_picture(out).shot.focal_length_35mm == kept
        assert ("no place for lens" in result.stderr) == (kept is None)

    def test_typed_exposures_need_no_exif(self, tmp_path):
        paths = frames(tmp_path, with_exif=False)
        out = tmp_path / "scene.exr"
        assert run("merge", *paths, "-o", out, "--stops", "0,-3,-6").stdout == f"{out}\n"
        assert fg.read_picture(out).radiance.max() > 20

    @pytest.mark.parametrize(
        ("name", "options", "said"),
        [
            ("scene.exr", (), "does not say time, f-number and ISO"),
            ("scene.jpg", ("--stops", "0,-3,-6"), "cannot hold light above white"),
            ("scene.exr", ("--stops", "0,-3"), "exposure_stops must be 3 numbers"),
            ("scene.exr", ("--stops", "0,a,b"), "stops must be numbers"),
        ],
    )
    def test_what_cannot_be_merged_is_refused(self, tmp_path, name, options, said):
        result = run("merge", *frames(tmp_path, with_exif=False), "-o", tmp_path / name, *options)
        assert result.exit_code == 1
        assert said in result.stderr
        assert not (tmp_path / name).exists()
