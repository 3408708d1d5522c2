"""Which scene a still belongs to; stills that changed, moved or went away; lamps.toml."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

import frontglass as fg
from frontglass.errors import FrontglassError
from frontglass.scene.editing import edit_scene
from frontglass.scene.finding import KnownStill, digest_of, found_again, known_still, scenes_for
from frontglass.scene.seeing import found_lamps, seen_still, with_seen


def known(path: Path) -> KnownStill:
    return known_still(path, scenes_for(path.parent))


def start(path: Path, *stills: Path) -> fg.Scene:
    def change(scene: fg.Scene) -> fg.Scene:
        for still in stills:
            scene = with_seen(scene, seen_still(still))
        return scene

    return edit_scene(path, change)


def test_a_still_is_known_by_its_hash_and_size(shoot, tmp_path):
    still = shoot("caf\u00e9 1.png")
    (one,) = start(tmp_path / "scene.toml", still).stills
    assert (one.file, one.size_px, one.sha256) == ("caf\u00e9 1.png", (48, 32), digest_of(still))
    found = known(still)
    assert (found.still, found.notices) == (one, ())


def test_the_scene_beside_the_still_comes_before_one_above(shoot, tmp_path):
    here, deep = shoot("day/a.png"), shoot("day/pier/b.png")
    start(tmp_path / "scene.toml", here, deep)
    assert known(deep).still.file == "day/pier/b.png"
    start(deep.with_name("scene.toml"), deep)
    assert known(deep).still.file == "b.png"
    # One that does not name a still leaves it to the one above that does.
    last = shoot("day/pier/last.png")
    start(tmp_path / "scene.toml", last)
    assert known(last).still.file == "day/pier/last.png"
    assert known(shoot("day/pier/new.png")).scene.path == deep.with_name("scene.toml")
    # One above that does not name it says nothing of it.
    assert known(shoot("day/c.png")).scene is None
    # A file of that name is not always ours.
    (here.parent / "scene.toml").write_text("lights = 3\n")
    (tmp_path / "scene.toml").unlink()
    os.remove(deep.with_name("scene.toml"))
    assert known(deep).scene is None
    with pytest.raises(FrontglassError, match="format is missing"):
        known(here)


def test_a_changed_still_is_said_and_its_marks_stay(shoot, tmp_path):
    still = shoot("a.png")
    start(tmp_path / "scene.toml", still)
    shoot("a.png", seed=2)
    (said,) = known(still).notices
    assert said.startswith(f"{tmp_path / 'scene.toml'}: a.png has changed since")
    start(tmp_path / "scene.toml", still)
    assert known(still).notices == ()


def test_a_moved_still_is_found_by_its_hash(shoot, tmp_path):
    scene = tmp_path / "scene.toml"
    still, other = shoot("a.png"), shoot("b.png", seed=2)
    start(scene, still, other)
    moved = tmp_path / "sorted" / "lamp.png"
    moved.parent.mkdir()
    still.rename(moved)
    found = known(moved)
    assert found.still.file == "a.png"
    assert found.notices == (
        f"{scene}: knows {moved} as a.png, which is gone: it is taken as that.",
    )
    assert found_again(fg.read_scene(scene)) == {"a.png": moved}
    with pytest.raises(
        FrontglassError, match=r"a\.png: there is no such file; by its hash it lies"
    ):
        known(still)
    assert [one.file for one in start(scene, moved).stills] == ["sorted/lamp.png", "b.png"]
    assert (known(moved).notices, found_again(fg.read_scene(scene))) == ((), {})
    other.unlink()
    assert found_again(fg.read_scene(scene)) == {"b.png": None}


def test_a_copy_is_another_still(shoot, tmp_path):
    still = shoot("a.png")
    start(tmp_path / "scene.toml", still)
    copy = tmp_path / "copy.png"
    copy.write_bytes(still.read_bytes())
    assert known(copy).still is None


def test_a_link_to_a_still_is_that_still(shoot):
    still = shoot("in/a.png")
    start(still.with_name("scene.toml"), still)
    link = still.with_name("link.png")
    link.symlink_to(still)
    assert known(link).still.file == "a.png"


def test_names_with_spaces_accents_quotes_and_lines_go_round(shoot, tmp_path):
    names = ["caf\u00e9 \u706f.png", "a\nb.png", "#\"'[x].png", "back\\slash.png", "scene.toml.png"]
    stills = [shoot(name, seed=n) for n, name in enumerate(names)]
    start(tmp_path / "scene.toml", *stills)
    assert [known(still).still.file for still in stills] == names


def test_a_still_that_has_become_smaller_than_its_marks_is_one_line(shoot, tmp_path):
    still = shoot("a.png")
    scene = tmp_path / "scene.toml"
    start(scene, still)
    edit_scene(
        scene,
        lambda one: fg.Scene.from_toml(
            one.to_toml().replace(
                "size = [48, 32]", "size = [48, 32]\n[[still.lamp]]\nat = [40, 3]"
            )
        ).at(scene),
    )
    shoot("a.png", width=30)
    with pytest.raises(FrontglassError, match=r"scene\.toml: lamp at must be inside .* 30 x 32 px"):
        start(scene, still)


def test_lamps_are_found_and_what_is_said_of_them_stays(shoot, tmp_path):
    still = shoot("a.png")
    seen = seen_still(still)
    (lamp,) = found_lamps(seen)
    assert (lamp.at_px, lamp.kind, lamp.stops) == ((16, 16), None, None)
    named = fg.SceneStill(file="a.png", lamps=(fg.SceneLamp(at_px=(16, 16), kind="bulb"),))
    scene = fg.Scene(stills=(named,), path=tmp_path / "scene.toml")
    assert with_seen(scene, seen, lamps=[lamp]).stills[0].lamps == named.lamps
    empty = fg.Scene(path=tmp_path / "scene.toml")
    assert with_seen(empty, seen, lamps=[lamp]).stills[0].lamps == (lamp,)


class TestOldLamps:
    """lamps.toml, where lamps were kept before there were scenes."""

    TEXT = '["a.png"]\nwhite = 20\nlamps = "bulb"\nlamp = ["16,16,globe", "3,4", "5,6,2.5m,8"]\n'

    def test_it_is_a_scene_until_there_is_one(self, shoot, tmp_path):
        still = shoot("a.png")
        (tmp_path / "lamps.toml").write_text(self.TEXT)
        recipe = known(still).scene.recipe(still)
        # As --lamp would have said the same.
        assert recipe.recovery == fg.Recovery(
            clipped="bulb",
            white_cd_per_m2=20,
            marks=(fg.LampMark(16, 16, kind="globe"), fg.LampMark(5, 6, 8)),
        )
        assert recipe.space.lamps == (
            fg.LampPlace(x_px=3, y_px=4),
            fg.LampPlace(x_px=5, y_px=6, distance_m=2.5),
        )

    def test_a_scene_takes_it_over_once(self, shoot, tmp_path):
        still, other = shoot("a.png"), shoot("b.png")
        (tmp_path / "lamps.toml").write_text(self.TEXT)
        before = known(still).scene.recipe(still)
        scene = start(tmp_path / "scene.toml", other)
        assert [one.file for one in scene.stills] == ["a.png", "b.png"]
        assert known(still).scene.recipe(still) == before
        taken_out = tmp_path / "scene.toml"
        text = taken_out.read_text()
        taken_out.write_text(text.replace("white = 20\n", ""))
        assert start(taken_out, other).stills[0].white_cd_per_m2 is None

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("white = 3", "'white' stands alone"),
            ('["other.png"]', "no still 'other.png' lies beside it"),
            ('["a.png"]\nlight = 3', "a.png: unknown key 'light'"),
            ('["a.png"]\nlamps = "bulbs"', "Did you mean bulb?"),
            ('["a.png"]\nlamp = "1,2"', "lamp must be a list of texts"),
            ('["a.png"]\nwhite = -3', "white must be > 0"),
            ("[", "not valid TOML"),
        ],
    )
    def test_a_wrong_word_in_it_is_one_line(self, shoot, tmp_path, text, said):
        still = shoot("a.png")
        (tmp_path / "lamps.toml").write_text(text)
        with pytest.raises(FrontglassError) as caught:
            known(still)
        assert said in str(caught.value)
