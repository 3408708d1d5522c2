"""Examples in docstrings: pytest runs them; here their number is kept from falling."""

from __future__ import annotations

import doctest
from pathlib import Path

SRC = Path(__file__).parents[1] / "src" / "frontglass"
AT_LEAST = 225


def test_the_number_of_examples_does_not_fall():
    parser = doctest.DocTestParser()
    count = sum(
        len(parser.get_examples(path.read_text(encoding="utf-8"))) for path in SRC.rglob("*.py")
    )
    assert count >= AT_LEAST
