"""Accuracy warnings become notices; other warnings stay warnings."""

from __future__ import annotations

import warnings

import pytest

from frontglass.errors import AccuracyWarning
from frontglass.warned import gathered_warnings


def test_each_accuracy_warning_is_gathered_once():
    with gathered_warnings() as told:
        for text in ("a", "b", "a"):
            warnings.warn(text, AccuracyWarning, stacklevel=1)
    assert told == ["a", "b"]


def test_other_warnings_go_their_usual_way():
    with pytest.warns(DeprecationWarning, match="old"), gathered_warnings() as told:
        warnings.warn("old", DeprecationWarning, stacklevel=1)
    assert told == []
