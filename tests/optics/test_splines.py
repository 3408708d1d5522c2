"""Splines against those of scipy."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from frontglass.optics.splines import cubic_through


@pytest.mark.parametrize("power", [1, 2])
@pytest.mark.parametrize("count", [3, 4, 5, 40, 1000])
def test_splines_are_those_of_scipy(count, power):
    x = 3 * np.linspace(0, 1, count) ** power
    y = np.exp(-x) * np.cos(x) if count > 5 else x**2 - x
    at = np.random.default_rng(1).uniform(0, 3, (30, 20))
    # Ends differ by the error of either; 40 points tell this curve to 1e-6.
    tolerance = 1e-12 if count != 40 else 3e-6
    np.testing.assert_allclose(cubic_through(x, y)(at), CubicSpline(x, y)(at), atol=tolerance)
    np.testing.assert_allclose(cubic_through(x, y)(x), y, atol=1e-13)
