"""Commands that measure, compare, match, make boards and move the camera."""

from __future__ import annotations

import csv
import io
import json

import pytest
from PIL import Image
from typer.testing import CliRunner, Result

import frontglass as fg
from frontglass.cli.app import app
from frontglass.measurement.measure import measure
from frontglass.measurement.watch import WatchedRegion, region_numbers

CAMERA = ("--lens", "50mm", "--stop", "f/2.8", "--sensor", "super35-3perf")
THE_CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.89)


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def refused(result: Result, *said: str) -> None:
    assert result.exit_code == 1, result.output
    assert result.stderr.startswith("error: ")
    assert result.stderr.count("\n") == 1
    for words in said:
        assert words in result.stderr


class TestMeasure:
    def test_table_json_csv_and_picture_say_the_same(self, tmp_path):
        words = ("measure", "slate-roof", "wet-quay:1/2", "--width", "1024", *CAMERA)
        files = ("--csv", tmp_path / "a.csv", "-o", tmp_path / "a.png")
        result = run(*words, *files, "--json")
        assert result.exit_code == 0, result.output
        told = json.loads(result.stdout)
        want = measure(fg.read_look("wet-quay").at("1/2"), THE_CAMERA, 1024, 576)
        got = told["looks"][1]
        assert (got["name"], got["strength"]) == ("wet-quay", 0.5)
        assert got["plateau"] == want.plateau
        assert got["halo"]["half_energy_deg"] == want.halo.half_energy_deg
        assert len(got["curve"]["held"]) == len(got["curve"]["frequency_per_px"])
        rows = list(csv.DictReader(io.StringIO((tmp_path / "a.csv").read_text())))
        assert float(rows[1]["plateau"]) == want.plateau
        with Image.open(tmp_path / "a.png") as picture:
            assert picture.width == 1600
        text = run(*words).stdout
        assert "wet-quay 1/2" in text
        assert f"{want.halo.half_energy_deg:.3g} deg" in text

    def test_every_look_at_every_strength(self):
        result = run("measure", "slate-roof", "--strengths", "1/4,2", "--width", "256", *CAMERA)
        assert "slate-roof 1/4  slate-roof 2" in result.stdout

    def test_nothing_is_overwritten(self, tmp_path):
        (tmp_path / "a.csv").write_text("mine")
        result = run("measure", "slate-roof", "--csv", tmp_path / "a.csv")
        refused(result, "exists already")
        refused(run("measure", "slate-roof", "-o", tmp_path / "a.tif"), ".png or .jpg")


class TestCompare:
    def test_numbers_are_the_librarys(self, shoot, tmp_path):
        still = shoot()
        out = tmp_path / "sheet.png"
        result = run(
            *("compare", still, "--look", "slate-roof:1", "--look", "powder-room", *CAMERA),
            *("--watch", "lamp:4,4,30,20", "--watch", "mug:0,0,16,12", "-o", out, "--json"),
        )
        assert result.exit_code == 0, result.output
        told = json.loads(result.stdout)
        assert list(told["watched"]) == ["lamp", "mug"]
        bare = fg.with_recovered_light(fg.read_picture(still)).picture
        how = {"lens_mm": 50, "f_number": 2.8, "sensor": "super35-3perf"}
        size = {"width_px": bare.width_px, "height_px": bare.height_px}
        camera = fg.choose_camera(bare.shot, **size, **how).camera
        seen = fg.render(bare, [fg.read_look("slate-roof")], camera=camera)
        part = WatchedRegion.from_text("lamp:4,4,30,20")
        want = region_numbers(part, seen, bare, camera)
        assert told["watched"]["lamp"]["slate-roof 1"]["black_stops"] == want.black_stops
        with Image.open(out) as sheet:
            assert sheet.width == 1240

    def test_a_name_beside_the_still(self, shoot):
        still = shoot()
        result = run("compare", still, "--look", "slate-roof", *CAMERA, "--width", "600")
        assert result.stdout.strip().endswith("scout_compare.png")
        refused(run("compare", still, "--look", "slate-roof", *CAMERA), "exists already")

    def test_a_part_outside_is_one_line(self, shoot):
        result = run("compare", shoot(), "--look", "slate-roof", "--watch", "face:40,0,30,30")
        refused(result, "inside the still")


