"""Every check names a source that is listed, and every listed source is used."""

from __future__ import annotations

import ast
import re
from collections import Counter
from functools import cache
from pathlib import Path

TESTS = Path(__file__).parent
SOURCE_CODE = TESTS.parent / "src" / "frontglass"

# A citation in a docstring: [Wells1969], [CIPA-DCG-001]; units such as [1/sr] are not.
CITATION = re.compile(r"\[([A-Z][A-Za-z0-9.+-]*\d)\]")


def listed_keys() -> list[str]:
    text = (TESTS / "SOURCES.md").read_text(encoding="utf-8")
    return re.findall(r"^## (\S+)$", text, flags=re.MULTILINE)


@cache
def source_marks() -> list[tuple[str, ast.Call]]:
    """Where each `pytest.mark.source(...)` stands, and the call."""
    found = []
    for path in sorted(TESTS.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"), filename=str(path))
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "pytest.mark.source":
                found.append((f"{path.relative_to(TESTS)}:{node.lineno}", node))
    return found


@cache
def cited_keys() -> dict[str, str]:
    """Key to the file whose docstring cites it."""
    cited = {}
    for path in sorted(SOURCE_CODE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            documented = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef
            if isinstance(node, documented):
                for key in CITATION.findall(ast.get_docstring(node) or ""):
                    cited[key] = str(path.relative_to(SOURCE_CODE))
    return cited


def marked_key(call: ast.Call) -> str:
    key = call.args[0] if call.args else None
    return key.value if isinstance(key, ast.Constant) and isinstance(key.value, str) else ""


def test_every_mark_names_a_key_and_a_place() -> None:
    # A bare key would send the reader through a whole book.
    marks = source_marks()
    assert marks
    incomplete = [
        where
        for where, call in marks
        if len(call.args) != 2
        or not all(
            isinstance(arg, ast.Constant) and isinstance(arg.value, str) and arg.value.strip()
            for arg in call.args
        )
    ]
    assert not incomplete


def test_every_marked_key_is_listed() -> None:
    listed = set(listed_keys())
    unknown = {where: marked_key(call) for where, call in source_marks()}
    assert {where: key for where, key in unknown.items() if key not in listed} == {}


def test_every_cited_key_is_listed() -> None:
    listed = set(listed_keys())
    assert {key: path for key, path in cited_keys().items() if key not in listed} == {}


def test_no_listed_key_is_unused() -> None:
    used = {marked_key(call) for _, call in source_marks()} | set(cited_keys())
    assert set(listed_keys()) - used == set()


def test_each_key_is_listed_once() -> None:
    assert [key for key, count in Counter(listed_keys()).items() if count > 1] == []


def test_every_listed_key_has_a_reference_below_it() -> None:
    text = (TESTS / "SOURCES.md").read_text(encoding="utf-8")
    bodies = re.split(r"^## \S+$", text, flags=re.MULTILINE)[1:]
    assert all(len(body.strip()) > 20 for body in bodies)
