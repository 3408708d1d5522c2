"""Every command that takes stills takes what the scene says, and says that it did."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.scene.editing import edit_scene
from frontglass.scene.seeing import seen_still, with_seen
from tests.cli.recce import shot

LOOK = ("--look", "harbour-night:1/2")
LADDER = ("--look", "harbour-night", "--strengths", "1", "--width", "320")
LAMP = fg.SceneLamp(at_px=(54, 44), kind="globe")
WATCH = fg.SceneWatch(name="lamp", region_px=(45, 35, 20, 20))
TYPED = ("--lamp", "54,44,globe", "--white", "20", "--exposure", "-1", "--surround", "dark")
CAMERA = ("--lens", "35", "--stop", "4", "--sensor", "super35")
SAID = "1 lamp, white 20 cd/m2, exposure -1 stops, lens 35mm, stop 4, sensor super35, surround dark"


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def done(*words):
    result = run(*words)
    assert result.exit_code == 0, result.output
    return result


@pytest.fixture
def still(tmp_path):
    """A dim room with two clipped lamps."""
    codes = np.random.default_rng(1).integers(20, 60, (64, 96, 3), np.uint8)
    codes[10:16, 20:26] = codes[40:50, 50:60] = 255
    path = tmp_path / "scout.png"
    Image.fromarray(codes).save(path)
    return path


@pytest.fixture
def scene(still):
    """A scene that says something of everything."""
    path = still.with_name("scene.toml")
    edit_scene(path, lambda one: with_seen(one, seen_still(still)))
    told = {
        "white_cd_per_m2": 20,
        "exposure_stops": -1,
        "lamps": (LAMP,),
        "watched": (WATCH,),
    }
    camera = fg.SceneCamera(lens="35mm", stop="4", sensor="super35")

    def change(one: fg.Scene) -> fg.Scene:
        stills = (replace(one.stills[0], **told),)
        return replace(one, stills=stills, camera=camera, surround="dark")

    edit_scene(path, change)
    return path


def codes_of(path: Path):
    return np.asarray(Image.open(path))


def line_of(result) -> list[str]:
    return [line for line in result.stderr.splitlines() if "scene.toml: " in line]


class TestSameAsTyped:
    """What a scene says gives the picture that the same options give."""

    @pytest.mark.parametrize(
        ("command", "more", "said"),
        [
            ("apply", LOOK, ""),
            (
                "ladder",
                ("--look", "harbour-night", "--strengths", "1", "--width", "320"),
                ", 1 watched part",
            ),
            ("compare", (*LOOK, "--width", "600"), ", 1 watched part"),
            ("distance", ("--room", "back=9"), ""),
        ],
    )
    def test_one_still(self, still, scene, tmp_path, command, more, said):
        result = done(command, still, *more, "-o", tmp_path / "taken.png")
        watched = {"ladder": ("--close-up", "45,35,20,20"), "compare": ("--watch", WATCH.text)}
        options = (*more, *TYPED, *CAMERA, *watched.get(command, ()))
        bare = done(command, still, *options, "--no-scene", "-o", tmp_path / "typed.png")
        assert (tmp_path / "taken.png").read_bytes() == (tmp_path / "typed.png").read_bytes()
        assert line_of(result) == [f"{scene}: {SAID}{said}"]
        assert line_of(bare) == []

    def test_sway(self, still, scene, tmp_path):
        more = ("--look", "late-tram:1", "--width", "64")
        assert line_of(done("sway", still, *more, "-o", tmp_path / "taken.gif")) == [
            f"{scene}: {SAID}"
        ]
        options = (*more, *TYPED, *CAMERA, "--no-scene")
        done("sway", still, *options, "-o", tmp_path / "typed.gif")
        assert (tmp_path / "taken.gif").read_bytes() == (tmp_path / "typed.gif").read_bytes()

    def test_lamps(self, still, scene):
        taken = done("lamps", still, "--json")
        assert line_of(taken) == [f"{scene}: 1 lamp, white 20 cd/m2"]
        typed = done("lamps", still, *TYPED[:4], "--no-scene", "--json")
        assert json.loads(taken.stdout) == json.loads(typed.stdout)

    def test_match_on_a_still(self, still, scene, monkeypatch):
        words = ("match", "harbour-night:1/2", "--with", "late-tram", "--by", "halo", "--on", still)
        handed: list[object] = []

        def meter(picture, camera, *, watched, surround):
            handed.append((picture.recovered.light.sum(), camera, watched, surround))
            raise fg.FrontglassError("seen enough")

        monkeypatch.setattr("frontglass.measurement.still.meter_on_still", meter)
        assert line_of(run(*words)) == [f"{scene}: {SAID}, 1 watched part"]
        run(*words, *TYPED, *CAMERA, "--watch", WATCH.text, "--no-scene")
        assert len(handed) == 2
        assert handed[0] == handed[1]

    def test_measure_takes_the_camera_of_the_scene_named_or_here(self, still, scene, monkeypatch):
        handed: list[fg.Camera] = []

        def measure(_look, camera, *_size):
            handed.append(camera)
            raise fg.FrontglassError("seen enough")

        monkeypatch.setattr("frontglass.measurement.measure.measure", measure)
        named = run("measure", "fine-net:1", "--scene", scene)
        assert line_of(named) == [f"{scene}: lens 35mm, stop 4, sensor super35"]
        monkeypatch.chdir(still.parent)
        assert line_of(run("measure", "fine-net:1")) == [
            "scene.toml: lens 35mm, stop 4, sensor super35"
        ]
        run("measure", "fine-net:1", *CAMERA, "--no-scene")
        assert handed[0] == handed[1] == handed[2]

    def test_mood_cuts_what_the_scene_crops(self, still, scene, tmp_path):
        edit_scene(
            scene,
            lambda one: replace(one, stills=(replace(one.stills[0], crop_px=(0, 8, 96, 40)),)),
        )
        result = done("mood", still, *LOOK, "-o", tmp_path / "board")
        assert line_of(result) == [f"{scene}: {SAID}, crop"]
        assert "data:image" in next((tmp_path / "board").glob("*.html")).read_text()


class TestTakingLens:
    """What the film will be shot with is said once."""

    @pytest.fixture
    def phone(self, tmp_path):
        """A still of a phone, and its scene: shot as 50 mm on Super 35, a little to the left."""
        still = shot(tmp_path / "phone.jpg")
        path = tmp_path / "scene.toml"
        camera = fg.SceneCamera(taking="50mm,super35,2.39,T2.8", stop="4", aim="40,30")
        parts = (
            fg.SceneWatch(name="lamp", region_px=(30, 25, 10, 8)),
            fg.SceneWatch(name="black", region_px=(1, 1, 8, 8)),
        )

        def change(one: fg.Scene) -> fg.Scene:
            one = with_seen(one, seen_still(still))
            return replace(one, camera=camera, stills=(replace(one.stills[0], watched=parts),))

        edit_scene(path, change)
        return still

    def test_a_still_is_cut_as_the_scene_says(self, phone, tmp_path):
        taken = done("apply", phone, *LOOK, "-o", tmp_path / "taken.png")
        assert line_of(taken) == [
            f"{tmp_path / 'scene.toml'}: as 50mm,super35,2.39,T2.8, aim 40,30"
        ]
        typed = ("--as", "50mm,super35,2.39,T2.8", "--aim", "40,30", "--no-scene")
        done("apply", phone, *LOOK, *typed, "-o", tmp_path / "typed.png")
        assert (tmp_path / "taken.png").read_bytes() == (tmp_path / "typed.png").read_bytes()
        assert codes_of(tmp_path / "taken.png").shape[1] < 50

    def test_a_stop_that_is_typed_wins_over_the_one_in_the_text(self, phone, tmp_path):
        options = ("--stop", "8", "-o", tmp_path / "out.png", "--json")
        assert json.loads(done("apply", phone, *LOOK, *options).stdout)["camera"]["f_number"] == 8

    def test_what_is_watched_outside_of_the_frame_is_left_out_and_said(self, phone, tmp_path):
        words = ("compare", phone, *LOOK, "--width", "600", "-o", tmp_path / "out.png", "--json")
        result = done(*words)
        assert list(json.loads(result.stdout)["watched"]) == ["lamp"]
        assert "note: black lies outside the frame of the taking lens" in result.stderr
        # What is typed there is a mistake.
        assert run(*words, "--watch", "black:1,1,8,8", "--overwrite").exit_code == 1


class TestTypedWins:
    def test_an_option_wins_and_is_not_said_to_be_the_scenes(self, still, scene, tmp_path):
        before = scene.read_bytes()
        options = ("--white", "9", "--exposure", "0", "--surround", "mirror", "--lens", "85")
        result = done("apply", still, *LOOK, *options, "-o", tmp_path / "out.png", "--json")
        assert line_of(result) == [f"{scene}: 1 lamp, stop 4, sensor super35"]
        assert json.loads(result.stdout)["camera"]["focal_length_mm"] == 85
        assert scene.read_bytes() == before

    @pytest.mark.usefixtures("scene")
    def test_clipped_off_leaves_lamps_out(self, still, tmp_path):
        off = ("--clipped", "off", "-o", tmp_path / "out.png")
        assert "1 lamp" not in "".join(line_of(done("apply", still, *LOOK, *off)))

    def test_a_scene_elsewhere_is_named(self, still, scene, tmp_path):
        elsewhere = tmp_path / "plans" / "pier.toml"
        elsewhere.parent.mkdir()
        text = scene.read_text().replace('file = "scout.png"', 'file = "../scout.png"')
        elsewhere.write_text(text.replace("white = 20", "white = 30"))
        result = done("lamps", still, "--scene", elsewhere)
        assert line_of(result) == []
        assert f"{elsewhere}: 1 lamp, white 30 cd/m2" in result.stderr
        both = run("lamps", still, "--scene", elsewhere, "--no-scene")
        assert both.exit_code == 1
        assert "scene must be given without --no-scene" in both.stderr

    def test_a_still_that_the_scene_does_not_name_takes_what_all_share(self, still, scene):
        other = still.with_name("other.png")
        other.write_bytes(still.read_bytes())
        result = done("apply", other, *LOOK)
        words = "lens 35mm, stop 4, sensor super35, surround dark, other.png is not in it"
        assert line_of(result) == [f"{scene}: {words}"]

    def test_a_changed_still_is_a_note(self, still, scene):
        codes = codes_of(still).copy()
        codes[0, 0] = 70
        Image.fromarray(codes).save(still)
        result = done("lamps", still)
        assert f"note: {scene}: scout.png has changed since" in result.stderr

    @pytest.mark.parametrize("text", ["format = 1\nlamp = 3\n", "format = 9\n", "["])
    def test_a_scene_that_is_not_understood_is_one_line(self, still, scene, text):
        scene.write_text(text)
        result = run("apply", still, *LOOK)
        assert result.exit_code == 1
        assert result.stderr.startswith(f"error: {scene}: ")
        assert result.stderr.count("\n") == 1
        assert scene.read_text() == text


class TestKept:
    """Where no look is typed, what was kept is taken."""

    def keep(self, scene, *choices):
        edit_scene(scene, lambda one: replace(one, choices=choices))

    def test_one_choice_needs_no_look(self, still, scene, tmp_path):
        self.keep(scene, fg.SceneChoice(looks=("harbour-night:1/2", "late-tram:1/4")))
        result = done("apply", still, "-o", tmp_path / "kept.png")
        assert line_of(result) == [f"{scene}: harbour-night:1/2+late-tram:1/4, {SAID}"]
        look = ("--look", "harbour-night:1/2+late-tram:1/4")
        done("apply", still, *look, "-o", tmp_path / "typed.png")
        assert (tmp_path / "kept.png").read_bytes() == (tmp_path / "typed.png").read_bytes()

    def test_several_choices_make_several_pictures(self, still, scene):
        kept = [fg.SceneChoice(looks=(look,)) for look in ("slate-roof:1/4", "late-tram:1/2")]
        self.keep(scene, *kept, fg.SceneChoice(looks=("late-tram:1/2",), stills=("scout.png",)))
        result = done("apply", still)
        assert [Path(line).name for line in result.stdout.splitlines()] == [
            "scout_slate-roof_1-4.png",
            "scout_late-tram_1-2.png",
        ]
        batch = done(
            "batch",
            still,
            "-o",
            still.with_name("out"),
            "--jobs",
            "1",
            "--patience",
            "inf",
            "--json",
        )
        assert json.loads(batch.stdout)["rendered"] == 2

    def test_without_a_look_anywhere_it_is_a_word_on_usage(self, still, scene):
        result = run("apply", still)
        assert result.exit_code == 2
        assert "no scene keeps one" in result.stderr
        assert run("apply", still, "--no-scene").exit_code == 2
        self.keep(scene, fg.SceneChoice(looks=("glas:1",)))
        assert "look must be a file" in run("apply", still).stderr


class TestBatch:
    def test_each_still_has_its_own_marks_and_is_made_anew_when_they_change(
        self, still, scene, tmp_path
    ):
        other = still.with_name("other.png")
        other.write_bytes(still.read_bytes())
        edit_scene(scene, lambda one: with_seen(one, seen_still(other)))
        out = tmp_path / "out"
        words = (
            "batch",
            still,
            other,
            *LOOK,
            "-o",
            out,
            "--jobs",
            "1",
            "--patience",
            "inf",
            "--json",
        )
        first = done(*words)
        assert json.loads(first.stdout)["rendered"] == 2
        shared = "lens 35mm, stop 4, sensor super35, surround dark"
        own = "1 lamp, white of 1 still, exposure of 1 still"
        assert line_of(first) == [f"{scene}: {own}, {shared}"]
        before = {path.name: path.read_bytes() for path in out.glob("*.png")}
        assert before.pop(Path(next(n for n in before if n.startswith("other"))).name)
        assert json.loads(done(*words).stdout)["done_before"] == 2
        done("scene", "lamp", other, "--at", "22,12", "--kind", "bulb")
        again = json.loads(done(*words).stdout)
        assert (again["rendered"], again["done_before"]) == (1, 1)
        after = {path.name: path.read_bytes() for path in out.glob("scout*.png")}
        assert after == before
        # What is only said, and decides no pixel, makes nothing anew.
        done("scene", "still", other, "--note", "a kiosk")
        assert json.loads(done(*words).stdout)["done_before"] == 2
