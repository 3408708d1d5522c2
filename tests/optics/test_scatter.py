"""Thin scatterers: Poisson shares, series, simulation and limits."""

from __future__ import annotations

import math

import miepython
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from frontglass.errors import ParameterError
from frontglass.optics.hankel import density_from_transform, encircled_from_transform
from frontglass.optics.profiles import Airy, Cone, Exponential, Gaussian, Moffat, Profile
from frontglass.optics.scatter import (
    CHANNEL_WAVELENGTHS_NM,
    CompoundScatter,
    optical_depth_at_wavelength,
    width_ratio_at_wavelength,
)

SIZE = 1e-3
PROFILES: dict[str, Profile] = {
    "gaussian": Gaussian(sigma_rad=SIZE),
    "exponential": Exponential(scale_rad=SIZE),
    "moffat": Moffat(core_rad=SIZE, beta=1.7),
    "flecks": Airy(lambda_over_d_rad=SIZE),
    "cone": Cone(radius_rad=SIZE),
}
every_profile = pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES.keys())


@given(depth=st.floats(0.0, 50.0))
def test_direct_light_is_the_first_term_of_a_poisson_distribution(depth: float) -> None:
    scatter = CompoundScatter(optical_depth=depth, profile=PROFILES["cone"])
    assert scatter.direct == pytest.approx(float(stats.poisson(depth).pmf(0)), rel=1e-12)


@pytest.mark.source("Wells1969", "transfer function of many small deviations")
@every_profile
def test_contrast_ends_on_a_plateau_of_the_direct_light(profile: Profile) -> None:
    scatter = CompoundScatter(optical_depth=0.2, profile=profile)
    assert scatter.direct == pytest.approx(0.818731, abs=5e-7)  # exp(-0.2)
    assert float(scatter.transform(1e6 / SIZE)) == pytest.approx(0.818731, abs=1e-6)


def test_contrast_has_nearly_reached_its_plateau_at_one_cycle_per_scale() -> None:
    scatter = CompoundScatter(optical_depth=0.2, profile=Exponential(scale_rad=100.0))
    # exp(-0.2 (1 - exp(-2 pi))) by hand: 0.819037.
    assert float(scatter.transform(0.01)) == pytest.approx(0.819037, abs=5e-7)


@every_profile
def test_no_depth_is_no_filter(profile: Profile) -> None:
    scatter = CompoundScatter(optical_depth=0.0, profile=profile)
    radii = np.array([0.0, 0.5, 3.0]) * SIZE
    assert scatter.direct == 1.0
    np.testing.assert_array_equal(scatter.radial_density(radii), 0.0)
    np.testing.assert_array_equal(scatter.encircled_flux(radii), 1.0)
    np.testing.assert_array_equal(scatter.transform(radii / SIZE**2), 1.0)


@pytest.mark.source("DelGrosso1975", "transfer functions of layers multiply")
@every_profile
@given(first=st.floats(0.0, 3.0), second=st.floats(0.0, 3.0))
def test_depths_of_layers_add(profile: Profile, first: float, second: float) -> None:
    f = np.geomspace(1e-2, 1e2, 9) / SIZE
    layers = [CompoundScatter(optical_depth=tau, profile=profile) for tau in (first, second)]
    whole = CompoundScatter(optical_depth=first + second, profile=profile)
    np.testing.assert_allclose(
        layers[0].transform(f) * layers[1].transform(f), whole.transform(f), rtol=1e-13
    )


