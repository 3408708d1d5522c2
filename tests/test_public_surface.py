"""What ``import frontglass`` promises."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import frontglass

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


def test_what_type_checkers_see_is_what_is_there():
    source = Path(inspect.getfile(frontglass)).read_text(encoding="utf-8")
    seen = {
        alias.name
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for statement in node.body
        if isinstance(statement, ast.ImportFrom)
        for alias in statement.names
    }
    assert seen == set(frontglass.__all__) - {"__version__"}
