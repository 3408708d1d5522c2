"""No file above 400 lines, no function above 60, and nothing at the top that has no place there."""

from __future__ import annotations

import ast
import subprocess
from pathlib import Path

import pytest

MOST_LINES_OF_A_FILE, MOST_LINES_OF_A_FUNCTION = 400, 60

ROOT = Path(__file__).parents[1]
FILES = sorted(path for room in ("src", "tests") for path in (ROOT / room).rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_files_and_functions_are_short(path: Path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES_OF_A_FILE
    functions = [
        (node.name, (node.end_lineno or 0) - node.lineno + 1)
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    assert [one for one in functions if one[1] > MOST_LINES_OF_A_FUNCTION] == []


def test_there_is_something_to_measure():
    assert {path.name for path in FILES} >= {"rendering.py", "ladder.py", "test_sizes.py"}


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="only where it is under version control")
def test_nothing_else_is_kept_at_the_top():
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    files = {"DEVELOPERS.md", "LICENSE", "README.md", "pyproject.toml"}
    assert top == files | {".ci", ".gitignore", "examples", "presets", "src", "tests"}
