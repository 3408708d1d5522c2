"""Modules that are loaded when they are first used."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

import pytest

from frontglass.late import put_off


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A package of two submodules that count how often they are loaded."""
    home = tmp_path / "ferry_terminal"
    home.mkdir()
    (home / "__init__.py").write_text("loaded = []\n")
    for name in ("pier", "queue"):
        told = f"from ferry_terminal import loaded\nloaded.append({name!r})\nlength_m = 40\n"
        (home / f"{name}.py").write_text(told)
    monkeypatch.syspath_prepend(tmp_path)
    yield import_module("ferry_terminal")
    for name in [name for name in sys.modules if name.startswith("ferry_terminal")]:
        del sys.modules[name]


def test_a_module_is_loaded_when_something_in_it_is_asked_for(package):
    put_off("ferry_terminal.pier")
    named = package.pier
    put_off("ferry_terminal.pier")
    assert package.loaded == []
    assert named.length_m == 40
    assert named is import_module("ferry_terminal.pier")
    assert package.loaded == ["pier"]


def test_what_is_loaded_or_nowhere_stays_as_it_is(package):
    queue = import_module("ferry_terminal.queue")
    put_off("ferry_terminal.queue")
    put_off("ferry_terminal.gangway")
    assert package.queue is queue
    assert not hasattr(package, "gangway")
    assert package.loaded == ["queue"]
