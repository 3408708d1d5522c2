"""An installed wheel does what a checkout does: it carries its looks and its demo scene."""

from __future__ import annotations

import os
import subprocess
import sys
import venv
from pathlib import Path

import pytest

import frontglass as fg

ROOT = Path(__file__).parents[1]


def installed_in(folder: Path) -> Path:
    """Python of an empty environment in which only the wheel and what it needs is installed."""
    venv.create(folder / "venv", symlinks=True)
    python = folder / "venv" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    # Nothing is compiled but what the commands import: that is most of the time.
    pip = [sys.executable, "-m", "pip", "--python", str(python), "install", "--no-compile"]
    quiet = ["--quiet", "--disable-pip-version-check"]
    subprocess.run([*pip, *quiet, str(ROOT)], check=True, capture_output=True, cwd=folder)
    return python


def output_of(python: Path, *words: str) -> str:
    command = [str(python), "-I", "-m", "frontglass", *words]
    run = subprocess.run(command, check=True, capture_output=True, text=True, cwd=python.parent)
    return run.stdout


# One test, so that tests side by side do not build and install twice.
@pytest.mark.slow
def test_an_installed_wheel_has_every_name_and_look_and_renders_the_demo(tmp_path):
    installed = installed_in(tmp_path)
    code = "import frontglass as fg; print(*(n for n in dir(fg) if getattr(fg, n) is not None))"
    run = subprocess.run(
        [str(installed), "-I", "-c", code],
        check=True, capture_output=True, text=True, cwd=installed.parent,
    )  # fmt: skip
    assert run.stdout.split() == list(fg.__all__)
    shown = output_of(installed, "looks")
    assert all(f"{name}\n" in shown for name in fg.look_names())
    output_of(installed, "demo", "-o", str(tmp_path / "demo"))
    assert len(list((tmp_path / "demo").glob("*.png"))) > 3
