"""Profiles written as sums of Gaussians."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frontglass.optics.gaussians import Gaussians, as_gaussians
from frontglass.optics.profiles import Airy, Cone, Exponential, Gaussian, Moffat, Profile

SIZE = 1e-3


def sum_of(profile: Profile, largest_sigma_rad: float) -> Gaussians:
    gaussians = as_gaussians(profile, largest_sigma_rad)
    assert gaussians is not None
    return gaussians


@pytest.mark.parametrize(
    "profile",
    [
        Gaussian(sigma_rad=SIZE),
        Exponential(scale_rad=SIZE),
        *(Moffat(core_rad=SIZE, beta=beta) for beta in (1.1, 1.25, 1.7, 2.0, 3.0, 5.0, 12.0, 50.0)),
    ],
    ids=repr,
)
@pytest.mark.parametrize("largest", [30.0, 3e3, 1e5])
def test_the_sum_has_the_transform_of_the_profile(profile: Profile, largest: float) -> None:
    shares, sigmas_rad = sum_of(profile, largest * SIZE)
    assert np.all(shares >= 0)
    assert math.fsum(shares) == pytest.approx(1.0, abs=1e-14)
    assert np.all(sigmas_rad <= largest * SIZE)
    # The largest Gaussian is all gone at this frequency, so that narrowing shows nowhere.
    f = np.geomspace(1.2 / largest, 3.0, 60) / SIZE
    whole = np.exp(-2 * (np.pi * sigmas_rad * f[:, np.newaxis]) ** 2) @ shares
    np.testing.assert_allclose(whole, profile.transform(f), rtol=0, atol=1e-8)


@pytest.mark.parametrize("beta", [1.25, 1.5, 3.0])
def test_the_sum_has_the_tail_of_the_profile(beta: float) -> None:
    # Second route: light in rings, which the transform hardly shows so far out.
    profile = Moffat(core_rad=SIZE, beta=beta)
    shares, sigmas_rad = sum_of(profile, 1e9 * SIZE)
    r = np.geomspace(0.01, 1e3, 30) * SIZE
    density = np.exp(-((r[:, np.newaxis] / sigmas_rad) ** 2) / 2) @ (
        shares / (2 * np.pi * sigmas_rad**2)
    )
    rings = np.pi * r**2
    # 2e-9 of the light: the sum drops what holds less than 1e-9.
    np.testing.assert_allclose(
        rings * density, rings * profile.radial_density(r), rtol=0, atol=2e-9
    )


@pytest.mark.parametrize("profile", [Cone(radius_rad=SIZE), Airy(lambda_over_d_rad=SIZE)])
def test_a_profile_with_an_edge_has_no_such_sum(profile: Profile) -> None:
    assert as_gaussians(profile, 1.0) is None
