"""Names that are not UTF-8, or that break a line: carried on disk, escaped in what is said."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from frontglass.batch.manifest import MANIFEST_NAME
from frontglass.cli.app import app

ODD = os.fsdecode(b"caf\xe9.png")
CAMERA = ("--lens", "50mm", "--stop", "2.8", "--sensor", "super35")


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture
def stills(shoot, tmp_path) -> Path:
    """A folder with an odd name, a name of two lines, and one that is damaged and odd."""
    shoot("in/two\nlines.png")
    try:
        shoot("in/one.png").rename(tmp_path / "in" / ODD)
    except (OSError, UnicodeError):
        pytest.skip("this file system takes letters only")
    (tmp_path / "in" / os.fsdecode(b"bad\xff.png")).write_bytes(b"no picture")
    return tmp_path / "in"


def test_a_batch_carries_them_and_finds_them_again(stills, tmp_path):
    out = tmp_path / "out"
    words = (
        "batch",
        stills,
        "--look",
        "slate-roof:1/4",
        *CAMERA,
        "--jobs",
        "1",
        "--patience",
        "inf",
        "-o",
        out,
    )
    first = run(*words)
    assert "2 rendered" in first.stdout
    assert (out / os.fsdecode(b"caf\xe9_slate-roof_1-4.png")).is_file()
    assert (out / "two\nlines_slate-roof_1-4.png").is_file()
    (error,) = (line for line in first.stderr.splitlines() if line.startswith("error:"))
    assert "bad\\udcff.png" in error
    kept = json.loads((out / MANIFEST_NAME).read_text(encoding="utf-8"))["pictures"]
    assert os.fsdecode(b"caf\xe9_slate-roof_1-4.png") in kept
    assert "2 done before" in run(*words).stdout


def test_a_plan_is_a_line_for_each(stills, tmp_path):
    words = ("--look", "slate-roof:1/4", *CAMERA, "-o", tmp_path / "out", "--dry-run")
    said = run("batch", stills, *words).stdout
    assert len(said.splitlines()) == 3
    assert "two\\nlines.png" in said


def test_a_script_reads_them_back(stills, tmp_path):
    words = ("--look", "slate-roof:1/4", *CAMERA, "-o", tmp_path / "out", "--dry-run", "--json")
    todo = json.loads(run("batch", stills, *words).stdout)["to_render"]
    assert str(stills / ODD) in {job["still"] for job in todo}


@pytest.mark.parametrize("ending", ["txt", "pdf"])
def test_a_list_names_them(tmp_path, ending):
    out = tmp_path / f"rent.{ending}"
    said = run("list", f"slate-roof@{ODD}", "--stand-ins", 0, *CAMERA, "-o", out)
    assert said.exit_code == 0, said.output
    assert ending == "pdf" or "caf\\udce9.png" in out.read_text(encoding="utf-8")


def test_a_board_shows_them(stills, tmp_path):
    (stills / os.fsdecode(b"bad\xff.png")).unlink()
    (stills / "two\nlines.png").unlink()
    out = tmp_path / "board"
    said = run("mood", stills / ODD, "--look", "slate-roof:1/4", *CAMERA, "-o", out)
    assert said.exit_code == 0, said.output
    assert (out / "board.html").is_file()
