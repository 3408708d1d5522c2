"""Planes are kept: a few whatever their size, more where they are small."""

from __future__ import annotations

import numpy as np
import pytest

from frontglass.convolution import kept
from frontglass.convolution.filters import Planes, VeilFilter
from frontglass.convolution.kept import Kept


@pytest.mark.parametrize(("most_bytes", "left"), [(0, [3, 4]), (80, [2, 3, 4])])
def test_as_many_as_fit_and_never_fewer_than_asked(monkeypatch, most_bytes, left):
    monkeypatch.setattr(kept, "KEPT_BYTES", most_bytes)
    made: list[int] = []
    filters = [VeilFilter(share=number / 10) for number in range(5)]

    def make(filter_, shape) -> Planes:
        made.append(filters.index(filter_))
        return Planes(np.zeros(shape), None)  # 32 bytes

    planes = Kept(make, 2)
    for one in filters:
        planes(one, (2, 2))
    made.clear()
    for number in reversed(left):
        planes(filters[number], (2, 2))
    assert made == []
    planes(filters[left[0] - 1], (2, 2))
    assert made == [left[0] - 1]
