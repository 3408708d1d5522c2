"""How glass stands, and what the lens is focused on, is kept in a scene and taken from it."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.picture.encoding import Encoding
from frontglass.scene.editing import edit_scene
from frontglass.scene.seeing import seen_still, with_seen

LENS = ("--lens", "50mm", "--sensor", "36x24", "--stop", "1.4")
PATH = ("--filter-distance", "40mm", "--focus", "3m")
GLASS = ("--tilt", "2,1", "--coated", "--returns", "2%")
SAID = "tilt 2,1, coated, returns 2%, filter distance 40mm, focus 3m"
LOOK = ("--look", "harbour-night:1/4")


def done(*words):
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result


def said_by(result) -> list[str]:
    return [
        line.partition(": ")[2] for line in result.stderr.splitlines() if "scene.toml: " in line
    ]


@pytest.fixture
def still(tmp_path):
    """A dark quay with a lamp, in a scene of its own that says nothing yet."""
    light = np.full((60, 90, 3), 0.01, np.float32)
    light[20:22, 30:32] = 900
    path = tmp_path / "quay.exr"
    fg.write_picture(path, fg.Picture(radiance=light, encoding=Encoding.linear()))
    edit_scene(tmp_path / "scene.toml", lambda one: with_seen(one, seen_still(path)))
    return path


@pytest.fixture
def kept(still):
    done("scene", "camera", *PATH, *GLASS, "--scene", still.with_name("scene.toml"))
    return still.with_name("scene.toml")


@pytest.mark.parametrize(
    ("command", "more", "end"),
    [
        ("apply", LOOK, ".png"),
        ("ladder", ("--look", "slate-roof:1/4", "--width", "320"), ".png"),
        ("compare", (*LOOK, "--width", "600"), ".png"),
        ("sway", (*LOOK, "--width", "64"), ".gif"),
    ],
)
def test_what_is_kept_makes_the_picture_that_the_same_options_make(
    still, kept, tmp_path, command, more, end
):
    taken, typed = tmp_path / f"taken{end}", tmp_path / f"typed{end}"
    result = done(command, still, *more, *LENS, "-o", taken)
    assert said_by(result) == [SAID]
    bare = done(command, still, *more, *LENS, *PATH, *GLASS, "--no-scene", "-o", typed)
    assert said_by(bare) == []
    assert taken.read_bytes() == typed.read_bytes()
    assert kept.exists()


def test_what_is_typed_wins_and_what_changes_nothing_is_not_said(still, kept):
    words = ("ghosts", still, *LENS, "--json")
    typed = ("--tilt", "0,0", "--uncoated", "--focus", "inf")
    result = done(*words, *LOOK, *typed)
    assert said_by(result) == ["returns 2%, filter distance 40mm"]
    bare = ("--filter-distance", "40mm", "--returns", "2%", "--no-scene")
    assert result.stdout == done(*words, *LOOK, *typed, *bare).stdout
    # A net stands on no glass, and a look under a hood has to have a lamp to be kept from.
    done("scene", "camera", "--hood", "--scene", kept)
    net = done("apply", still, "--look", "fine-net:1/4", *LENS)
    assert said_by(net) == ["filter distance 40mm, focus 3m"]
    wash = done("apply", still, "--look", "torch-wash:1/4", *LENS)
    assert said_by(wash) == ["hood, filter distance 40mm, focus 3m"]


def test_show_takes_them_from_the_scene_named(still, kept):
    words = ("show", "slate-roof:1/4", *LENS)
    result = done(*words, "--scene", kept)
    assert said_by(result) == [SAID]
    assert result.stdout == done(*words, *PATH, *GLASS, "--no-scene").stdout
    assert still.exists()


def test_a_still_has_a_focus_of_its_own(still, kept):
    done("scene", "still", still, "--focus", "7m", "--filter-distance", "30mm")
    result = done("ghosts", still, *LOOK, *LENS, "--json")
    assert json.loads(result.stdout)["focus_m"] == 7
    assert said_by(result) == [SAID.replace("3m", "7m").replace("40mm", "30mm")]
    shown = done("scene", "show", "--scene", kept).stdout
    assert "filter distance 40mm, focus 3m, tilt 2,1, returns 2%, coated" in shown
    assert "filter distance 30mm, focus 7m" in shown


def test_numbers_and_lists_stand_for_texts(tmp_path):
    text = "format = 1\n[camera]\nfocus = inf\ntilt = [5, -1]\nreturns = 0.02\ncoated = false\n"
    scene = fg.Scene.from_toml(text)
    assert scene.camera == fg.SceneCamera(focus="inf", tilt="5,-1", returns="0.02", coated=False)
    assert fg.Scene.from_toml(scene.to_toml()) == scene
    (there,) = scene.recipe(tmp_path / "none.jpg", looks=[fg.read_look("slate-roof")]).looks
    assert there.light_path[0] == fg.Plate(index=1.52, tilt_deg=(5.0, -1.0), returns=0.02)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("tilt = 90", "camera: tilt must be in [-45, 45], got 90."),
        ("tilt = 'up'", "camera: tilt must be degrees"),
        ("returns = 2", "camera: returns must be in [0, 1], got 2."),
        ("coated = 'yes'", "camera: coated must be True or False, got 'yes'."),
        ("focus = '3cm'", "camera: focus must be a distance such as 3m or inf"),
        ("filter_distance = 0", "camera: filter_distance must be > 0, got 0."),
    ],
)
def test_what_is_not_understood_is_one_line(line, said):
    with pytest.raises(fg.FrontglassError) as error:
        fg.Scene.from_toml(f"format = 1\n[camera]\n{line}\n")
    assert said in str(error.value)
    assert "\n" not in str(error.value)


def test_a_batch_makes_anew_what_the_scene_tilts(still, kept, tmp_path):
    words = ("batch", still, *LOOK, *LENS, "-o", tmp_path / "out", "--jobs", "1", "--json")
    words += ("--no-contact",)
    assert json.loads(done(*words).stdout)["rendered"] == 1
    assert json.loads(done(*words).stdout)["done_before"] == 1
    done("scene", "camera", "--tilt", "4", "--scene", kept)
    assert json.loads(done(*words).stdout)["rendered"] == 1
    # Another tilt that is typed is another run, which leaves the picture alone.
    other = CliRunner().invoke(app, [str(word) for word in (*words, "--tilt", "6")])
    assert "was made by an earlier run with other options" in other.stderr


CUBE = "LUT_3D_SIZE 2\n" + "".join(
    f"{r:g} {0.5 * g:g} {b:g}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1)
)


def test_encoding_and_lut_are_kept_and_taken(still, tmp_path):
    (tmp_path / "luts").mkdir()
    lut = tmp_path / "luts" / "show.cube"
    lut.write_text(CUBE)
    scene = still.with_name("scene.toml")
    log = "ACEScct"
    done("scene", "camera", "--encoding", log, "--lut", lut, "--scene", scene)
    assert fg.read_scene(scene).lut == "luts/show.cube"
    png = tmp_path / "log.png"
    fg.write_picture(png, fg.Picture(radiance=np.full((60, 90, 3), 0.2, np.float32)))
    words, net = ("apply", png, "--look", "fine-net:1/4"), ("--lens", "50mm", "--stop", "4")
    result = done(*words, *net, "-o", tmp_path / "taken.png")
    assert said_by(result) == [f"encoding {log}, LUT luts/show.cube, log.png is not in it"]
    typed = ("--encoding", log, "--view", lut, "--no-scene")
    done(*words, *net, *typed, "-o", tmp_path / "typed.png")
    assert (tmp_path / "taken.png").read_bytes() == (tmp_path / "typed.png").read_bytes()
    assert said_by(done("lamps", png))[0].startswith(f"encoding {log}")
    # A still may be in another encoding, and a LUT is asked what it expects.
    done("scene", "still", png, "--encoding", "ACEScc", "--scene", scene)
    assert "encoding ACEScc, LUT" in done(*words, *net, "-o", tmp_path / "own.png").stderr
    done("scene", "camera", "--clear", "encoding", "--clear", "lut", "--scene", scene)
    bad = ("scene", "camera", "--lut", lut, "--scene", scene)
    refused = CliRunner().invoke(app, [str(word) for word in bad])
    assert refused.exit_code == 1
    assert "view-from must be given with a LUT" in refused.stderr
