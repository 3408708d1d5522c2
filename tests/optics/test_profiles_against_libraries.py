"""Profiles against programs that others wrote."""

from __future__ import annotations

import galsim
import numpy as np
import pytest
from prysm import otf as prysm_otf
from prysm import psf as prysm_psf

from frontglass.optics.profiles import Airy, Exponential, Gaussian, Moffat, Profile

# galsim states sizes in arcseconds and wave numbers k = 2 pi f; unit sizes make the unit
# fall out. Its own transforms hold to kvalue_accuracy.
ACCURATE = galsim.GSParams(kvalue_accuracy=1e-10, xvalue_accuracy=1e-10, maximum_fft_size=2**15)

PAIRS = {
    "gaussian": (Gaussian(sigma_rad=1.0), galsim.Gaussian(sigma=1.0, gsparams=ACCURATE)),
    **{
        f"moffat-{beta:g}": (
            Moffat(core_rad=1.0, beta=beta),
            galsim.Moffat(beta=beta, scale_radius=1.0, gsparams=ACCURATE),
        )
        for beta in (1.5, 2.0, 2.5, 3.0, 4.765)
    },
    "flecks": (
        Airy(lambda_over_d_rad=1.0),
        galsim.Airy(lam_over_diam=1.0, gsparams=ACCURATE),
    ),
}
every_pair = pytest.mark.parametrize(("ours", "theirs"), PAIRS.values(), ids=PAIRS.keys())


@pytest.mark.source("GalSim2.8", "GSObject.kValue")
@every_pair
def test_transform_agrees_with_galsim(ours: Profile, theirs: galsim.GSObject) -> None:
    f = np.linspace(0.0, 0.6, 25)
    expected = [theirs.kValue(2 * np.pi * frequency, 0.0).real for frequency in f]
    # 1e-6: what its tables of Bessel functions are interpolated to.
    np.testing.assert_allclose(ours.transform(f), expected, atol=1e-6)


@pytest.mark.source("GalSim2.8", "GSObject.xValue")
@every_pair
def test_density_agrees_with_galsim(ours: Profile, theirs: galsim.GSObject) -> None:
    r = np.linspace(0.0, 4.0, 25)
    expected = np.array([theirs.xValue(0.6 * radius, 0.8 * radius) for radius in r])
    np.testing.assert_allclose(ours.radial_density(r), expected, rtol=1e-6, atol=1e-6 * expected[0])


@pytest.mark.source("GalSim2.8", "half_light_radius")
@every_pair
def test_half_energy_radius_agrees_with_galsim(ours: Profile, theirs: galsim.GSObject) -> None:
    # 1e-5: galsim's constant for Airy's half-light radius has eight digits, Moffat's is exact.
    assert ours.half_energy_radius_rad == pytest.approx(theirs.half_light_radius, rel=1e-5)


@pytest.mark.source("GalSim2.8", "fwhm")
@pytest.mark.parametrize("beta", [1.5, 3.0])
def test_full_width_at_half_maximum_agrees_with_galsim(beta: float) -> None:
    pairs = [
        (Moffat(core_rad=2.0, beta=beta), galsim.Moffat(beta=beta, scale_radius=2.0)),
        (Gaussian(sigma_rad=2.0), galsim.Gaussian(sigma=2.0)),
    ]
    for ours, theirs in pairs:
        half = float(ours.radial_density(theirs.fwhm / 2) / ours.radial_density(0.0))
        assert half == pytest.approx(0.5, rel=1e-9)


@pytest.mark.source("Prysm0.21", "psf.airydisk")
def test_flecks_agree_with_prysm_in_the_image_of_a_lens() -> None:
    # A lens of f-number N images a point as flecks do with lambda / d = lambda N.
    f_number, wavelength_um = 4.0, 0.55
    r_um = np.linspace(0.05, 12.0, 60)
    flecks = Airy(lambda_over_d_rad=f_number * wavelength_um)
    np.testing.assert_allclose(
        flecks.radial_density(r_um) / flecks.radial_density(0.0),
        prysm_psf.airydisk(r_um, f_number, wavelength_um),
        atol=1e-12,
    )


@pytest.mark.source("Prysm0.21", "otf.diffraction_limited_mtf")
def test_flecks_transform_agrees_with_prysm() -> None:
    f_number, wavelength_um = 4.0, 0.55
    cy_per_mm = np.linspace(0.0, 500.0, 51)  # beyond the cut-off at 454.55
    got = Airy(lambda_over_d_rad=f_number * wavelength_um * 1e-3).transform(cy_per_mm)
    expected = prysm_otf.diffraction_limited_mtf(f_number, wavelength_um, frequencies=cy_per_mm)
    np.testing.assert_allclose(got, expected, atol=1e-12)


@pytest.mark.source("GalSim2.8", "Moffat of beta 3/2, whose transform is exponential")
def test_exponential_agrees_with_galsim() -> None:
    theirs = galsim.Moffat(beta=1.5, scale_radius=1.0, gsparams=ACCURATE)
    ours = Exponential(scale_rad=1.0)
    f = np.linspace(0.0, 0.6, 13)
    expected = [theirs.kValue(2 * np.pi * frequency, 0.0).real for frequency in f]
    np.testing.assert_allclose(ours.transform(f), expected, atol=1e-6)
    assert ours.half_energy_radius_rad == pytest.approx(theirs.half_light_radius, rel=1e-9)
