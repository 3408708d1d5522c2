"""Few lobes stand for a learned halo where they fit within its errors, and else do not."""

from __future__ import annotations

import numpy as np
import pytest

import frontglass as fg
from frontglass.learning.lobes import RingLight, glows_of_lobes
from tests.learning.truth import power_law, stretched

EDGES = np.concatenate([[0.0], np.geomspace(5e-4, 0.3, 18), [np.pi]])


def seen(light: np.ndarray, error: float = 0.02) -> RingLight:
    """Light between angles in three channels, with errors of which one in three is made."""
    deviations = error * light + 1e-5
    noise = np.random.default_rng(4).normal(0, 0.3, light.shape)
    return RingLight(EDGES, np.maximum(light + noise * deviations, 0), deviations)


def integrated(shape: object, depth: float) -> np.ndarray:
    """Light between angles of any shape, by adding it up."""
    r = np.geomspace(1e-6, np.pi, 200_000)
    light = shape(r) * 2 * np.pi * r**2  # type: ignore[operator]
    up_to = np.concatenate([[0.0], np.cumsum((light[1:] + light[:-1]) / 2 * np.diff(np.log(r)))])
    own = np.diff(np.interp(np.maximum(EDGES, 1e-6), r, up_to))
    return depth * own / own.sum()


def moffat(core: float, beta: float) -> object:
    return lambda r: (1 + (r / core) ** 2) ** -beta


def test_a_halo_of_the_catalogue_comes_back_as_one_lobe():
    light = np.stack(
        [integrated(moffat(6e-3 * w, 2.2), d) for w, d in ((1.05, 0.33), (1, 0.3), (0.95, 0.26))]
    )
    glow = next(glows_of_lobes(seen(light)))
    (lobe,) = glow.lobes
    assert isinstance(lobe, fg.MoffatLobe)
    assert np.radians(lobe.core_deg) == pytest.approx(6e-3, rel=0.03)
    assert lobe.beta == pytest.approx(2.2, rel=0.03)
    assert glow.optical_depth == pytest.approx(0.3, rel=0.02)
    assert glow.channel_depth == pytest.approx((1.1, 1, 0.867), rel=0.02)
    assert lobe.channel_scale == pytest.approx((1.05, 1, 0.95), abs=0.015)


def test_a_tight_core_with_a_wide_skirt_takes_two_lobes():
    bell = lambda r: np.exp(-(r**2) / (2 * 0.05**2))  # noqa: E731
    light = integrated(moffat(3e-3, 3.0), 0.2) + integrated(bell, 0.1)
    found = next(glows_of_lobes(seen(np.stack([light] * 3))))
    assert len(found.lobes) == 2
    wide = max(found.lobes, key=lambda lobe: lobe.shape().half_energy_radius_rad)
    assert wide.share == pytest.approx(1 / 3, abs=0.02)


@pytest.mark.parametrize("shape", [power_law(4e-3, 2.6), stretched(2e-4, 0.4)])
def test_a_halo_that_no_lobes_fit_within_its_errors_stays_a_table(shape):
    light = np.stack([integrated(shape, 0.3)] * 3)
    assert list(glows_of_lobes(seen(light, 0.002))) == []
