"""Commands give what the library gives, and say in one line what is wrong."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner, Result

import frontglass as fg
from frontglass.cli.app import app
from frontglass.elements import ELEMENTS
from frontglass.measurement import look_numbers
from frontglass.picture.region import Region

Run = Callable[..., Result]
CAMERA = ("--lens", "50mm", "--stop", "f/2.8", "--sensor", "super35")
THE_CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.89)


@pytest.fixture
def run() -> Run:
    def command(*words: object) -> Result:
        return CliRunner().invoke(app, [str(word) for word in words])

    return command


def recovered(still: Path, exposure_stops: float = 0.0) -> fg.Picture:
    """The still as a command reads it: with the light that its clipped lamps have lost."""
    picture = fg.read_picture(still, exposure_stops=exposure_stops)
    return fg.with_recovered_light(picture, white=2.0**exposure_stops).picture


def refused(result: Result, *said: str) -> None:
    """One line on stderr with these words in it, nothing on stdout, status 1, no traceback."""
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    assert result.stderr.startswith("error: ")
    assert result.stderr.count("\n") == 1
    for words in said:
        assert words in result.stderr


class TestApply:
    def test_the_file_is_the_librarys_bit_for_bit(self, run, shoot, tmp_path):
        still = shoot()
        looks = ("--look", "harbour-night:1/2+slate-roof", "--strength", "1/4")
        result = run("apply", still, *looks, *CAMERA, "-o", tmp_path / "cli.png")
        assert result.exit_code == 0, result.output
        stack = [fg.read_look("harbour-night").at("1/2"), fg.read_look("slate-roof").at("1/4")]
        seen = fg.render(recovered(still), stack, camera=THE_CAMERA)
        fg.write_picture(tmp_path / "api.png", seen)
        assert (tmp_path / "cli.png").read_bytes() == (tmp_path / "api.png").read_bytes()
        assert (tmp_path / "cli.png").read_bytes() != still.read_bytes()

    def test_every_option_reaches_the_library(self, run, shoot, tmp_path):
        still = shoot()
        options = ("--exposure", "1.5", "--surround", "dark", "--no-compensate", "--clip")
        camera = (
            "--lens",
            "35",
            "--sensor",
            "24.9x16.6",
            "--filter-distance",
            "60mm",
            "--stop",
            "4",
        )
        out = tmp_path / "cli.jpg"
        words = ("--look", "rehearsal-room", *options, "--quality", "81", *camera)
        result = run("apply", still, *words, "-o", out)
        assert result.exit_code == 0, result.output
        lens = fg.Camera(
            focal_length_mm=35, f_number=4, sensor_width_mm=24.9, filter_distance_mm=60
        )
        seen = fg.render(
            recovered(still, 1.5),
            [fg.read_look("rehearsal-room")],
            camera=lens,
            surround=fg.Surround.DARK,
            compensate=False,
        )
        assert seen.radiance.max() > 1
        fg.write_picture(tmp_path / "api.jpg", replace(seen, past_white="clip"), quality=81)
        assert out.read_bytes() == (tmp_path / "api.jpg").read_bytes()

    def test_without_out_it_lands_beside_the_still(self, run, shoot):
        still = shoot("scout day/café 灯.png")
        result = run("apply", still, "--look", "harbour-night:1/4", *CAMERA)
        assert result.exit_code == 0, result.output
        assert result.stdout == f"{still.with_name('café 灯_harbour-night_1-4.png')}\n"
        assert still.with_name("café 灯_harbour-night_1-4.png").is_file()

    def test_what_was_assumed_is_a_note_on_stderr(self, run, shoot, tmp_path):
        result = run("apply", shoot(), "--look", "harbour-night", "-o", tmp_path / "out.png")
        assert result.exit_code == 0
        assert any(
            line.startswith("note: ") and "40 degrees" in line
            for line in result.stderr.splitlines()
        )

    def test_json_is_for_scripts(self, run, shoot, tmp_path):
        out = tmp_path / "out.png"
        result = run("apply", shoot(), "--look", "harbour-night:1/4", *CAMERA, "-o", out, "--json")
        record = json.loads(result.stdout)
        assert record["out"] == str(out)
        assert record["looks"] == [{"name": "harbour-night", "strength": 0.25}]
        assert record["camera"]["focal_length_mm"] == 50

    def test_a_wrong_path_is_one_line(self, run, tmp_path):
        still = tmp_path / "no such still.png"
        refused(run("apply", still, "--look", "harbour-night"), str(still))

    def test_a_wrong_look_is_one_line_with_a_guess(self, run, shoot):
        refused(run("apply", shoot(), "--look", "harbor-nite"), "harbor-nite", "harbour-night")

    def test_a_truncated_still_is_one_line(self, run, shoot, tmp_path):
        still = shoot("a.jpg")
        still.write_bytes(still.read_bytes()[:300])
        refused(run("apply", still, "--look", "harbour-night", "-o", tmp_path / "b.png"), "a.jpg")
        assert not (tmp_path / "b.png").exists()

    @pytest.mark.parametrize("strength", ["-1", "much", "1/0", "nan", "1000"])
    def test_an_impossible_strength_is_one_line(self, run, shoot, strength):
        look = f"harbour-night:{strength}"
        refused(run("apply", shoot(), "--look", look), "strength must be", strength)

    @pytest.mark.parametrize(
        ("option", "text"),
        [
            *(("--lens", "wide"), ("--stop", "f/"), ("--sensor", "imax"), ("--sensor", "36")),
            *(("--filter-distance", "-3"), ("--quality", "0"), ("--exposure", "99")),
        ],
    )
    def test_an_impossible_option_is_one_line_that_quotes_it(
        self, run, shoot, tmp_path, option, text
    ):
        words = ("--look", "harbour-night", option, text, "-o", tmp_path / "out.jpg")
        refused(run("apply", shoot(), *words), "must be", text)
        assert not (tmp_path / "out.jpg").exists()

    @pytest.mark.parametrize("folder", ["none", "scout.png"])
    def test_a_missing_folder_is_one_line(self, run, shoot, tmp_path, folder):
        out = tmp_path / folder / "out.png"
        refused(run("apply", shoot(), "--look", "harbour-night", "-o", out), str(out))

    def test_an_unknown_format_is_one_line(self, run, shoot, tmp_path):
        out = tmp_path / "out.gif"
        refused(run("apply", shoot(), "--look", "harbour-night", "-o", out), ".gif", ".png")

    def test_nothing_is_overwritten_unasked(self, run, shoot, tmp_path):
        still, out = shoot(), tmp_path / "out.png"
        out.write_text("the only copy")
        refused(run("apply", still, "--look", "harbour-night", "-o", out), "exists already")
        assert out.read_text() == "the only copy"
        assert (
            run("apply", still, "--look", "harbour-night", "-o", out, "--overwrite").exit_code == 0
        )
        refused(
            run("apply", still, "--look", "harbour-night", "-o", still, "--overwrite"),
            "never overwritten",
        )

    @pytest.mark.parametrize(
        "words",
        [(), ("--look",), ("--look", "a", "--surround", "grey"), ("--look", "a", "--blur", "3")],
    )
    def test_usage_is_status_two(self, run, shoot, words):
        result = run("apply", shoot(), *words)
        assert result.exit_code == 2
        assert "Error: " in result.stderr


class TestLadder:
    def test_the_sheet_is_the_librarys(self, run, shoot, tmp_path):
        still, out = shoot(width=120, height=80), tmp_path / "sheet.png"
        options = ("--strengths", "1/4,1,2", "--close-up", "20,20,40,30", "--width", "900")
        result = run("ladder", still, "--look", "harbour-night", *options, *CAMERA, "-o", out)
        assert result.exit_code == 0, result.output
        picture = recovered(still)
        sheet = fg.ladder(
            picture,
            fg.read_look("harbour-night"),
            camera=THE_CAMERA,
            strengths=("1/4", "1", "2"),
            close_ups=[Region(20, 20, 40, 30)],
            facts=("scout.png",),
            notices=picture.notices,
            width_px=900,
        )
        assert np.array_equal(np.asarray(Image.open(out)), sheet.codes)

    def test_jpeg_too_and_beside_the_still(self, run, shoot, tmp_path):
        still = shoot()
        assert (
            run("ladder", still, "--look", "harbour-night", "-o", tmp_path / "s.jpg").exit_code == 0
        )
        with Image.open(tmp_path / "s.jpg") as sheet:
            assert sheet.format == "JPEG"
        result = run("ladder", still, "--look", "harbour-night")
        assert result.stdout.strip() == str(still.with_name("scout_harbour-night_ladder.png"))

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("--close-up", "1,2,3"), "X,Y,W,H"),
            (("--close-up", "40,0,20,20"), "inside the still's 48 x 32 px"),
            (("--strengths", "0"), "above 0"),
            (("--strengths", "1,x"), "strength must be"),
            (("--columns", "9"), "columns must be"),
            (("--width", "10"), "width_px must be"),
            (("-o", "sheet.tif"), ".png or .jpg"),
        ],
    )
    def test_what_makes_no_sheet_is_one_line(self, run, shoot, tmp_path, monkeypatch, words, said):
        monkeypatch.chdir(tmp_path)
        before = set(tmp_path.iterdir()) | {shoot()}
        refused(run("ladder", shoot(), "--look", "harbour-night", *CAMERA, *words), said)
        assert set(tmp_path.iterdir()) == before


class TestBatch:
    def test_a_folder_is_rendered_with_a_summary(self, run, shoot, tmp_path):
        shoot("in/a.png"), shoot("in/b.png", seed=2)
        words = (
            "batch",
            tmp_path / "in",
            "--look",
            "harbour-night:1/4",
            *CAMERA,
            "--jobs",
            "1",
            "--patience",
            "inf",
        )
        result = run(*words, "-o", tmp_path / "out")
        assert result.exit_code == 0, result.output
        contact = tmp_path / "out" / "contact.pdf"
        assert result.stdout == f"2 rendered; in {tmp_path / 'out'}\n{contact}\n"
        run("apply", tmp_path / "in" / "a.png", *words[2:-4], "-o", tmp_path / "a.png")
        made = tmp_path / "out" / "a_harbour-night_1-4.png"
        assert made.read_bytes() == (tmp_path / "a.png").read_bytes()
        assert run(*words, "-o", tmp_path / "out").stdout.startswith("2 done before")
        assert run(*words, "-o", tmp_path / "out", "--again").stdout.startswith("2 rendered")

    def test_failures_are_named_at_the_end_and_in_json(self, run, shoot, tmp_path):
        shoot("in/a.png")
        bad = tmp_path / "in" / "b.png"
        bad.write_bytes(b"")
        words = (
            "batch",
            tmp_path / "in",
            "--look",
            "harbour-night",
            *CAMERA,
            "--jobs",
            "1",
            "--patience",
            "inf",
        )
        result = run(*words, "-o", tmp_path / "out")
        assert result.exit_code == 1
        assert result.stdout.startswith("1 rendered, 1 failed;")
        assert result.stderr.splitlines()[-1].startswith(f"error: {bad}")
        record = json.loads(run(*words, "-o", tmp_path / "out", "--json").stdout)
        assert (record["rendered"], record["done_before"]) == (0, 1)
        assert list(record["failed"]) == [str(bad)]

    def test_a_dry_run_writes_nothing(self, run, shoot, tmp_path):
        shoot("in/a.jpg")
        words = (
            "batch",
            tmp_path / "in",
            "--look",
            "harbour-night",
            "--format",
            "png",
            "--dry-run",
        )
        result = run(*words, "-o", tmp_path / "out")
        made = tmp_path / "out" / "a_harbour-night_1.png"
        assert result.stdout == f"{tmp_path / 'in' / 'a.jpg'} -> {made}\n"
        record = json.loads(run(*words, "--json", "-o", tmp_path / "out").stdout)
        assert len(record["to_render"]) == 1
        assert not (tmp_path / "out").exists()

    def test_the_stills_folder_is_refused(self, run, shoot, tmp_path):
        shoot("in/a.png")
        folder = tmp_path / "in"
        refused(run("batch", folder, "--look", "harbour-night", "-o", folder), "never overwritten")


class TestLooks:
    def test_every_look_is_listed_with_what_to_watch(self, run):
        result = run("looks")
        assert result.exit_code == 0
        for look in fg.catalogue():
            assert f"{look.name}\n" in result.stdout
            assert look.summary in result.stdout
            assert look.watch in result.stdout

    def test_json_names_them_all(self, run):
        listed = json.loads(run("looks", "--json").stdout)
        assert [look["name"] for look in listed] == list(fg.look_names())


class TestShow:
    def test_json_is_the_librarys_numbers(self, run):
        words = ("show", "late-tram", *CAMERA, "--strengths", "1/4,2", "--width", "2500", "--json")
        record = json.loads(run(*words).stdout)
        look = fg.read_look("late-tram")
        own = [asdict(look_numbers(look.at(s), THE_CAMERA, 2500)) for s in ("1/4", 2)]
        assert record["numbers"] == json.loads(json.dumps(own))
        assert record["camera"] == asdict(THE_CAMERA)
        plate, glow = record["elements"]
        assert plate["facts"][0]["values"] == pytest.approx([8.168] * 3, rel=1e-3)
        assert glow["kind"] == "glow"
        assert glow["optical_depth"] == look.elements[1].optical_depth
        assert glow["lobes"][0]["kind"] == "exponential"

    @pytest.mark.parametrize("name", fg.look_names())
    def test_text_has_every_element_and_stock_strength(self, run, name):
        result = run("show", name, *CAMERA)
        assert result.exit_code == 0, result.output
        assert result.stderr == ""
        lines = result.stdout.splitlines()
        names = {kind: word for word, kind in ELEMENTS.items()}
        for element in fg.read_look(name).elements:
            assert any(line.startswith(f"  {names[type(element)]}: ") for line in lines)
        table = lines[next(i for i, line in enumerate(lines) if line.startswith("strength")) :]
        assert [row.split()[0] for row in table[1:6]] == ["1/8", "1/4", "1/2", "1", "2"]

    def test_a_users_own_file_is_shown_like_a_shipped_one(self, run, tmp_path):
        own = tmp_path / "quiet pier.toml"
        own.write_text(
            'name = "quiet-pier"\nsummary = "s"\nwatch = "w"\n'
            '[[element]]\nkind = "veil"\nveil_share = 0.125\n'
        )
        assert "  veil: veil share 0.125\n" in run("show", own, *CAMERA).stdout

    def test_a_bare_lamp_of_a_haze_is_shown(self, run, tmp_path):
        own = tmp_path / "landing.toml"
        own.write_text(
            'name = "landing"\nsummary = "s"\nwatch = "w"\n'
            '[[element]]\nkind = "haze"\nextinction_per_m = 0.03\n[[element.lamp]]\n'
            "right_m = 2.5\nup_m = 1.0\nforward_m = -3.0\nlevel = 0.75\n"
        )
        shown = "    lamp: right 2.5 m, up 1 m, forward -3 m, level 0.75\n"
        assert shown in run("show", own, *CAMERA).stdout

    def test_a_camera_not_known_is_said(self, run):
        assert "40 degrees" in run("show", "slate-roof").stderr
        refused(run("show", "slate-rof"), "slate-roof")


def test_demo_replaces_nothing_and_needs_a_folder(run, tmp_path):
    there = tmp_path / "bare.png"
    there.write_bytes(b"mine")
    refused(run("demo", "-o", tmp_path), "exists already")
    refused(run("demo", "-o", there / "demo"), "bare.png")
    assert list(tmp_path.iterdir()) == [there]
    assert there.read_bytes() == b"mine"


def test_version_and_help(run):
    assert run("--version").stdout == f"frontglass {fg.__version__}\n"
    shown = run("--help").stdout
    judging = ("compare", "mood", "sway", "measure", "match", "list")
    light = ("distance", "lamps", "ghosts", "merge", "scene")
    for command in ("apply", "ladder", "batch", "looks", "show", "demo", *judging, *light):
        assert f"  {command} " in shown
    assert "..." not in shown.partition("Commands:")[2]


class TestHood:
    """A lamp beside the lens, flagged."""

    def test_flagged_lamp_leaves_every_code(self, run, tmp_path):
        codes = np.random.default_rng(3).integers(0, 256, (9, 16, 3), np.uint8)
        Image.fromarray(codes).save(tmp_path / "scout.png")
        washed, hooded = tmp_path / "washed.png", tmp_path / "hooded.png"
        arguments = ("apply", str(tmp_path / "scout.png"), "--look", "torch-wash")
        assert run(*arguments, "-o", str(washed)).exit_code == 0
        assert run(*arguments, "--hood", "-o", str(hooded)).exit_code == 0
        np.testing.assert_array_equal(np.asarray(Image.open(hooded)), codes)
        assert np.asarray(Image.open(washed), np.float64).mean() > codes.mean() + 0.5
