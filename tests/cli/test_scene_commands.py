"""``frontglass scene`` starts, changes and shows a scene; what is wrong is one line."""

from __future__ import annotations

import json
import os

import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from tests.cli.recce import shot


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def refused(result, *said):
    assert result.exit_code == 1, result.output
    assert result.stderr.startswith("error: ")
    assert result.stderr.count("\n") == 1
    for words in said:
        assert words in result.stderr


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A recce: landscape, portrait, one that is broken and one that is of another format."""
    shot(tmp_path / "Caf\u00e9 \u00e9t\u00e9 1.jpg")
    shot(tmp_path / "turned.jpg", orientation=6)
    (tmp_path / "broken.jpg").write_bytes((tmp_path / "turned.jpg").read_bytes()[:900])
    (tmp_path / "IMG_001.WEBP").write_bytes(b"RIFF")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def scene(folder):
    """The scene of a landscape and a portrait still."""
    result = run("scene", "Caf\u00e9 \u00e9t\u00e9 1.jpg", "turned.jpg")
    assert result.exit_code == 0, result.output
    return folder / "scene.toml"


CAFE = "Caf\u00e9 \u00e9t\u00e9 1.jpg"


class TestStart:
    def test_a_folder_is_taken_in_and_what_cannot_be_read_is_named(self, folder):
        result = run("scene", ".", "--title", "Gate 2", "--as", "50mm,super35,2.39")
        assert result.exit_code == 1
        head, cafe, turned, last = result.stdout.splitlines()
        assert head.split() == ["still", "size", "lens", "white", "clipped", "lamps"]
        assert "96 x 64" in cafe
        assert "6.8 mm (26 mm on full frame) f/1.8  49 cd/m2" in cafe
        assert "54,44" in cafe
        assert "64 x 96" in turned
        assert last == "scene.toml: 2 stills"
        said = result.stderr.splitlines()
        assert said[0] == (
            "error: IMG_001.WEBP: is WEBP, which cannot be read; save it as JPEG, PNG or TIFF."
        )
        assert said[1] == "note: scene.toml: started."
        assert said[2].startswith("error: broken.jpg: The JPEG file is cut short")
        assert said[2].endswith("Left out.")
        assert len(said) == 3
        scene = fg.read_scene(folder)
        assert (scene.title, scene.camera.taking) == ("Gate 2", "50mm,super35,2.39")
        assert {lamp.at_px for lamp in scene.named(CAFE).lamps} == {(22, 12), (54, 44)}
        text = (folder / "scene.toml").read_text(encoding="utf-8")
        assert "[[still]] # 6.8 mm (26 mm on full frame) f/1.8, white 49 cd/m2" in text

    def test_nothing_but_bad_files_starts_nothing(self, folder):
        refused(run("scene", "broken.jpg"), "broken.jpg", "Left out")
        assert not (folder / "scene.toml").exists()

    def test_stills_are_added_and_what_is_said_stays(self, scene):
        assert run("scene", "still", CAFE, "--white", "20", "--note", "kiosk").exit_code == 0
        before = fg.read_scene(scene).named(CAFE)
        shot(scene.with_name("b.jpg"))
        assert run("scene", "start", CAFE, "b.jpg").exit_code == 0
        after = fg.read_scene(scene)
        assert after.named(CAFE) == before
        assert [one.file for one in after.stills] == [CAFE, "turned.jpg", "b.jpg"]

    def test_stills_of_several_folders_share_the_one_above(self, folder, monkeypatch):
        for name in ("day", "night"):
            (folder / name).mkdir()
            shot(folder / name / "a.jpg")
        assert run("scene", "day/a.jpg", "night/a.jpg").exit_code == 0
        assert [one.file for one in fg.read_scene(folder).stills] == ["day/a.jpg", "night/a.jpg"]
        # From then on it is found from either folder.
        assert run("scene", "still", "night/a.jpg", "--white", "9").stdout.startswith("scene.toml:")
        assert not (folder / "night" / "scene.toml").exists()
        # A still that comes later goes where those beside it are.
        shot(folder / "night" / "b.jpg")
        assert run("scene", "still", "night/b.jpg", "--white", "9").stdout.startswith("scene.toml:")
        assert fg.read_scene(folder).named("night/b.jpg").white_cd_per_m2 == 9
        monkeypatch.chdir(folder / "night")
        assert run("scene", "keep", "fine-net:1").stdout.startswith("../scene.toml: 1 choice")

    def test_what_our_commands_wrote_beside_a_still_is_left_out(self, folder):
        for name in ("turned_harbour-night_1-4.jpg", "turned_compare.png", "turned_2.jpg"):
            shot(folder / name)
        result = run("scene", "turned.jpg", *sorted(folder.glob("turned_*")))
        assert "turned_compare.png, turned_harbour-night_1-4.jpg" in result.stderr
        assert {one.file for one in fg.read_scene(folder).stills} == {"turned.jpg", "turned_2.jpg"}

    def test_a_misspelt_command_is_no_still(self):
        result = run("scene", "lmap", CAFE, "--at", "1,2")
        assert result.exit_code == 2
        assert "Did you mean lamp?" in result.stderr

    def test_a_name_that_is_not_utf_8_is_left_out(self, folder):
        bad = os.path.join(os.fsencode(folder), b"caf\xe9.jpg")
        try:
            shot(folder / "a.jpg").rename(os.fsdecode(bad))
        except OSError:
            pytest.skip("this file system takes no such name")
        result = run("scene", os.fsdecode(bad), "turned.jpg")
        assert result.exit_code == 1
        assert "a name in UTF-8" in result.stderr
        assert [one.file for one in fg.read_scene(folder).stills] == ["turned.jpg"]

    def test_lamps_toml_is_taken_over(self, folder):
        (folder / "lamps.toml").write_text('["turned.jpg"]\nlamp = ["54,22,bulb"]\n')
        result = run("scene", CAFE)
        assert "note: lamps.toml: taken over into scene.toml" in result.stderr
        assert fg.read_scene(folder).named("turned.jpg").lamps[0].kind == "bulb"


class TestMarks:
    def test_a_lamp_is_named_in_its_place_and_its_light_is_said(self, scene):
        result = run("scene", "lamp", CAFE, "--at", "54,44", "--kind", "globe")
        assert result.exit_code == 0, result.output
        assert result.stdout.startswith(f"{CAFE}: 54,44, globe, ")
        assert "stops above white" in result.stdout
        run("scene", "lamp", CAFE, "--at", "22,12", "--stops", "5", "--distance", "3.5m")
        lamps = {lamp.at_px: lamp for lamp in fg.read_scene(scene).named(CAFE).lamps}
        assert lamps == {
            (54, 44): fg.SceneLamp(at_px=(54, 44), kind="globe"),
            (22, 12): fg.SceneLamp(at_px=(22, 12), stops=5, distance_m=3.5),
        }
        assert run("scene", "lamp", CAFE, "--at", "53,45", "--remove").exit_code == 0
        assert [one.at_px for one in fg.read_scene(scene).named(CAFE).lamps] == [(22, 12)]

    def test_distances_watched_parts_and_the_rest_come_and_go(self, scene):
        (scene.parent / "d.exr").write_bytes(b"")
        for words in (
            ("distance", CAFE, "--at", "10,20", "--metres", "4"),
            ("distance", CAFE, "--room", "back=9"),
            ("watch", CAFE, "face:5,5,20,20", "black:1,1,9,9"),
            ("still", CAFE, "--exposure", "1", "--crop", "0,4,96,40", "--lens", "35mm"),
            ("still", CAFE, "--white", "20", "--lamps", "bulb", "--note", "a kiosk"),
            ("distance", "turned.jpg", "--map", "d.exr", "--map-scale", "0.001", "--map-is", "ray"),
            ("camera", "--as", "50mm,super35", "--stop", "2.8", "--surround", "dark"),
        ):
            result = run("scene", *words)
            assert result.exit_code == 0, result.output
            assert result.stdout.startswith("scene.toml: ")
        one = fg.read_scene(scene).named(CAFE)
        assert one.distances == (fg.SceneDistance(at_px=(10, 20), distance_m=4),)
        assert [part.name for part in one.watched] == ["face", "black"]
        assert (one.exposure_stops, one.crop_px, one.room) == (1, (0, 4, 96, 40), "back=9")
        assert fg.read_scene(scene).named("turned.jpg").map == "d.exr"
        for words in (
            ("distance", CAFE, "--remove"),
            ("distance", "turned.jpg", "--remove"),
            ("watch", CAFE, "black", "--remove"),
            ("still", CAFE, *(f"--clear={key}" for key in ("white", "crop", "exposure", "note"))),
            ("camera", "--clear", "as", "--clear", "surround"),
        ):
            result = run("scene", *words)
            assert result.exit_code == 0, result.output
        one = fg.read_scene(scene).named(CAFE)
        assert (one.distances, one.room, one.white_cd_per_m2, one.note) == ((), None, None, None)
        assert [part.name for part in one.watched] == ["face"]
        assert fg.read_scene(scene).named("turned.jpg").map is None
        assert fg.read_scene(scene).camera == fg.SceneCamera(stop="2.8")
        assert run("scene", "still", CAFE, "--remove").exit_code == 0
        assert [one.file for one in fg.read_scene(scene).stills] == ["turned.jpg"]
        assert (scene.parent / CAFE).exists()

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("lamp", CAFE, "--at", "54,44"), "lamp must be told by --kind, --stops"),
            (("lamp", CAFE, "--at", "54", "--kind", "bulb"), "at must be X,Y in pixels"),
            (("lamp", CAFE, "--at", "54,44", "--kind", "bulbs"), "Did you mean bulb?"),
            (("lamp", CAFE, "--at", "154,44", "--kind", "bulb"), "inside the still's 96 x 64 px"),
            (("lamp", CAFE, "--at", "80,5", "--kind", "bulb"), "clipped"),
            (("lamp", CAFE, "--at", "80,60", "--remove"), "where a lamp is kept"),
            (("lamp", CAFE, "--at", "1,1", "--kind", "sun", "--remove"), "given with --at alone"),
            (("lamp", "none.jpg", "--at", "1,1", "--kind", "sun"), "none.jpg"),
            (("distance", CAFE, "--at", "5,5"), "told by --at and --metres together"),
            (("distance", CAFE), "told by --at and --metres, --room or --map"),
            (("distance", CAFE, "--at", "5,5", "--metres", "far"), "metres must be a distance"),
            (("distance", CAFE, "--at", "99,5", "--metres", "3"), "distance at must be inside"),
            (("watch", CAFE, "face"), "watch must be NAME:X,Y,W,H"),
            (("watch", CAFE, "face:90,5,20,20"), "watch face must be inside"),
            (("watch", CAFE, "face", "--remove"), "a part that is watched (none)"),
            (("still", CAFE), "still must be told something"),
            (("still", CAFE, "--white", "-3"), "white must be > 0"),
            (("still", CAFE, "--clear", "whit"), "clear must be one of"),
            (("still", "none.jpg", "--white", "3"), "has no such still"),
            (("still", "none.jpg", "--remove"), "still must be a still of the scene"),
            (("keep", "harbour-nigth:1/4"), "Did you mean harbour-night?"),
            (("keep", "fine-net:1", "--still", "none.jpg"), "The scene has Caf\u00e9"),
            (("keep", "fine-net:1", "--hearts", "-1"), "hearts must be >= 0"),
            (("keep", "fine-net:1", "--remove"), "one that is kept (none)"),
            (("camera",), "camera must be told something"),
            (("camera", "--lens", "long"), "lens must be a focal length"),
            (("camera", "--clear", "lense"), "clear must be one of as"),
            (("show", "--scene", "none.toml"), "there is no scene; frontglass scene STILLS"),
        ],
    )
    def test_nonsense_is_one_line_and_changes_nothing(self, scene, words, said):
        before = scene.read_bytes()
        refused(run("scene", *words), said)
        assert scene.read_bytes() == before


class TestKeep:
    def test_choices_are_kept_changed_and_taken_out(self, scene):
        assert run("scene", "keep", "harbour-night:1/4", "--why", "Faces stay.").exit_code == 0
        words = ("late-tram:1/2+powder-room", "--still", "turned.jpg", "--hearts", "2")
        stacked = run("scene", "keep", *words)
        assert "powder-room is at strength 1" in stacked.stderr
        assert run("scene", "keep", "harbour-night:0.25", "--hearts", "3").exit_code == 0
        first, second = fg.read_scene(scene).choices
        assert first == fg.SceneChoice(looks=("harbour-night:1/4",), why="Faces stay.", hearts=3)
        assert second.looks == ("late-tram:1/2", "powder-room:1")
        assert second.stills == ("turned.jpg",)
        refused(run("scene", "still", "turned.jpg", "--remove"), "was kept for it")
        assert run("scene", "keep", *words[:1], "--remove").exit_code == 0
        assert fg.read_scene(scene).choices == (first,)

    def test_a_look_of_ones_own_is_kept_by_its_path_from_the_scene(self, scene, monkeypatch):
        below = scene.parent / "looks"
        below.mkdir()
        (below / "pier.toml").write_text(fg.read_look("fine-net").to_toml())
        monkeypatch.chdir(below)
        result = run("scene", "keep", "pier.toml:1/2", "--scene", "../scene.toml")
        assert result.exit_code == 0, result.output
        (choice,) = fg.read_scene(scene).choices
        assert choice.looks == ("looks/pier.toml:1/2",)


@pytest.mark.usefixtures("scene")
class TestTable:
    def test_it_is_a_table_to_read(self):
        run("scene", "lamp", CAFE, "--at", "54,44", "--kind", "globe")
        run("scene", "still", CAFE, "--white", "20")
        run("scene", "keep", "harbour-night:1/4", "--why", "Faces stay.", "--hearts", "3")
        run("scene", "camera", "--title", "After the last ferry", "--stop", "2.8")
        lines = run("scene", "show").stdout.splitlines()
        assert lines[:2] == ["After the last ferry", "  stop 2.8"]
        assert any(
            line.startswith(CAFE) and "lamp: globe, white 20 cd/m2" in line for line in lines
        )
        assert f"not named yet in {CAFE}: 22,12" in lines
        assert lines[-1].split("  ")[0] == "harbour-night:1/4"
        assert "\u2665\u2665\u2665" in lines[-1]
        assert "Faces stay." in lines[-1]
        record = json.loads(run("scene", "show", "--json").stdout)
        assert record["still"][0]["white"] == 20
        assert record["choice"][0]["hearts"] == 3


class TestShow:
    def test_what_is_gone_moved_or_changed_is_said_in_a_line_each(self, scene):
        (scene.parent / CAFE).rename(scene.with_name("moved.jpg"))
        shot(scene.with_name("turned.jpg"), size=(90, 60))
        text = scene.read_text(encoding="utf-8")
        scene.write_text(text + '[[choice]]\nlooks = ["glas:1"]\n', encoding="utf-8")
        said = run("scene", "show").stderr.splitlines()
        assert len(said) == 3
        assert f"{CAFE}: is not there; it lies at moved.jpg now" in said[0]
        assert "turned.jpg: has changed since" in said[1]
        assert "choice glas:1: look must be" in said[2]


def test_help_is_in_whole_sentences():
    shown = run("scene", "--help").stdout
    assert "STILLS... | COMMAND" in shown
    assert "..." not in shown.partition("Commands:")[2]
    assert run("scene").stderr == shown
    for command in ("start", "lamp", "distance", "watch", "still", "keep", "camera", "show"):
        assert run("scene", command, "--help").exit_code == 0