@pytest.mark.source("Ishimaru1978", "small-angle multiple scattering as a Poisson sum")
@pytest.mark.parametrize("name", ["gaussian", "exponential"])
@pytest.mark.parametrize("depth", [0.05, 0.7, 8.0, 60.0])
def test_series_agrees_with_the_transform(name: str, depth: float) -> None:
    """Two routes to one answer: orders of scatter one by one, and all at once."""
    scatter = CompoundScatter(optical_depth=depth, profile=PROFILES[name])
    radii = np.geomspace(0.01, 300.0, 31) * SIZE

    def deviated(f: np.ndarray) -> np.ndarray:
        return scatter.transform(f) - scatter.direct

    np.testing.assert_allclose(
        scatter.encircled_flux(radii),
        scatter.direct + encircled_from_transform(deviated, radii, scale_rad=SIZE),
        atol=1e-10,
    )
    np.testing.assert_allclose(
        scatter.radial_density(radii),
        density_from_transform(deviated, radii, scale_rad=SIZE),
        atol=1e-9 * float(scatter.radial_density(0.0)),
    )


@pytest.mark.parametrize(
    ("profile", "radius_px", "encircled"),
    [(Gaussian(sigma_rad=12.0), 30.5, 0.94975), (Exponential(scale_rad=6.0), 100.5, 0.95847)],
    ids=["gaussian", "exponential"],
)
def test_encircled_flux_agrees_with_counting_pixels(
    profile: Profile, radius_px: float, encircled: float
) -> None:
    scatter = CompoundScatter(optical_depth=0.7, profile=profile)
    assert float(scatter.encircled_flux(radius_px)) == pytest.approx(encircled, abs=5e-6)
    size = 2048
    f = np.fft.fftfreq(size)
    transform = scatter.transform(np.hypot(np.fft.rfftfreq(size), f[:, np.newaxis]))
    spread = np.fft.ifft2(transform, axes=(0,))
    psf = np.fft.irfft(spread, n=size, axis=1)
    axis = np.fft.fftfreq(size, 1 / size)
    counted = psf[np.hypot(axis, axis[:, np.newaxis]) < radius_px].sum()
    # 1e-3: pixels on the rim count whole, and the grid wraps the exponential's far tail.
    assert counted == pytest.approx(encircled, abs=1e-3)


def cone_angles(rng: np.random.Generator, count: int) -> np.ndarray:
    """Angles of a cone profile: density falls as 1 - r, so r is Beta(2, 2)."""
    return rng.beta(2.0, 2.0, count) * SIZE


def moffat_angles(rng: np.random.Generator, count: int) -> np.ndarray:
    """Angles of the Moffat profile, by inverting its encircled flux."""
    return np.sqrt((1 - rng.random(count)) ** (-1 / 0.7) - 1) * SIZE


@pytest.mark.parametrize(("name", "angles"), [("cone", cone_angles), ("moffat", moffat_angles)])
@pytest.mark.parametrize("depth", [0.3, 2.0])
def test_photons_thrown_one_by_one_land_where_the_psf_says(name, angles, depth: float) -> None:
    """An independent program: each photon is deviated a Poisson number of times."""
    rng = np.random.default_rng(20240229)
    photons = 200_000
    times = rng.poisson(depth, photons)
    photon = np.repeat(np.arange(photons), times)
    turn = rng.uniform(0, 2 * np.pi, photon.size)
    angle = angles(rng, photon.size)
    x = np.bincount(photon, angle * np.cos(turn), minlength=photons)
    y = np.bincount(photon, angle * np.sin(turn), minlength=photons)
    radii = np.array([0.1, 0.3, 0.6, 1.0, 1.5, 2.5, 6.0]) * SIZE
    counted = (np.hypot(x, y) <= radii[:, np.newaxis]).mean(axis=1)
    scatter = CompoundScatter(optical_depth=depth, profile=PROFILES[name])
    expected = scatter.encircled_flux(radii)
    # Five standard errors of a count.
    error = 5 * np.sqrt(np.maximum(expected * (1 - expected), 1e-6) / photons)
    assert np.all(np.abs(counted - expected) < error)