class TestMatch:
    def test_a_look_matches_itself(self):
        words = ("match", "slate-roof:0.3", "--with", "slate-roof", "--by", "black", *CAMERA)
        told = json.loads(run(*words, "--json").stdout)
        assert told["matched"]["strength"] == pytest.approx(0.3, rel=1e-3)
        assert told["stock"]["strength"] == 0.25
        text = run(*words).stdout
        assert text.startswith("slate-roof 0.3 equals slate-roof 0.3 in black.")
        assert "Nearest stock strength: 1/4" in text

    def test_on_a_still(self, shoot):
        words = ("match", "slate-roof:1/2", "--with", "slate-roof", "--by", "black", *CAMERA)
        result = run(*words, "--on", shoot(), "--watch", "black:0,0,20,20")
        assert "1/2 is a stock strength." in result.stdout

    def test_no_match_says_why_and_ends_with_status_1(self):
        result = run("match", "slate-roof:1/2", "--with", "lamps-only", "--by", "black", *CAMERA)
        assert result.exit_code == 1
        assert result.stdout == "no match: lamps-only does nothing to speak of in black.\n"

    def test_parts_need_a_still(self):
        result = run("match", "slate-roof", "--with", "slate-roof", "--watch", "face:0,0,9,9")
        refused(result, "--on STILL")


class TestMood:
    def test_a_board_of_two_stills_and_two_looks(self, shoot, tmp_path):
        stills = [shoot("one.png"), shoot("two.png", seed=2, width=32, height=48)]
        out = tmp_path / "board"
        words = ("mood", *stills, "--look", "late-tram:1/2", "--look", "slate-roof+bakery-window")
        who = ("--project", "Ferry", "--date", "2 June", "--contact", "Ines <a@b.example>")
        result = run(
            *(*words, *CAMERA, *who, "--caption", "First", "--aspect", "2.39", "--wipe", "-o", out)
        )
        assert result.exit_code == 0, result.output
        assert "note: one.png, two.png: cropped by what stands out" in result.stderr
        names = sorted(path.name for path in out.iterdir())
        assert names == ["board.html", "board.pdf", "board_01.png", "board_02.png"]
        text = (out / "board.html").read_text(encoding="utf-8")
        assert "First</h2>" in text
        assert "two</h2>" in text
        assert text.count('role="slider"') == 4
        assert "slate-roof 1 + bakery-window 1</strong>" in text
        assert "<p>Ferry</p><p>2 June</p><p>Ines &lt;a@b.example&gt;</p>" in text
        refused(run(*words, *CAMERA, "-o", out), "exists already")

    def test_a_folder_with_a_broken_still_makes_a_board_of_the_others(self, shoot, tmp_path):
        shoot("in/one.png")
        (tmp_path / "in" / "broken.jpg").write_bytes(b"")
        (tmp_path / "in" / "more.webp").write_bytes(b"")
        result = run("mood", tmp_path / "in", "--look", "slate-roof", "-o", tmp_path / "board")
        assert result.exit_code == 1
        assert "board.html" in result.stdout
        assert "broken.jpg" in result.stderr
        assert "more.webp" in result.stderr

    def test_a_crop_for_each_still(self, shoot, tmp_path, monkeypatch):
        from frontglass.cli import mood

        regions = []
        whole = mood.Shown.region

        def heard(shown, picture):
            regions.append(whole(shown, picture)[0])
            return whole(shown, picture)

        monkeypatch.setattr(mood.Shown, "region", heard)
        stills = [shoot(f"{name}.png") for name in ("a", "b", "c")]
        crops = ("--crop", "a.png=0", "--crop", "b.png=8,4,24,20", "--crop-from", "1")
        words = ("--look", "slate-roof", "--aspect", "3", *crops, "-o", tmp_path / "board")
        assert run("mood", *stills, *words).exit_code == 0
        assert regions == [
            fg.Region(0, 0, 48, 16),
            fg.Region(8, 16, 24, 8),
            fg.Region(0, 16, 48, 16),
        ]
        for crop, said in (
            ("d.png=0", "one of the stills"),
            ("a.png", "STILL="),
            ("a.png=x", "0 to 1"),
        ):
            result = run("mood", *stills, "--look", "slate-roof", "--crop", crop, "-o", tmp_path)
            refused(result, said)

    def test_too_many_captions(self, shoot, tmp_path):
        words = ("--look", "late-tram", "--caption", "a", "--caption", "b", "-o", tmp_path / "b")
        refused(run("mood", shoot(), *words), "1 stills at most")


class TestSway:
    def test_a_loop_and_its_verdict(self, shoot, tmp_path):
        out = tmp_path / "loop.webp"
        result = run(
            *("sway", shoot(width=96, height=64), "--look", "harbour-night", *CAMERA),
            *("--pan", "0.5", "-o", out),
        )
        assert result.exit_code == 0, result.output
        assert result.stdout.splitlines()[1].startswith("At 50 mm and f/2.8: needles")
        with Image.open(out) as loop:
            assert loop.format == "WEBP"

    def test_another_format_is_one_line(self, shoot, tmp_path):
        result = run("sway", shoot(), "--look", "harbour-night", "-o", tmp_path / "a.avi")
        refused(result, ".webp, .gif or .mp4")
