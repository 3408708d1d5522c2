"""Scenes are read strictly: what is not understood is an error of one line, with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

import frontglass as fg
from frontglass.errors import FrontglassError

HEAD = "format = 1\n"
STILL = HEAD + '[[still]]\nfile = "night1.jpg"\nsize = [96, 64]\n'
LAMP = STILL + "[[still.lamp]]\n"

FULL = """\
format = 1
title = "After the last ferry"
surround = "dark"
view = "clip"

[camera]
as = "50mm,super35,2.39"
lens = 26
stop = 1.8
sensor = "super35"
aim = [40, 30]

[[still]]
file = "nacht/caf\u00e9 1.jpg"
hash = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
size = [96, 64]
white = 25
lamps = "bulb"
exposure = -1.5
crop = [0, 4, 96, 40]
note = \"\"\"The kiosk
is lit\"\"\"
room = "camera=1.6,back=9"
lens = "35mm"

[[still.lamp]]
at = [14, 41.5]
kind = "globe"
distance = 3.5

[[still.lamp]]
at = [50, 6]
stops = 8

[[still.lamp]]
at = [70, 6]

[[still.distance]]
at = [64, 15]
metres = 9.6

[[still.watch]]
name = "face 1"
region = [60, 30, 20, 12]

[[still]]
file = "b.jpg"
lamps = 4
map = "b_distance.png"
map_scale = 0.001
map_is = "ray"

[[choice]]
looks = ["harbour-night:1/4"]
why = "Lamps swell, faces stay."
hearts = 3
name = "the cool one"

