"""A tint: what passes of each channel."""

from __future__ import annotations

import numpy as np
import pytest

import frontglass as fg
from frontglass.errors import ParameterError

WARM = fg.Tint(passes=(0.96, 0.9, 0.72))


@pytest.mark.source("Bouguer1729", "shares multiply layer by layer")
@pytest.mark.parametrize("strength", [0.5, 1.0, 2.0])
def test_layers_multiply(strength: float):
    light = np.full((3, 4, 3), 2.0)
    lost = fg.render(light, WARM.at(strength), compensate=False)
    np.testing.assert_allclose(lost, light * np.array(WARM.passes) ** strength, rtol=1e-6)


def test_green_is_what_exposure_makes_up():
    seen = fg.render(np.full((3, 4, 3), 2.0), WARM)
    np.testing.assert_allclose(seen[0, 0], 2 * np.array([0.96, 0.9, 0.72]) / 0.9, rtol=1e-6)


@pytest.mark.parametrize("passes", [(0.0, 1.0, 1.0), (1.0, 1.1, 1.0), (1.0, 1.0)])
def test_a_share_outside_its_range_is_refused(passes):
    with pytest.raises(ParameterError, match="passes"):
        fg.Tint(passes=passes)
