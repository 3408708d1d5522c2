"""Planes are kept: a few whatever their size, more where they are small."""

from __future__ import annotations

import numpy as np
import pytest

from frontglass.convolution import kept
from frontglass.convolution.filters import Planes
from frontglass.convolution.kept import KeptPlanes


@pytest.mark.parametrize(("most_bytes", "left"), [(0, [3, 4]), (96, [2, 3, 4])])
def test_as_many_as_fit_and_never_fewer_than_asked(monkeypatch, most_bytes, left):
    monkeypatch.setattr(kept, "KEPT_BYTES", most_bytes)
    made: list[int] = []

    def make(number: int) -> Planes:
        made.append(number)
        return Planes(np.zeros((2, 2)), None)  # 32 bytes

    planes = KeptPlanes(make, fewest=2)
    for number in range(5):
        planes(number)
    made.clear()
    for number in reversed(left):
        planes(number)
    assert made == []
    planes(left[0] - 1)
    assert made == [left[0] - 1]
