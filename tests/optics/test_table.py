"""A tabled profile against routes that share nothing with it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, special

from frontglass.errors import ParameterError
from frontglass.optics.profiles import Moffat
from frontglass.optics.table import Table


def tabled(profile: Moffat, low: float, high: float, rows: int) -> Table:
    angles = np.geomspace(low, high, rows)
    densities = profile.radial_density(angles)
    densities[-1] = 0
    return Table(angles_rad=tuple(angles.tolist()), densities=tuple(densities.tolist()))


def test_the_transform_is_the_bessel_integral_of_the_density():
    table = tabled(Moffat(core_rad=3e-3, beta=1.6), 2e-4, 0.6, 40)
    low, high = table.angles_rad[0], table.angles_rad[-1]
    r = np.concatenate([np.linspace(0, low, 300), np.geomspace(low, high, 300_001)[1:]])
    light = table.radial_density(r) * 2 * np.pi * r
    for f in (0.0, 0.3, 5.0, 80.0, 900.0, 2e4):
        want = integrate.trapezoid(light * special.j0(2 * np.pi * f * r), r)
        assert float(table.transform(f)) == pytest.approx(want, abs=2e-7)


@pytest.mark.source("FritschCarlson1980", "what the interpolation is")
def test_a_moffat_is_found_again_between_the_rows_of_its_table():
    # 25 rows a decade. Within the table the shape is that of the Moffat, up to the light that
    # the Moffat has beyond it.
    truth = Moffat(core_rad=3e-3, beta=1.6)
    table = tabled(truth, 2e-4, 0.6, 87)
    r = np.geomspace(3e-4, 0.3, 500)
    ratio = table.radial_density(r) / truth.radial_density(r)
    beyond = 1 - float(truth.encircled_flux(0.6))
    np.testing.assert_allclose(ratio, 1 / (1 - beyond), rtol=3e-3)


def test_a_galaxy_profile_of_another_program_transforms_as_there():
    galsim = pytest.importorskip("galsim")
    shape = galsim.Sersic(n=2.5, half_light_radius=1.0)
    r = np.geomspace(1e-4, 30, 200)
    densities = np.array([shape.xValue(0.0, float(x)) for x in r])
    densities[-1] = 0
    table = Table(angles_rad=tuple(r.tolist()), densities=tuple(densities.tolist()))
    for f in (0.02, 0.1, 0.3, 1.0, 3.0):
        want = shape.kValue(2 * np.pi * f, 0.0).real
        assert float(table.transform(f)) == pytest.approx(want, abs=2e-3)


@pytest.mark.parametrize(
    ("angles", "densities", "said"),
    [
        ((0.1,), (0.0,), "2 to 256 angles"),
        ((0.1, 0.1), (1.0, 0.0), "rising, got 0.1"),
        ((0.0, 0.1), (1.0, 0.0), "> 0"),
        ((0.1, 0.2), (1.0,), "one for each of the 2 angles"),
        ((0.1, 0.2), (1.0, 0.5), "0 at the last angle"),
        ((0.1, 0.2), (0.0, 0.0), "above 0 somewhere"),
        ((0.1, 0.2), (-1.0, 0.0), ">= 0"),
        ((0.1, 0.2), (float("nan"), 0.0), "densities"),
    ],
)
def test_a_table_that_says_nothing_is_refused(angles, densities, said):
    with pytest.raises(ParameterError, match=said):
        Table(angles_rad=angles, densities=densities)
