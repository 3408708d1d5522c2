"""Light that splits, is lost, or is deviated twice."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.optics.profiles import Cone, Exponential, Gaussian, Mixture, RoundFlecks
from frontglass.optics.psf import Cascade, Dimmed, Split, Undeviated
from frontglass.optics.scatter import CompoundScatter

HALO = Exponential(scale_rad=4e-3)
CORE = Gaussian(sigma_rad=1e-3)
RADII_RAD = np.geomspace(1e-4, 0.1, 15)
FREQUENCIES_PER_RAD = np.geomspace(1.0, 1e3, 15)

shares = st.floats(0.01, 1.0)


def test_a_filter_is_a_sum_that_can_be_read() -> None:
    psf = 0.75 * Undeviated() + 0.20 * HALO + 0.04 * CORE
    assert psf == Split(
        parts=(
            Dimmed(psf=Undeviated(), transmittance=0.75),
            Dimmed(psf=HALO, transmittance=0.20),
            Dimmed(psf=CORE, transmittance=0.04),
        )
    )
    assert psf.flux == pytest.approx(0.99, abs=1e-15)  # 1 % is absorbed
    assert psf.direct == 0.75


def test_sums_and_products_may_be_written_in_either_order() -> None:
    one = 0.5 * HALO + CORE * 0.3
    other = 0.3 * CORE + HALO * 0.5
    np.testing.assert_allclose(one.radial_density(RADII_RAD), other.radial_density(RADII_RAD))
    np.testing.assert_allclose(one.encircled_flux(RADII_RAD), other.encircled_flux(RADII_RAD))


def test_a_split_of_whole_light_is_a_mixture() -> None:
    split = 0.25 * HALO + 0.75 * CORE
    mixture = Mixture(shares=(0.25, 0.75), profiles=(HALO, CORE))
    for route in ("radial_density", "encircled_flux"):
        np.testing.assert_allclose(
            getattr(split, route)(RADII_RAD), getattr(mixture, route)(RADII_RAD)
        )
    np.testing.assert_allclose(
        split.transform(FREQUENCIES_PER_RAD), mixture.transform(FREQUENCIES_PER_RAD)
    )


@given(transmittance=shares)
def test_lost_light_changes_the_level_and_not_the_shape(transmittance: float) -> None:
    dimmed = transmittance * HALO
    assert dimmed.flux == transmittance
    np.testing.assert_allclose(
        dimmed.radial_density(RADII_RAD), transmittance * HALO.radial_density(RADII_RAD)
    )
    np.testing.assert_array_equal(dimmed.encircled_flux(RADII_RAD), HALO.encircled_flux(RADII_RAD))
    np.testing.assert_array_equal(
        dimmed.transform(FREQUENCIES_PER_RAD), HALO.transform(FREQUENCIES_PER_RAD)
    )


@pytest.mark.parametrize("transmittance", [0, -0.1, 1.1, np.nan, "0.3"])
def test_no_glass_gives_light_or_nothing_at_all(transmittance: float) -> None:
    with pytest.raises(ParameterError, match="transmittance"):
        transmittance * HALO


def test_more_light_out_than_in_is_refused_with_the_way_out() -> None:
    with pytest.raises(ParameterError, match=r"sum of fluxes must be <= 1, got 1\.2.* Dim each"):
        HALO + 0.2 * CORE
    with pytest.raises(ParameterError, match="at least one PSF"):
        Split(parts=())


def test_a_number_does_not_add_to_a_psf() -> None:
    with pytest.raises(TypeError, match="unsupported operand"):
        HALO + 0.2  # type: ignore[operator]


def test_nothing_in_the_way_changes_nothing() -> None:
    scatter = CompoundScatter(optical_depth=0.4, profile=CORE)
    for psf in (HALO, scatter):
        cascade = Cascade(first=Undeviated(), second=psf)
        np.testing.assert_allclose(
            cascade.radial_density(RADII_RAD), psf.radial_density(RADII_RAD), rtol=1e-14
        )
        np.testing.assert_allclose(
            cascade.encircled_flux(RADII_RAD), psf.encircled_flux(RADII_RAD), rtol=1e-14
        )


@pytest.mark.parametrize(("first", "second"), [(3e-3, 4e-3), (1e-4, 5e-3)])
def test_two_gaussians_in_a_row_are_one_of_the_summed_variance(first: float, second: float) -> None:
    cascade = Cascade(first=Gaussian(sigma_rad=first), second=Gaussian(sigma_rad=second))
    whole = Gaussian(sigma_rad=np.hypot(first, second))
    peak = float(whole.radial_density(0.0))
    np.testing.assert_allclose(
        cascade.radial_density(RADII_RAD), whole.radial_density(RADII_RAD), atol=1e-9 * peak
    )
    np.testing.assert_allclose(
        cascade.encircled_flux(RADII_RAD), whole.encircled_flux(RADII_RAD), atol=1e-9
    )


@pytest.mark.source("DelGrosso1975", "transfer functions of layers multiply")
@pytest.mark.parametrize(
    "profile",
    [CORE, HALO, Cone(radius_rad=5e-3), RoundFlecks(lambda_over_d_rad=3e-3)],
    ids=lambda profile: type(profile).__name__,
)
def test_two_thin_layers_are_one_of_the_summed_depth(profile: Gaussian) -> None:
    cascade = Cascade(
        first=CompoundScatter(optical_depth=0.3, profile=profile),
        second=CompoundScatter(optical_depth=0.5, profile=profile),
    )
    whole = CompoundScatter(optical_depth=0.8, profile=profile)
    assert cascade.direct == pytest.approx(whole.direct, rel=1e-15)
    np.testing.assert_allclose(
        cascade.transform(FREQUENCIES_PER_RAD), whole.transform(FREQUENCIES_PER_RAD), rtol=1e-13
    )
    # 1e-6: the numeric routes sum the orders of scatter in different ways.
    np.testing.assert_allclose(
        cascade.encircled_flux(RADII_RAD), whole.encircled_flux(RADII_RAD), atol=1e-6
    )
    np.testing.assert_allclose(
        cascade.radial_density(RADII_RAD),
        whole.radial_density(RADII_RAD),
        atol=1e-6 * float(whole.radial_density(0.0)),
    )


@given(first=shares, second=shares)
def test_light_lost_in_a_row_multiplies(first: float, second: float) -> None:
    cascade = Cascade(first=first * HALO, second=second * Undeviated())
    assert cascade.flux == pytest.approx(first * second)
    assert cascade.direct == 0


@pytest.mark.parametrize("share", [1.0, -0.1, np.nan, 2])
def test_no_circle_holds_all_light_or_less_than_none(share: float) -> None:
    with pytest.raises(ParameterError, match=r"share must be"):
        HALO.encircled_radius_rad(share)


def test_a_radius_beyond_all_angles_is_refused_not_invented() -> None:
    wide = Mixture(shares=(1.0,), profiles=(Exponential(scale_rad=1e12),))
    with pytest.raises(ParameterError, match="within reach"):
        wide.encircled_radius_rad(0.99999)
