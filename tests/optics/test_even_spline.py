"""Splines at even steps against scipy's, which take longer to import than a still takes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from frontglass.optics.even_spline import EvenSpline, of_radius


@pytest.mark.parametrize("count", [4, 5, 6, 64, 1000])
def test_agrees_with_the_spline_of_scipy_and_beyond_its_ends(count: int) -> None:
    rng = np.random.default_rng(count)
    values, at = rng.normal(size=count), rng.uniform(-1.05, 3.05, 500)
    reference = CubicSpline(np.linspace(-1, 3, count), values)(at)
    found = EvenSpline(-1, 3, values)(at)
    assert found == pytest.approx(reference, rel=1e-9, abs=1e-9 * np.abs(reference).max())


def test_a_table_along_the_radius_tells_the_function_itself() -> None:
    f = np.hypot.outer(np.linspace(0, 0.5, 40), np.linspace(0, 0.5, 30))
    seen = of_radius(lambda r: np.exp(-((20 * r) ** 2)), f, 1024)
    assert seen == pytest.approx(np.exp(-((20 * f) ** 2)), abs=1e-9)
    assert of_radius(np.cos, np.zeros((1, 1)), 4) == pytest.approx(1)
