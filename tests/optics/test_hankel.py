"""The numeric Hankel transform, alone and against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from frontglass.optics.hankel import density_from_transform, encircled_from_transform
from frontglass.optics.profiles import Airy, Cone, Exponential, Gaussian, Moffat, Profile

SIZE = 1e-3
RADII = np.geomspace(1e-3, 1e3, 61) * SIZE


@pytest.mark.source("Hamilton2000", "appendix B: Hankel transform on a logarithmic grid")
@pytest.mark.parametrize(
    ("profile", "density_error", "encircled_error"),
    [
        # Errors relative to the peak and to all light. Smooth profiles to rounding; flecks'
        # transform ends in a kink, a cone's rings on, which is why `CompoundScatter` sends
        # only multiple scatter, whose transform falls twice as fast, this way.
        (Gaussian(sigma_rad=SIZE), 1e-10, 1e-10),
        (Exponential(scale_rad=SIZE), 1e-10, 1e-11),
        (Moffat(core_rad=SIZE, beta=1.25), 1e-10, 1e-11),
        (Moffat(core_rad=SIZE, beta=4.0), 1e-10, 1e-10),
        (Airy(lambda_over_d_rad=SIZE), 1e-6, 5e-6),
        (Cone(radius_rad=SIZE), 2e-3, 1e-6),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Profile) else "",
)
def test_closed_forms_come_back(
    profile: Profile, density_error: float, encircled_error: float
) -> None:
    density = density_from_transform(profile.transform, RADII, scale_rad=SIZE)
    peak = float(profile.radial_density(0.0))
    np.testing.assert_allclose(
        density, profile.radial_density(RADII), rtol=0, atol=density_error * peak
    )
    encircled = encircled_from_transform(profile.transform, RADII, scale_rad=SIZE)
    np.testing.assert_allclose(
        encircled, profile.encircled_flux(RADII), rtol=0, atol=encircled_error
    )


def test_tail_keeps_its_relative_accuracy() -> None:
    # The halo of a lamp is looked at a thousand cores out, a billion times below the peak.
    profile = Exponential(scale_rad=SIZE)
    got = density_from_transform(profile.transform, RADII, scale_rad=SIZE)
    np.testing.assert_allclose(got, profile.radial_density(RADII), rtol=1e-8)


@pytest.mark.parametrize("scale", [1e-3 * SIZE, SIZE, 1e3 * SIZE])
def test_a_rough_guess_of_the_scale_is_good_enough(scale: float) -> None:
    profile = Moffat(core_rad=SIZE, beta=2.0)
    got = encircled_from_transform(profile.transform, RADII, scale_rad=scale)
    np.testing.assert_allclose(got, profile.encircled_flux(RADII), atol=1e-8)


def test_borders() -> None:
    profile = Moffat(core_rad=SIZE, beta=1.25)
    ends = np.array([0.0, 1e300, np.inf])
    encircled = encircled_from_transform(profile.transform, ends, scale_rad=SIZE)
    np.testing.assert_allclose(encircled, [0.0, 1.0, 1.0], atol=1e-15)
    density = density_from_transform(profile.transform, ends, scale_rad=SIZE)
    assert density[0] == pytest.approx(float(profile.radial_density(0.0)), rel=1e-6)
    np.testing.assert_array_equal(density[1:], 0.0)