[[choice]]
looks = ["mine/quiet-pier.toml:1/2", "powder-room:1"]
still = ["b.jpg", "./nacht/caf\u00e9 1.jpg"]
"""


def refusal(text: str) -> str:
    with pytest.raises(FrontglassError) as caught:
        fg.Scene.from_toml(text)
    said = str(caught.value)
    assert said.startswith("scene.toml: ")
    assert "\n" not in said
    return said


def test_everything_a_scene_may_say_is_read():
    scene = fg.Scene.from_toml(FULL)
    first, second = scene.stills
    assert scene.camera == fg.SceneCamera(
        taking="50mm,super35,2.39", lens="26", stop="1.8", sensor="super35", aim="40,30"
    )
    assert (scene.surround, scene.view) == ("dark", "clip")
    assert first.lamps[0] == fg.SceneLamp(at_px=(14, 41.5), kind="globe", distance_m=3.5)
    assert [lamp.is_named for lamp in first.lamps] == [True, True, False]
    assert [lamp.glows for lamp in first.lamps] == [True, False, False]
    assert first.distances == (fg.SceneDistance(at_px=(64, 15), distance_m=9.6),)
    assert first.watched[0].text == "face 1:60,30,20,12"
    assert (first.white_cd_per_m2, first.others, first.exposure_stops) == (25, "bulb", -1.5)
    assert (second.others, second.map_scale_m, second.map_kind) == (4, 0.001, "ray")
    assert scene.choices[0].hearts == 3
    assert str(scene.choices[1]) == "mine/quiet-pier.toml:1/2+powder-room:1"
    assert [str(one) for one in scene.choices_for(first)] == [str(one) for one in scene.choices]
    assert fg.Scene.from_toml(scene.to_toml()) == scene


def test_a_choice_for_one_still_is_not_for_another():
    text = (
        STILL + '[[still]]\nfile = "b.jpg"\n[[choice]]\nlooks = ["fine-net:1"]\nstill = "b.jpg"\n'
    )
    scene = fg.Scene.from_toml(text)
    assert scene.choices_for(scene.stills[0]) == ()
    assert len(scene.choices_for(scene.stills[1])) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("title = 'x'", "format is missing; a scene has format = 1"),
        ("format = '1'", "format must be 1, got '1'"),
        ("format = 0", "format must be 1, got 0"),
        ("format = 2\nlights = 3", "is of format 2, and this frontglass reads format 1"),
        ("format = ", "not valid TOML"),
        (HEAD + "titel = 'x'", "unknown key 'titel'; known keys are camera, choice"),
        (HEAD + "titel = 'x'", "Did you mean 'title'?"),
        (HEAD + "title = 3", "title must be a line of text"),
        (HEAD + "surround = 'black'", "must be 'lampless', 'mirror' or 'dark', got 'black'"),
        (HEAD + "view = 'film'", "view must be 'hue' or 'clip', got 'film'"),
        (HEAD + "camera = 3", "camera must be a table [camera], got 3"),
        (HEAD + "[camera]\nlense = '50mm'", "camera: unknown key 'lense'"),
        (HEAD + "[camera]\nlens = 'long'", "camera: lens must be a focal length in mm"),
        (HEAD + "[camera]\nstop = -2", "camera: stop must be > 0"),
        (HEAD + "[camera]\nsensor = 'big'", "camera: sensor must be a known name"),
        (HEAD + "still = 'a.jpg'", "still must be one or more tables [[still]]"),
        (HEAD + "[[still]]\nwhite = 3", "still 1: file is missing"),
        (HEAD + "[[still]]\nfile = ''", "still 1 (): file must be the path of a file"),
        (STILL + "light = 3", "still 1 (night1.jpg): unknown key 'light'"),
        (STILL + "white = -3", "still 1 (night1.jpg): white must be > 0, got -3"),
        (STILL + "white = true", "white must be a finite number, got True"),
        (STILL + "lamps = 'bulbs'", "got 'bulbs'. Did you mean bulb?"),
        (STILL + "exposure = 50", "exposure must be in [-40, 40]"),
        (STILL + "hash = 'abc'", "hash must be the SHA-256 of the file"),
        (STILL + "crop = [0, 0, 97, 10]", "crop must be inside the still's 96 x 64 px"),
        (STILL + "crop = [0, 0, 9]", "crop must be 4 whole numbers"),
        (STILL + "crop = [0, 0, 0, 9]", "crop must be left, top, width > 0"),
        (STILL + "room = 'big'", "room must be NAME=NUMBER"),
        (STILL + "map = 'a.exr'\nroom = 'back=9'", "map must be given alone"),
        (STILL + "map_is = 'far'", "map_is must be 'ray' or 'depth'"),
        (STILL + "note = 3", "note must be text, got 3"),
        (LAMP + "kind = 'bulb'", "still 1 (night1.jpg): lamp 1: at is missing"),
        (LAMP + "at = [1, 2]\nkinds = 'bulb'", "lamp 1: unknown key 'kinds'"),
        (LAMP + "at = [1, 2]\nkind = 'bulbs'", "got 'bulbs'. Did you mean bulb?"),
        (LAMP + "at = '1,2'", "at must be two numbers of pixels"),
        (LAMP + "at = [1, -2]", "at must be >= 0, got -2"),
        (LAMP + "at = [1, 2]\nstops = 30", "lamp stops must be in [0, 20]"),
        (LAMP + "at = [1, 2]\nstops = 3\nkind = 'bulb'", "with a kind or with stops, got 'both'"),
        (LAMP + "at = [96, 2]", "lamp at must be inside the still's 96 x 64 px, got [96.0, 2.0]"),
        (LAMP + "at = [1, 2]\n[[still.lamp]]\nat = [1, 2]", "lamp at must be given once"),
        (STILL + "[[still.distance]]\nat = [1, 2]\nmetres = 0", "metres must be > 0"),
        (STILL + "[[still.watch]]\nname = 'face'\nregion = [90, 0, 9, 9]", "watch face must be"),
        (STILL + "[[still]]\nfile = './night1.jpg'", "still file must be in the scene once"),
        (HEAD + "[[choice]]\nlooks = []", "choice 1: looks must be one look at least"),
        (HEAD + "[[choice]]\nlooks = ['fine-net:much']", "strength must be a number"),
        (HEAD + "[[choice]]\nlooks = ['a:1']\nhearts = -1", "hearts must be >= 0"),
        (HEAD + "[[choice]]\nlooks = ['a:1']\nstill = ['b.jpg']", "must be a still of the scene"),
        (HEAD + 2 * "[[choice]]\nlooks = ['a:1']\n", "choice must be kept once"),
    ],
)
def test_what_is_not_understood_is_one_line_with_its_place(text, said):
    assert said in refusal(text)


def test_a_file_is_named_in_its_errors(tmp_path):
    path = tmp_path / "pier.toml"
    path.write_bytes(b"title = '\xff'")
    with pytest.raises(FrontglassError, match=r"pier\.toml: a scene must be text in UTF-8"):
        fg.read_scene(path)
    with pytest.raises(FrontglassError, match=r"scene\.toml: cannot be read"):
        fg.read_scene(tmp_path)
    path.write_text("#" * 1_000_001)
    with pytest.raises(FrontglassError, match="more than 1 MB"):
        fg.read_scene(path)


def test_a_look_of_ones_own_is_found_from_the_scenes_folder(tmp_path):
    own = tmp_path / "looks" / "pier.toml"
    own.parent.mkdir()
    own.write_text(fg.read_look("fine-net").to_toml())
    choice = fg.SceneChoice(looks=("looks/pier.toml:1/2", "late-tram:1/4"))
    scene = fg.Scene(choices=(choice,), path=tmp_path / "scene.toml")
    net, glow = scene.looks_of(choice)
    assert (net.strength, glow.strength) == (0.5, 0.25)
    assert net.elements == fg.read_look("fine-net").elements


def test_a_recipe_takes_what_nobody_typed():
    scene = fg.Scene.from_toml(FULL).at(Path("recce/scene.toml"))
    recipe = scene.recipe("recce/nacht/caf\u00e9 1.jpg")
    assert recipe.exposure_stops == -1.5
    assert recipe.recovery.white_cd_per_m2 == 25
    assert recipe.recovery.clipped == "bulb"
    assert [mark.kind for mark in recipe.recovery.marks] == ["globe", None]
    assert recipe.space.lamps == (fg.LampPlace(x_px=14, y_px=41.5, distance_m=3.5),)
    assert recipe.space.points == (fg.DistancePoint(x_px=64, y_px=15, distance_m=9.6),)
    assert recipe.space.room == fg.Room(camera_m=1.6, back_m=9)
    assert (recipe.surround, recipe.past_white) == ("dark", "clip")
    # The still's own lens wins over the scene's.
    assert (recipe.framing.lens_mm, recipe.framing.f_number) == (35, 1.8)
    assert scene.recipe("recce/b.jpg").space.depth == Path("recce/b_distance.png")
    typed = scene.recipe(
        "recce/nacht/caf\u00e9 1.jpg",
        exposure_stops=1.0,
        surround="mirror",
        recovery=fg.Recovery(white_cd_per_m2=9, clipped=3, marks=(fg.LampMark(1, 2, 5),)),
        framing=fg.Framing(lens_mm=85),
        space=fg.Space(depth=Path("typed.exr")),
    )
    assert (typed.exposure_stops, typed.surround) == (1, "mirror")
    assert (typed.recovery.white_cd_per_m2, typed.recovery.clipped) == (9, 3)
    assert typed.recovery.marks[-1] == fg.LampMark(1, 2, 5)
    assert (typed.framing.lens_mm, typed.framing.sensor) == (85, "super35")
    assert (typed.space.depth, typed.space.points) == (Path("typed.exr"), ())
    # Nothing of lamps is wanted then.
    off = scene.recipe("recce/nacht/caf\u00e9 1.jpg", recovery=fg.Recovery(clipped="off"))
    assert (off.recovery.marks, off.recovery.clipped) == ((), "off")