@pytest.mark.source("Goodman2005", "sec. 6.3: transfer function as pupil autocorrelation")
@pytest.mark.parametrize("coverage", [0.05, 0.5])
def test_random_flecks_on_a_pupil_scatter_as_the_formula_says(coverage: float) -> None:
    """Opaque discs thrown on a pupil; its autocorrelation is the transfer function."""
    rng = np.random.default_rng(7)
    size, diameter = 1024, 16
    axis = np.fft.fftfreq(size, 1 / size)
    disc = np.hypot(axis, axis[:, np.newaxis]) <= diameter / 2
    area = int(disc.sum())
    correlations = []
    for _ in range(4):
        count = round(coverage * size**2 / area)
        centres = np.bincount(rng.integers(0, size**2, count), minlength=size**2)
        hits = np.fft.irfft2(
            np.fft.rfft2(centres.reshape(size, size)) * np.fft.rfft2(disc), s=(size, size)
        )
        clear = (hits < 0.5).astype(float)
        correlation = np.fft.irfft2(np.abs(np.fft.rfft2(clear)) ** 2, s=(size, size))
        # Along x and y, at separations of up to two diameters.
        steps = np.arange(0, 2 * diameter)
        correlations.append((correlation[0, steps] + correlation[steps, 0]) / 2 / correlation[0, 0])
    # Separation lambda f; in units where lambda is 1, lambda / d is 1 / d.
    drawn_diameter = math.sqrt(4 * area / math.pi)
    flecks = Airy(lambda_over_d_rad=1 / drawn_diameter)
    scatter = CompoundScatter(optical_depth=coverage, profile=flecks)
    np.testing.assert_allclose(np.mean(correlations, axis=0), scatter.transform(steps), atol=5e-3)


@pytest.mark.source("miepython", "efficiencies of spheres of 2 nm, far smaller than the wavelength")
def test_small_particles_scatter_sixteen_times_as_much_at_half_the_wavelength() -> None:
    wavelengths = np.array([800.0, 400.0])
    red, blue = (
        optical_depth_at_wavelength(0.1, wavelength, exponent=4.0) for wavelength in wavelengths
    )
    assert blue / red == pytest.approx(16.0, rel=1e-13)
    scattered = [miepython.efficiencies(1.33 + 0j, 2.0, one)[1] for one in wavelengths]
    assert blue / red == pytest.approx(scattered[1] / scattered[0], rel=1e-3)


@pytest.mark.source("Angstrom1929", "depth as a power of the wavelength")
def test_depth_is_as_stated_in_the_middle_of_the_green() -> None:
    red, green, blue = (
        optical_depth_at_wavelength(0.3, wavelength, exponent=1.3)
        for wavelength in CHANNEL_WAVELENGTHS_NM
    )
    assert green == 0.3
    assert red < green < blue
    assert optical_depth_at_wavelength(0.3, 465.0, exponent=0.0) == 0.3


def test_diffraction_spreads_red_wider_as_flecks_do() -> None:
    red, green = (
        Airy.from_diameter(30.0, wavelength_nm=wavelength) for wavelength in (600.0, 540.0)
    )
    ratio = red.half_energy_radius_rad / green.half_energy_radius_rad
    assert width_ratio_at_wavelength(600.0, exponent=1.0) == pytest.approx(ratio, rel=1e-9)
    assert width_ratio_at_wavelength(600.0, exponent=0.0) == 1.0


@pytest.mark.parametrize("depth", [-0.1, math.nan, math.inf, "0.3"])
def test_an_impossible_depth_is_refused(depth: float) -> None:
    with pytest.raises(ParameterError, match="optical_depth"):
        CompoundScatter(optical_depth=depth, profile=PROFILES["cone"])
    with pytest.raises(ParameterError, match="optical_depth"):
        optical_depth_at_wavelength(depth, 540.0, exponent=1.0)


@pytest.mark.parametrize("wavelength_nm", [0.0, -540.0, math.nan])
def test_an_impossible_wavelength_is_refused(wavelength_nm: float) -> None:
    with pytest.raises(ParameterError, match="wavelength_nm"):
        width_ratio_at_wavelength(wavelength_nm, exponent=1.0)
