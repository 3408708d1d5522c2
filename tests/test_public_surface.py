"""What ``import frontglass`` promises."""

from __future__ import annotations

import ast
import doctest
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import frontglass
from frontglass.elements import ELEMENTS, LOBES, BareLamp, Beam, ClearCentre, Element, Lobe

HEAVY = ("numpy", "scipy", "cv2", "PIL", "OpenEXR", "typer", "rich")


def loaded_after(code: str) -> set[str]:
    """Top-level modules that a fresh interpreter has loaded after running `code`."""
    shown = "import sys; print(*{name.partition('.')[0] for name in sys.modules})"
    run = subprocess.run(
        [sys.executable, "-c", f"{code}\n{shown}"], capture_output=True, text=True, check=True
    )
    return set(run.stdout.splitlines()[-1].split())


def test_importing_frontglass_loads_nothing_heavy():
    assert loaded_after("import frontglass").isdisjoint(HEAVY)


def test_a_name_loads_its_own_room_only():
    assert "PIL" not in loaded_after("import frontglass; frontglass.Camera")


def test_errors_can_be_caught_without_loading_numpy():
    assert "numpy" not in loaded_after("import frontglass; frontglass.FrontglassError")


@pytest.mark.parametrize("name", frontglass.__all__)
def test_every_public_name_is_there(name: str):
    value = getattr(frontglass, name)
    if name != "__version__":
        assert inspect.getdoc(value)
        assert name in dir(frontglass)


def test_an_unknown_name_is_an_attribute_error_that_names_it():
    with pytest.raises(AttributeError, match="blur"):
        frontglass.blur  # noqa: B018


def test_the_stub_names_each_thing_once_under_its_own_name():
    stub = Path(inspect.getfile(frontglass)).with_suffix(".pyi")
    body = ast.parse(stub.read_text(encoding="utf-8")).body
    imports = [node for node in body if isinstance(node, ast.ImportFrom)]
    aliases = [alias for node in imports for alias in node.names]
    # Only `X as X` is public in a stub.
    assert all(alias.asname == alias.name for alias in aliases)
    names = [alias.name for alias in aliases]
    assert sorted([*names, "__version__"]) == frontglass.__all__
    assert len(set(names)) == len(names)
    assert ast.unparse(body[-1]) == "__version__: str"
    assert len(body) == len(imports) + 1


def test_a_star_import_brings_every_public_name():
    brought: dict[str, object] = {}
    exec("from frontglass import *", brought)
    assert set(frontglass.__all__) <= set(brought)


def test_every_element_and_lobe_is_public():
    parts = (BareLamp, Beam, ClearCentre, Element, Lobe)
    for kind in (*ELEMENTS.values(), *LOBES.values(), *parts):
        assert getattr(frontglass, kind.__name__) is kind


@pytest.mark.parametrize("name", [n for n in frontglass.__all__ if not n.startswith("__")])
def test_every_public_name_shows_an_example_that_runs(name: str):
    text = inspect.getdoc(getattr(frontglass, name)) or ""
    _, has_section, examples = text.partition("\nExamples\n--------\n")
    assert has_section, f"{name} has no section Examples"
    assert doctest.DocTestParser().get_examples(examples), f"{name} shows nothing that runs"
