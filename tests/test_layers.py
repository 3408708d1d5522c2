"""Rooms import lower floors only, and codecs and typer stay where they belong."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

SRC = Path(__file__).parents[1] / "src" / "frontglass"

FLOORS = {
    "arrays": 0,
    "errors": 0,
    "threads": 0,
    **dict.fromkeys(("accuracy", "checks", "choices", "shipped"), 1),
    **dict.fromkeys(
        ("heap", "late", "lit_pixels", "rows_between", "strict_toml", "units", "warned"),
        1,
    ),
    "optics": 2,
    **dict.fromkeys(("convolution", "picture"), 3),
    **dict.fromkeys(("elements", "files"), 4),
    **dict.fromkeys(("looks", "pipeline"), 5),
    **dict.fromkeys(("batch", "learning", "measurement", "scene", "sheets"), 6),
    **dict.fromkeys(("live", "notebook"), 7),
    "cli": 8,
    "__main__": 9,
}
# What a notebook asks a value for. It is drawn at the top of the house, whatever floor the value
# stands on: the one import upwards, made when a notebook asks and not before.
NOTEBOOK = {"_repr_png_", "_repr_html_"}
# Spectra that are looked at, diffracted or shaped; none of them spreads the light of a picture.
OTHER_SPECTRA = {
    "optics/hankel.py",
    "optics/slanted_edge.py",
    "optics/speckle.py",
    "measurement/targets.py",
    "picture/dither.py",
}
ROOMS_OF = {
    "typer": {"cli"},
    "rich": {"cli"},
    "PIL": {"files", "sheets"},
    "OpenEXR": {"files"},
    "tomlkit": {"scene"},
    "starlette": {"live"},
    "uvicorn": {"live"},
    "segno": {"live"},
    "imagecodecs": {"files"},
    "tifffile": set(),
}


def imports_of(path: Path) -> set[str]:
    """Every module that a file imports, wherever in it; relative imports are banned by ruff."""
    found = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    asked = [node for node in ast.walk(tree) if getattr(node, "name", "") in NOTEBOOK]
    for node in asked:
        (import_, _) = node.body[-2:]
        assert ast.unparse(import_).startswith("from frontglass.notebook import ")
        node.body.remove(import_)
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def room_of(path: Path) -> str:
    return path.relative_to(SRC).parts[0].removesuffix(".py")


FILES = [path for path in sorted(SRC.rglob("*.py")) if path != SRC / "__init__.py"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(SRC)))
def test_a_room_imports_lower_floors_only(path: Path):
    room = room_of(path)
    assert room in FLOORS, f"{room} has no floor: give it one here, or find it a room."
    for module in imports_of(path):
        root, *rest = module.split(".")
        if root in ROOMS_OF:
            assert room in ROOMS_OF[root], f"{root} is for {ROOMS_OF[root]}"
        other = rest[0] if root == "frontglass" and rest else room
        if other in {room, "__version__"}:
            continue
        assert FLOORS[other] < FLOORS[room], f"{room} may not import {other}"


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(SRC)))
def test_only_convolution_calls_fourier_transforms(path: Path):
    name = str(path.relative_to(SRC))
    calls = "fft" in {word for word in re.findall(r"[a-z]+", path.read_text(encoding="utf-8"))}
    if room_of(path) != "convolution":
        assert calls == (name in OTHER_SPECTRA)
