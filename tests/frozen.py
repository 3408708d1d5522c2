"""What the program once gave, for guards against moves that nobody meant.

Nothing here says that a number is right. Where one is to change, running the module of its test
(``python -m tests.picture.test_frozen_lamps``) writes down the new ones; a diff then shows which
moved, and by how much.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

Cases = Mapping[str, Callable[[], Any]]

DATA = Path(__file__).parent / "data"
RELATIVE, LEAST = 2e-3, 2e-5
"""By how much numbers may differ: another machine's roundings, and no tuned number's last digit."""


def plain(value: Any) -> Any:
    """Return what JSON holds of a value: arrays and tuples as lists, floats of five digits."""
    if isinstance(value, np.ndarray):
        value = value.tolist()
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    if isinstance(value, np.generic):
        value = value.item()
    return float(f"{value:.5g}") if isinstance(value, float) else value


def is_frozen(name: str, case: str, made: Any) -> None:
    """Assert that a case is what the file of that name says."""
    want = json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))[case]
    _alike(plain(made), want, case)


def _alike(got: Any, want: Any, where: str) -> None:
    if isinstance(want, dict):
        assert isinstance(got, dict), where
        assert list(got) == list(want), where
        for key in want:
            _alike(got[key], want[key], f"{where}: {key}")
    elif isinstance(want, list):
        assert isinstance(got, list), where
        assert len(got) == len(want), where
        for number, (one, other) in enumerate(zip(got, want, strict=True)):
            _alike(one, other, f"{where}[{number}]")
    elif isinstance(want, float) and isinstance(got, (float, int)):
        np.testing.assert_allclose(got, want, RELATIVE, LEAST, err_msg=where)
    else:
        assert got == want, where


def write(name: str, cases: Cases) -> None:
    """Write down what cases give now."""
    lines = [f"{json.dumps(case)}: {json.dumps(plain(make()))}" for case, make in cases.items()]
    text = "{\n" + ",\n".join(lines) + "\n}\n"
    (DATA / f"{name}.json").write_text(text, encoding="utf-8")
