"""Files that come along are found, in a checkout and in a wheel."""

from __future__ import annotations

from pathlib import Path

import pytest

from frontglass import shipped
from frontglass.errors import FrontglassError

ROOT = Path(__file__).parents[1]


def test_a_checkout_finds_the_folders_beside_src():
    assert shipped.shipped_folder("examples").samefile(ROOT / "examples")
    assert shipped.shipped_folder("presets").samefile(ROOT / "presets")


def test_a_wheel_finds_the_folders_within_the_package(tmp_path, monkeypatch):
    package = tmp_path / "site-packages" / "frontglass"
    (package / "presets").mkdir(parents=True)
    (tmp_path / "presets").mkdir()  # a stranger's
    monkeypatch.setattr(shipped, "__file__", str(package / "shipped.py"))
    assert shipped.shipped_folder("presets") == package / "presets"
    with pytest.raises(FrontglassError, match="without its examples"):
        shipped.shipped_folder("examples")
