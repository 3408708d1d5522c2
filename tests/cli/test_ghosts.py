"""Ghosts at the command line: lists, maps, notes, tilts, and what is refused."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.picture.encoding import Encoding

LENS = ("--lens", "50mm", "--sensor", "36x24", "--stop", "1.4", "--filter-distance", "40mm")
LAMP, GHOST = [50.5, 40.5], [98.5, 58.5]
TO_FOCUS_M = 37382


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture
def still(tmp_path):
    light = np.full((100, 150, 3), 0.01, np.float32)
    light[40:42, 50:52] = 900
    path = tmp_path / "quay.exr"
    fg.write_picture(path, fg.Picture(radiance=light, encoding=Encoding.linear()))
    return path


def told(still, *words):
    result = run("ghosts", still, *LENS, "--json", *words)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_a_list_says_where_ghosts_are_and_what_tilt_hides_them(still, tmp_path):
    out = tmp_path / "map.png"
    result = run("ghosts", still, *LENS, "--look", "harbour-night:1/4", "-o", out)
    assert result.exit_code == 0, result.output
    assert "50,40" in result.stdout
    assert "98,58" in result.stdout
    assert "takes them out of sight" in result.stdout
    with Image.open(out) as picture:
        assert picture.size == (150, 100)
    record = told(still, "--look", "harbour-night:1/4")
    (ghost,) = record["ghosts"]
    assert ghost["lamp_px"] == LAMP
    assert ghost["ghost_px"] == GHOST
    assert ghost["seen"]
    up, right = record["tilt_deg"]
    there = told(still, "--look", "harbour-night:1/4", f"--tilt={up},{right}")
    assert not any(one["seen"] for one in there["ghosts"])


def test_coatings_focus_and_returns_count(still):
    bare = told(still, "--look", "harbour-night")["ghosts"][0]
    coated = told(still, "--look", "harbour-night", "--coated")["ghosts"][0]
    assert coated["level"] == pytest.approx(bare["level"] * 0.00598 / 0.0817, rel=0.01)
    far = run("ghosts", still, *LENS, "--look", "harbour-night", "--focus", "inf", "--json")
    assert json.loads(far.stdout)["focus_m"] == "inf"
    assert "Focus is not known" not in far.stderr
    more = told(still, "--look", "harbour-night", "--returns", "3%")["ghosts"][0]
    assert more["level"] == pytest.approx(3 * bare["level"], rel=1e-3)
    near = told(still, "--look", "harbour-night", "--focus", "3m")["ghosts"][0]
    # 2 D (1 - d / S) / S, 35.7 mm across, 4.17 px to a milliradian... of 50 mm on 150 px.
    assert near["width_px"] == pytest.approx(2 * 35.71 * (1 - 0.04 / 3) / 3000 * 208.33, abs=0.06)
    assert near["level"] < bare["level"]


def test_apply_notes_them_and_strength_0_has_none(still, tmp_path):
    words = ("apply", still, *LENS, "-o", tmp_path / "a.png")
    result = run(*words, "--look", "slate-roof")
    assert "the lamp at 50,40 one at 98,58" in result.stderr
    assert "note: Focus is not known" in result.stderr
    bare = run(*words, "--look", "slate-roof:0", "--overwrite")
    assert "ghost" not in bare.stderr
    coated = run(*words, "--look", "slate-roof", "--coated", "--tilt", "8", "--overwrite")
    assert coated.exit_code == 0
    assert "ghost" not in coated.stderr


def test_what_stands_on_no_glass_says_so(still):
    result = run("ghosts", still, *LENS, "--look", "fine-net", "--tilt", "5,0")
    assert result.stdout.strip() == "fine-net 1 stands on no glass: no ghosts"
    assert "fine-net 1 stands on no glass, so nothing tilts or mirrors." in result.stderr


def test_show_and_compare_have_a_line(still, tmp_path):
    shown = run("show", "harbour-night:1/4", *LENS, "--coated", "--focus", "3m")
    assert "mirrored by both surfaces: 0.598 %" in shown.stdout
    assert "ghosts spread over" in shown.stdout
    words = ("compare", still, *LENS, "--look", "harbour-night", "--look", "fine-net")
    result = run(*words, "-o", tmp_path / "sheet.png", "--json")
    assert json.loads(result.stdout)["ghosts_seen"] == {"harbour-night 1": 1, "fine-net 1": None}


def test_focus_comes_from_the_file(tmp_path):
    for distance, seen in ((2.5, 2.5), (0.0, None)):
        exif = Image.Exif()
        exif.get_ifd(0x8769).update({33437: 1.4, 37386: 50.0, 41989: 50, TO_FOCUS_M: distance})
        path = tmp_path / f"{distance}.jpg"
        codes = np.full((60, 90, 3), 40, np.uint8)
        Image.fromarray(codes).save(path, exif=exif)
        shot = fg.read_picture(path).shot
        assert shot.focus_m == seen
        assert fg.choose_camera(shot, width_px=90, height_px=60).camera.focus_m == seen
    typed = fg.choose_camera(shot, width_px=90, height_px=60, focus_m=7.0).camera
    assert typed.focus_m == 7.0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tilt", "90"), "error: tilt must be in [-45, 45], got 90."),
        (("--tilt", "up"), "tilt must be degrees about the frame's horizontal and vertical axis"),
        (("--returns", "150%"), "error: returns must be in [0, 1], got 1.5."),
        (("--returns", "much"), "returns must be a share such as 2% or 0.02, got 'much'."),
        (("--focus", "3cm"), "focus must be a distance such as 3m or inf, > 0, got '3cm'."),
        (("--focus", "0.02m"), "focus_m must be farther than the filter, 0.04 m from the pupil"),
    ],
)
def test_bad_input_gets_one_line(still, words, said):
    result = run("ghosts", still, *LENS, "--look", "harbour-night", *words)
    assert result.exit_code == 1
    errors = [line for line in result.stderr.splitlines() if line.startswith("error")]
    assert len(errors) == 1
    assert said in errors[0]
