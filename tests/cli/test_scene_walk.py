"""The walk of the README, from stills to board and batch, as it stands there."""

from __future__ import annotations

import glob
import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from tests.cli.recce import phone_exif

README = Path(__file__).parents[2] / "README.md"


def walk() -> list[list[str]]:
    """Commands of the section on scenes, in words."""
    section = README.read_text(encoding="utf-8").partition("## A scene: nothing typed twice")[2]
    (block,) = re.findall(r"```sh\n(.*?)```", section.partition("\n## ")[0], re.DOTALL)
    return [shlex.split(line) for line in block.splitlines()]


@pytest.fixture
def recce(tmp_path, monkeypatch):
    """Two stills of a phone: small ones, for places in the README are those of full ones."""
    folder = tmp_path / "scouts"
    folder.mkdir()
    codes = np.random.default_rng(1).integers(20, 60, (302, 403, 3), np.uint8)
    codes[126:136, 42:52] = 255
    for name in ("counter.jpg", "gate.jpg"):
        Image.fromarray(codes).save(folder / name, quality=95, exif=phone_exif())
    monkeypatch.chdir(tmp_path)
    return folder


def smaller(word: str) -> str:
    """A word with its place in pixels a tenth of what it was."""
    name, colon, numbers = word.rpartition(":")
    if not re.fullmatch(r"\d+(,\d+)+", numbers):
        return word
    return name + colon + ",".join(str(int(number) // 10) for number in numbers.split(","))


def test_the_walk_of_the_readme_types_nothing_twice(recce, monkeypatch):
    # Stand-ins of the list are looked for in all looks; each net takes seconds, and one will do.
    looks = [fg.read_look(name) for name in ("late-tram", "powder-room", "fine-net")]
    monkeypatch.setattr(fg, "catalogue", lambda: looks)
    commands = walk()
    assert sum(program == "frontglass" for program, *_ in commands) < 10
    said = []
    for program, *words in commands:
        if program == "cd":
            monkeypatch.chdir(words[0])
            continue
        assert program == "frontglass"
        typed = [smaller(word) for word in words]
        typed = [one for word in typed for one in (sorted(glob.glob(word)) or [word])]
        if typed[0] == "batch":
            typed += ["--jobs", "1", "--patience", "inf"]
        result = CliRunner().invoke(app, typed)
        assert result.exit_code == 0, (words, result.output)
        said.append(result.stderr)
    scene = fg.read_scene(recce)
    assert scene.title == "After the last ferry"
    assert [one.file for one in scene.stills] == ["counter.jpg", "gate.jpg"]
    assert (recce.parent / "board" / "board.html").exists()
    assert list((recce.parent / "tests").glob("counter*.jpg"))
    assert (recce.parent / "rental.pdf").exists()
    # Board and batch say what they took, and which look.
    for text in said[-3:-1]:
        assert text.startswith("scene.toml: harbour-night:1/4, ")
        assert "as 50mm,super35,2.39" in text
