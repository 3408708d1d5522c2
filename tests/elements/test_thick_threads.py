"""Woven nets of thick threads, whose crossings hold much light, against their transfer function."""

from __future__ import annotations

import numpy as np
import pytest

from frontglass.elements import Net
from tests.reference.front_optics import camera, level_net_reference, seen

WIDTH = 64


def night() -> np.ndarray:
    light = np.random.default_rng(3).uniform(0, 0.2, (48, WIDTH, 3))
    light[24, 30] = 600
    light[10, 50:52] = 200
    return light.astype(np.float32)


@pytest.mark.parametrize(
    ("pitch_mm", "thread_mm", "scale"),
    [(1.0, 0.3, 4000.0), (1.5, 0.15, 8333.0), (0.5, 0.2, 4000.0)],
)
@pytest.mark.source("Goodman2005", "sec. 4.4: the transfer function of a grating")
def test_thick_threads_are_within_the_bound_beside_a_lamp(pitch_mm, thread_mm, scale):
    net = Net(pitch_mm=pitch_mm, thread_mm=thread_mm)
    got = seen(night(), net, camera=camera(WIDTH, scale))
    want = level_net_reference(night(), net, scale)
    np.testing.assert_allclose(got, want, rtol=1e-3, atol=1e-4)
