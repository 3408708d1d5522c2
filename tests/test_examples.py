"""The README and the examples say what the program does."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.batch.workers import PATIENCE_S
from frontglass.cli.app import app
from frontglass.looks.reading import look_from_toml
from frontglass.picture.lamp_kinds import KINDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


def run(*arguments: str) -> str:
    result = CliRunner().invoke(app, arguments)
    assert result.exit_code == 0, result.output
    return result.stdout


def test_pictures_of_the_readme_exist_and_open():
    names = re.findall(r"\((examples/pictures/[^)]+)\)", README)
    assert len(names) >= 10
    for name in names:
        with Image.open(ROOT / name) as picture:
            picture.load()


def test_every_picture_made_is_shown():
    made = {path.name for path in (ROOT / "examples" / "pictures").iterdir()}
    assert made == set(re.findall(r"\(examples/pictures/([^)]+)\)", README))


def test_look_of_the_readme_is_the_example():
    example = (ROOT / "examples" / "quiet-pier.toml").read_text(encoding="utf-8")
    (look,) = (block for block in blocks("toml") if "[[element]]" in block)
    assert look_from_toml(look, "README") == look_from_toml(example, "example")


def test_numbers_of_the_readme_are_what_the_program_prints():
    sessions = blocks("console")
    assert sessions
    for session in sessions:
        command, _, output = session.partition("\n")
        words = shlex.split(command.removeprefix("$ frontglass "))
        assert run(*words).rstrip() == output.rstrip()


def test_commands_of_the_readme_exist_with_their_options():
    shell = "\n".join(blocks("sh")).replace("\\\n", " ")
    commands = re.findall(r"^frontglass (.+?)$", shell, re.MULTILINE)
    assert {command.split()[0] for command in commands} >= {"apply", "ladder", "batch"}
    for command in commands:
        name = command_named(command)
        known = run(*name, "--help")
        for option in re.findall(r"--[a-z-]+", command):
            assert option in known, (name, option)


def command_named(command: str) -> list[str]:
    first, second, *_ = [*command.split(), ""]
    if first != "scene":
        return [first]
    commands = run("scene", "--help").partition("Commands:")[2]
    return ["scene", second if f"  {second} " in commands else "start"]


def test_python_of_the_readme_runs(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    codes = np.full((20, 30, 3), 90, np.uint8)
    codes[8:10, 12:14] = 255
    Image.fromarray(codes).save("scout.jpg")
    (example,) = blocks("python")
    exec(compile(example, "README", "exec"), {})
    assert fg.read_picture("out.jpg").width_px == 30


def test_how_long_an_interrupt_waits_is_said():
    assert f"for {PATIENCE_S:g} seconds at most" in README


def test_the_table_of_lamps_says_what_each_kind_is_taken_for():
    table = README.partition("| kind | cd/m2 | from |")[2].partition("\n\n")[0]
    said: dict[str, tuple[float, float, float]] = {}
    for kinds, levels in re.findall(r"^\| (`.*?) \| (.*?) \|", table, re.MULTILINE):
        names = re.findall(r"`([a-z-]+)`", kinds)
        numbers = [float(one) for one in re.findall(r"\d[\d.e]*", re.sub(r",(?=\d)", "", levels))]
        if " cd" in levels:
            many = len(names)
            metres = numbers[many:] * (many if "away" in levels else 1)
            rows = zip(names, numbers[:many], metres, strict=True)
            said |= {name: (0, candela, away) for name, candela, away in rows}
        else:
            said |= {n: (one, 0, 1) for n, one in zip(names, numbers, strict=True)}
    assert said == {k.name: (k.cd_per_m2, k.candela, k.metres) for k in KINDS.values()}


@pytest.mark.slow
def test_the_tour_can_be_walked(tmp_path):
    script = ROOT / "examples" / "tour.py"
    said = subprocess.run(
        [sys.executable, str(script), str(tmp_path / "tour")],
        check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    assert "float64" in said
    assert "stops above white" in said
    names = {path.name for path in (tmp_path / "tour").iterdir()}
    assert names == {"ladder.png", "last-ferry.png", "last-ferry.toml"}
    # Every cell that ends with a value ends with one that a notebook can show.
    cells = script.read_text(encoding="utf-8").split("# %%")
    assert sum(cell.rstrip().endswith(("cafe", "look", "own", "seen")) for cell in cells) >= 4


@pytest.mark.slow
def test_example_script_writes_its_picture(tmp_path):
    out = tmp_path / "pier.png"
    script = ROOT / "examples" / "quiet_pier.py"
    subprocess.run([sys.executable, str(script), str(out)], check=True, capture_output=True)
    with Image.open(out) as picture:
        assert picture.size == (1280, 720)


@pytest.mark.slow
def test_haze_beside_the_traced_frame_differs_as_the_readme_says(tmp_path):
    script = ROOT / "examples" / "haze_beside_traced.py"
    command = [sys.executable, str(script), str(tmp_path / "haze.jpg")]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    bare, ours = re.findall(r"median ([+-][\d.]+) stops, .*rms ([\d.]+), (\d+) %", said)
    readme = " ".join(README.split())
    assert f"differ by {ours[1]} stops (root mean square; the bare still by {bare[1]})" in readme
    assert f"the median by {float(ours[0]):.2f}, and {ours[2]} % of the blocks" in readme
    with Image.open(tmp_path / "haze.jpg") as picture:
        assert picture.size == (1280, 360)
