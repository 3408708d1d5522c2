"""What holds for every PSF, whatever its shape."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.optics.profiles import (
    Airy,
    Cone,
    Exponential,
    Gaussian,
    Mixture,
    Moffat,
    Profile,
)
from frontglass.optics.psf import Psf
from frontglass.optics.scatter import CompoundScatter
from frontglass.optics.table import Table

Array = NDArray[np.float64]

# All of about this size, so that one set of radii and frequencies probes them all.
SIZE_RAD = 2e-3

PROFILES: dict[str, Profile] = {
    "gaussian": Gaussian(sigma_rad=SIZE_RAD),
    "exponential": Exponential(scale_rad=SIZE_RAD),
    "moffat-1.25": Moffat(core_rad=SIZE_RAD, beta=1.25),
    "moffat-2": Moffat(core_rad=SIZE_RAD, beta=2.0),
    "moffat-3.5": Moffat(core_rad=SIZE_RAD, beta=3.5),
    "moffat-50": Moffat(core_rad=7 * SIZE_RAD, beta=50.0),
    "flecks": Airy(lambda_over_d_rad=SIZE_RAD),
    "cone": Cone(radius_rad=SIZE_RAD),
    "table": Table(
        angles_rad=tuple(SIZE_RAD * angle for angle in (0.1, 0.3, 1.0, 2.0, 5.0)),
        densities=(9.0, 5.0, 4.0, 0.6, 0.0),
    ),
}
PROFILES["mixture"] = Mixture(
    shares=(0.2, 0.5, 0.3),
    profiles=(PROFILES["gaussian"], PROFILES["moffat-1.25"], PROFILES["cone"].scaled(2.0)),
)
PSFS: dict[str, Psf] = {
    **PROFILES,
    "no scatter": CompoundScatter(optical_depth=0.0, profile=PROFILES["cone"]),
    **{
        f"scatter {depth:g} {name}": CompoundScatter(optical_depth=depth, profile=profile)
        for depth in (0.05, 0.7, 6.0)
        for name, profile in PROFILES.items()
        if name in {"gaussian", "exponential", "moffat-1.25", "flecks", "cone", "mixture", "table"}
    },
}

every_psf = pytest.mark.parametrize("psf", PSFS.values(), ids=PSFS.keys())
every_profile = pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES.keys())

RADII_RAD = np.geomspace(1e-4, 30.0, 60) * SIZE_RAD
FREQUENCIES_PER_RAD = np.geomspace(1e-4, 1e3, 80) / SIZE_RAD


def quadrature(edges: Array) -> tuple[Array, Array]:
    """Nodes and weights of 16-point Gauss-Legendre rules between the edges."""
    x, w = np.polynomial.legendre.leggauss(16)
    half = np.diff(edges)[:, np.newaxis] / 2
    middle = (edges[:-1, np.newaxis] + edges[1:, np.newaxis]) / 2
    return (middle + half * x).ravel(), (half * w).ravel()


@every_psf
def test_otf_is_one_at_the_origin(psf: Psf) -> None:
    assert float(psf.transform(0.0)) == pytest.approx(1.0, abs=1e-14)


@every_psf
def test_direct_lies_between_nothing_and_all(psf: Psf) -> None:
    assert 0 <= psf.direct <= 1


@every_psf
def test_otf_never_exceeds_one(psf: Psf) -> None:
    # The transform of a density >= 0 is largest at the origin.
    assert np.all(np.abs(psf.transform(FREQUENCIES_PER_RAD)) <= 1 + 1e-13)


@every_psf
def test_otf_ends_at_the_direct_share(psf: Psf) -> None:
    # What is spread leaves no contrast at high frequency; what is not keeps all of it.
    plateau = psf.transform(np.array([1e5, 1e9, np.inf]) / SIZE_RAD)
    np.testing.assert_allclose(plateau, psf.direct, atol=1e-10)


@every_psf
def test_density_is_finite_and_never_negative(psf: Psf) -> None:
    radii = np.concatenate([[0.0, 1e-300, 1e-30], RADII_RAD, [1e3, 1e30, 1e300]])
    density = psf.radial_density(radii)
    assert np.all(np.isfinite(density))
    assert np.all(density >= 0)


@every_psf
def test_encircled_flux_rises_from_the_direct_share_to_one(psf: Psf) -> None:
    radii = np.concatenate([[0.0, 1e-30], RADII_RAD, [1e30, np.inf]])
    encircled = psf.encircled_flux(radii)
    assert np.all((encircled >= 0) & (encircled <= 1))
    # 1e-12: the rounding of the numeric routes.
    assert np.all(np.diff(encircled) >= -1e-12)
    assert encircled[0] == pytest.approx(psf.direct, abs=1e-12)
    np.testing.assert_allclose(encircled[-2:], 1.0, atol=1e-7)


@every_psf
def test_encircled_flux_is_the_integral_of_the_density(psf: Psf) -> None:
    radii = np.array([0.01, 0.1, 0.5, 0.75, 1.0, 2.0, 5.0, 20.0]) * SIZE_RAD
    # Edges every 1/20 of the size: a cone's tip and rim fall on edges.
    nodes, weights = quadrature(np.linspace(0.0, 20.0, 2001) * SIZE_RAD)
    rings = 2 * np.pi * nodes * weights * psf.radial_density(nodes)
    within = np.array([rings[nodes < radius].sum() for radius in radii])
    # 2e-6: what the numeric Hankel transform of flecks leaves.
    np.testing.assert_allclose(psf.encircled_flux(radii), psf.direct + within, atol=2e-6)


@every_psf
def test_density_transforms_into_the_otf(psf: Psf) -> None:
    """Second route: 2 pi int density J0(2 pi f r) r dr, by plain quadrature."""
    from scipy.special import j0

    nodes, weights = quadrature(
        np.concatenate([np.arange(0.0, 20.0, 0.1), np.arange(20.0, 4000.5, 1.0)]) * SIZE_RAD
    )
    rings = 2 * np.pi * nodes * weights * psf.radial_density(nodes)
    for frequency in np.array([0.1, 0.3, 0.7]) / SIZE_RAD:
        deviated = float(rings @ j0(2 * np.pi * frequency * nodes))
        # 1e-5: the tail beyond 4000 sizes, which r**-2.5 makes the heaviest here.
        assert float(psf.transform(frequency)) == pytest.approx(psf.direct + deviated, abs=1e-5)


@every_psf
@pytest.mark.parametrize("share", [0.05, 0.5, 0.8, 0.9])
def test_encircled_radius_is_the_inverse_of_encircled_flux(psf: Psf, share: float) -> None:
    radius = psf.encircled_radius_rad(share)
    if psf.direct >= share:
        assert radius == 0
    else:
        assert float(psf.encircled_flux(radius)) == pytest.approx(share, abs=1e-9)


@every_psf
def test_half_energy_radius_holds_half(psf: Psf) -> None:
    assert psf.half_energy_radius_rad == psf.encircled_radius_rad(0.5)


@every_psf
@pytest.mark.parametrize("shape", [(), (3,), (2, 5), (0,)])
def test_answers_have_the_shape_of_the_question_in_float64(
    psf: Psf, shape: tuple[int, ...]
) -> None:
    question = np.full(shape, SIZE_RAD, dtype=np.float32)
    for answer in (
        psf.radial_density(question),
        psf.encircled_flux(question),
        psf.transform(1 / question),
    ):
        assert np.shape(answer) == shape
        assert np.asarray(answer).dtype == np.float64


@every_profile
@pytest.mark.parametrize("ratio", [0.1, 3.0])
def test_a_scaled_profile_is_the_same_shape_wider(profile: Profile, ratio: float) -> None:
    wider = profile.scaled(ratio)
    radii = np.array([0.0, 0.3, 0.9, 4.0]) * SIZE_RAD
    np.testing.assert_allclose(
        wider.radial_density(ratio * radii) * ratio**2, profile.radial_density(radii), rtol=1e-11
    )
    np.testing.assert_allclose(
        wider.encircled_flux(ratio * radii), profile.encircled_flux(radii), rtol=1e-11
    )
    frequencies = np.array([0.0, 0.1, 0.6]) / SIZE_RAD
    np.testing.assert_allclose(
        wider.transform(frequencies / ratio), profile.transform(frequencies), rtol=1e-11
    )
    assert type(wider) is type(profile)


@every_profile
def test_a_profile_deviates_all_light(profile: Profile) -> None:
    assert profile.direct == 0.0
