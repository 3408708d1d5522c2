"""Small words: a strength left out, a look with its strength where a name would do, an old name."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture
def still(tmp_path):
    path = tmp_path / "pier.png"
    fg.write_picture(path, fg.Picture.from_array(np.full((48, 64), 90, np.uint8)))
    return path


def test_a_strength_left_out_is_one_and_says_so(still, tmp_path):
    bare, quarter = ("--look", "harbour-night"), ("--look", "harbour-night:1/4")
    said = "note: harbour-night is at strength 1; harbour-night:1/4 is a quarter of it."
    assert said in run("apply", still, *bare, "-o", tmp_path / "a.png").stderr
    assert said in run("compare", still, *bare, "-o", tmp_path / "b.png").stderr
    for words in (quarter, (*bare, "--strength", "1")):
        told = run("apply", still, *words, "-o", tmp_path / f"{len(words)}.png")
        assert told.exit_code == 0
        assert "at strength" not in told.stderr
    several = run("apply", still, "--look", "harbour-night+tallow", "-o", tmp_path / "c.png")
    assert "harbour-night and tallow are at strength 1" in several.stderr


@pytest.mark.parametrize("strength", ["0,25", "\u00bc", "1/4", ".25"])
def test_a_strength_is_written_as_people_write_it(still, tmp_path, strength):
    out = tmp_path / "out.png"
    result = run("apply", still, "--look", f"harbour-night:{strength}", "-o", out, "--json")
    assert json.loads(result.stdout)["looks"][0]["strength"] == 0.25


def test_ladder_and_show_take_a_look_at_one_strength(still, tmp_path):
    one = json.loads(run("show", "harbour-night:1/4", "--json").stdout)
    assert [numbers["strength"] for numbers in one["numbers"]] == [0.25]
    words = ("ladder", still, "--look", "harbour-night:1/4", "-o", tmp_path / "ladder.png")
    assert run(*words).exit_code == 0
    both = run(*words, "--strengths", "1/2", "--overwrite")
    assert both.exit_code == 1
    assert "Write harbour-night --strengths 1/4,1/2, or one of the two." in both.stderr
    assert run("show", "harbour-night", "--strengths", "0,25").exit_code == 1


def test_a_look_without_its_strength_after_the_colon_is_refused():
    result = run("show", "harbour-night:")
    assert result.exit_code == 1
    assert "strength must be a number or a fraction like 1/4" in result.stderr


def test_a_look_that_was_renamed_says_its_new_name():
    result = run("show", "glass-beads:1/2")
    assert result.stderr == "error: look 'glass-beads' is called wet-quay now.\n"
    assert run("show", "wet-quay:1/2").exit_code == 0
