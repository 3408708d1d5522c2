"""Profiles against closed forms, handbook values and other routes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize, special

from frontglass.errors import ParameterError
from frontglass.optics.profiles import (
    Airy,
    Cone,
    Exponential,
    Gaussian,
    Mixture,
    Moffat,
    Profile,
)

UNIT = 1e-3
"""Size of the profiles below [rad]."""


@pytest.mark.parametrize(
    ("profile", "r50", "r80", "r90"),
    [
        # Each solved by hand from its encircled flux: e.g. sqrt(2 ln 2), sqrt(3), sqrt(24).
        (Gaussian(sigma_rad=UNIT), 1.17741, 1.79412, 2.14597),
        (Exponential(scale_rad=UNIT), 1.73205, 4.89898, 9.94987),
        (Moffat(core_rad=UNIT, beta=1.25), 3.87298, 24.980, 99.995),
        (Moffat(core_rad=UNIT, beta=2.0), 1.0, 2.0, 3.0),
        (Moffat(core_rad=UNIT, beta=3.0), 0.64359, 1.11179, 1.4705),
        (Airy(lambda_over_d_rad=UNIT), 0.53483, 0.8969, 1.9007),
        # Roots of 2 x**3 - 3 x**2 + share: x = 1/2 by symmetry, the others by Cardano.
        (Cone(radius_rad=UNIT), 0.5, 0.712859, 0.804200),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Profile) else "",
)
def test_radii_that_hold_half_four_fifths_and_nine_tenths(
    profile: Profile, r50: float, r80: float, r90: float
) -> None:
    radii = [profile.encircled_radius_rad(share) / UNIT for share in (0.5, 0.8, 0.9)]
    np.testing.assert_allclose(radii, [r50, r80, r90], rtol=5e-5)  # digits of the values


def test_radii_of_the_cone_by_cardano() -> None:
    for share in (0.1, 0.8, 0.9):
        # x = 1/2 - sin(asin(1 - 2 share)/3) solves the cubic in closed form.
        expected = 0.5 - math.sin(math.asin(1 - 2 * share) / 3)
        radius = Cone(radius_rad=UNIT).encircled_radius_rad(share)
        assert radius / UNIT == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize("beta", [1.25, 2.0, 3.0])
def test_moffat_transform_at_unit_wave_number(beta: float) -> None:
    # K_v(1) by its integral, int exp(-cosh t) cosh(v t) dt, rather than by Bessel functions.
    order = beta - 1
    bessel = integrate.quad(lambda t: math.exp(-math.cosh(t)) * math.cosh(order * t), 0, 12)[0]
    got = float(Moffat(core_rad=UNIT, beta=beta).transform(1 / (2 * np.pi * UNIT)))
    assert got == pytest.approx(2 / math.gamma(order) * 0.5**order * bessel, abs=1e-9)


def test_moffat_of_three_halves_is_the_exponential_profile() -> None:
    moffat, exponential = Moffat(core_rad=UNIT, beta=1.5), Exponential(scale_rad=UNIT)
    r, f = np.geomspace(1e-3, 1e3, 41) * UNIT, np.geomspace(1e-6, 10, 41) / UNIT
    np.testing.assert_allclose(moffat.radial_density(r), exponential.radial_density(r), rtol=1e-12)
    np.testing.assert_allclose(moffat.encircled_flux(r), exponential.encircled_flux(r), rtol=1e-9)
    np.testing.assert_allclose(moffat.transform(f), exponential.transform(f), rtol=1e-11)


def test_exponential_transform_is_the_two_dimensional_one() -> None:
    # The one-dimensional transform of (1 + x**2)**-1.5 is 2 K1(1) = 1.203814 at wave number
    # 1, K1(1) once normalised; the two-dimensional one is 1/e. Taking one for the other is
    # a known slip.
    got = float(Exponential(scale_rad=UNIT).transform(1 / (2 * np.pi * UNIT)))
    assert got == pytest.approx(math.exp(-1), rel=1e-14)
    assert abs(got - float(special.k1(1.0))) > 0.2


@pytest.mark.parametrize("beta", [1.1, 1.5, 3.0, 50.0])
def test_width_at_half_maximum_is_where_half_the_peak_is(beta: float) -> None:
    core_rad = UNIT / (2 * math.sqrt(2 ** (1 / beta) - 1))
    sigma_rad = UNIT / math.sqrt(8 * math.log(2))
    for profile in (Moffat(core_rad=core_rad, beta=beta), Gaussian(sigma_rad=sigma_rad)):
        half = float(profile.radial_density(UNIT / 2) / profile.radial_density(0.0))
        assert half == pytest.approx(0.5, rel=1e-12)


def test_steep_moffat_tends_to_a_gaussian() -> None:
    # (1 + x**2/a**2)**-beta -> exp(-beta x**2/a**2); at beta = 50 they differ by about 1/50.
    steep = Moffat(core_rad=UNIT, beta=50.0)
    gaussian = Gaussian(sigma_rad=UNIT / math.sqrt(100))
    r = np.linspace(0.0, 0.3, 7) * UNIT
    difference = steep.encircled_flux(r) - gaussian.encircled_flux(r)
    assert 1e-4 < np.max(np.abs(difference)) < 0.02


@pytest.mark.parametrize("beta", [1.0001, 1.25, 1.999999, 2.0, 2.000001, 3.0, 20.0, 50.0])
def test_moffat_transform_falls_from_one_to_nothing_without_a_break(beta: float) -> None:
    f = np.concatenate([[0.0], np.geomspace(1e-290, 1e290, 30001)])
    transform = Moffat(core_rad=UNIT, beta=beta).transform(f)
    assert np.all(np.isfinite(transform))
    assert transform[0] == 1
    assert np.all(np.diff(transform) <= 3e-12)
    assert transform[-1] < 1e-100


@pytest.mark.source("BornWolf1999", "sec. 8.5.2: energy within the dark rings")
def test_flecks_encircled_flux_at_dark_rings_agrees_with_born_wolf() -> None:
    rings = special.jn_zeros(1, 3) / np.pi * UNIT
    got = Airy(lambda_over_d_rad=UNIT).encircled_flux(rings)
    np.testing.assert_allclose(got, [0.838, 0.910, 0.938], atol=5e-4)  # source gives 3 digits


@pytest.mark.source("BornWolf1999", "table 8.2: extrema of (2 J1(x)/x)**2")
def test_flecks_rings_agree_with_born_wolf() -> None:
    flecks = Airy(lambda_over_d_rad=UNIT)
    peak = float(flecks.radial_density(0.0))
    # x / pi of minima and maxima, and the intensity there, in the digits of the table.
    for x_over_pi, intensity in [(1.635, 0.0175), (2.679, 0.0042), (3.699, 0.0016)]:
        got = float(flecks.radial_density(x_over_pi * UNIT)) / peak
        assert got == pytest.approx(intensity, abs=5e-5)
    for x_over_pi in (1.220, 2.233, 3.238):
        assert float(flecks.radial_density(x_over_pi * UNIT)) / peak < 1e-6


def test_flecks_half_maximum_and_far_light() -> None:
    flecks = Airy(lambda_over_d_rad=UNIT)
    peak = float(flecks.radial_density(0.0))
    half = optimize.brentq(lambda x: float(flecks.radial_density(x * UNIT)) - peak / 2, 0.3, 0.8)
    assert half == pytest.approx(0.51450, abs=5e-6)
    # J0**2 + J1**2 -> 2 / (pi x); at x = 50 exactly 0.012624.
    assert 1 - float(flecks.encircled_flux(50 / np.pi * UNIT)) == pytest.approx(0.012624, abs=5e-7)


@pytest.mark.parametrize(
    ("diameter_um", "ring_deg"), [(10, 3.84), (20, 1.92), (50, 0.769), (100, 0.384), (200, 0.192)]
)
@pytest.mark.source("BornWolf1999", "sec. 8.5.2: first dark ring at 1.22 lambda / d")
def test_first_dark_ring_of_flecks(diameter_um: float, ring_deg: float) -> None:
    flecks = Airy.from_diameter(diameter_um, wavelength_nm=550.0)
    ring_rad = math.radians(ring_deg)
    got = optimize.minimize_scalar(
        lambda r: float(flecks.radial_density(r)),
        bounds=(0.8 * ring_rad, 1.2 * ring_rad),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert math.degrees(got.x) == pytest.approx(ring_deg, rel=2e-3)  # source gives 3 digits


@pytest.mark.source("Goodman2005", "sec. 6.3.2: transfer function of a circular pupil")
def test_flecks_transform_is_the_overlap_of_two_discs() -> None:
    v = np.array([0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0, 1.5])
    expected = [1.0, 0.872889, 0.685038, 0.391002, 0.144294, 0.037386, 0.0, 0.0]
    got = Airy(lambda_over_d_rad=UNIT).transform(v / UNIT)
    np.testing.assert_allclose(got, expected, atol=5e-7)
    assert float(Airy(lambda_over_d_rad=UNIT).transform(0.403973 / UNIT)) == pytest.approx(
        0.5, abs=1e-6
    )


@pytest.mark.parametrize(
    ("profile", "mtf50", "mtf10"),
    [
        (Gaussian(sigma_rad=UNIT), 0.187391, 0.341541),
        (Exponential(scale_rad=UNIT), 0.110318, 0.366468),
        (Airy(lambda_over_d_rad=UNIT), 0.403973, 0.805384),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Profile) else "",
)
def test_frequencies_of_half_and_a_tenth_contrast(
    profile: Profile, mtf50: float, mtf10: float
) -> None:
    # sqrt(2 ln 2)/(2 pi), ln 2/(2 pi), ln 10/(2 pi), ...
    np.testing.assert_allclose(
        profile.transform(np.array([mtf50, mtf10]) / UNIT), [0.5, 0.1], atol=5e-6
    )


@pytest.mark.source("SciPy1", "special.struve")
def test_cone_transform_agrees_with_struve_functions() -> None:
    q = np.concatenate([np.linspace(0.5, 40.0, 160), [2.9999999, 3.0, 3.0000001]])
    bracket = special.j1(q) * special.struve(0, q) - special.j0(q) * special.struve(1, q)
    got = Cone(radius_rad=UNIT).transform(q / (2 * np.pi * UNIT))
    np.testing.assert_allclose(got, 3 * np.pi / q**2 * bracket, atol=1e-10)


def test_cone_falls_in_a_straight_line_to_its_rim() -> None:
    cone = Cone(radius_rad=UNIT)
    x = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 1.25])
    fall = cone.radial_density(x * UNIT) / cone.radial_density(0.0)
    np.testing.assert_allclose(fall, [1.0, 0.75, 0.5, 0.25, 0.0, 0.0], atol=1e-15)


def test_cone_transform_curves_by_its_second_moment() -> None:
    # 1 - (2 pi f)**2 <r**2> / 4; <r**2> = 3/10 R**2 by integrating the density.
    f = 1e-3 / UNIT
    drop = 1 - float(Cone(radius_rad=UNIT).transform(f))
    assert drop == pytest.approx((2 * np.pi * 1e-3) ** 2 * 0.3 / 4, rel=1e-5)


@pytest.mark.parametrize(
    ("scale_px", "outside"), [(10, 0.0038), (25, 0.0096), (100, 0.0382), (400, 0.1511)]
)
def test_exponential_light_outside_a_frame_by_solid_angle(scale_px: float, outside: float) -> None:
    """The density is that of a point source over a plane at height a: a solid angle.

    The solid angle of a rectangle is closed form, so this checks density over x and y.
    """
    profile = Exponential(scale_rad=float(scale_px))
    x, weight = np.polynomial.legendre.leggauss(200)
    # Nodes bunched at the middle, where the core is: x = sinh(u).
    within = []
    for half in (3000.0, 2000.0):
        span = math.asinh(half / scale_px)
        u = span * x
        within.append((scale_px * np.sinh(u), weight * span * scale_px * np.cosh(u)))
    (px, wx), (py, wy) = within
    inside = float(wy @ profile.radial_density(np.hypot(px, py[:, np.newaxis])) @ wx)
    exact = (
        2
        / math.pi
        * math.atan(3000 * 2000 / (scale_px * math.sqrt(3000**2 + 2000**2 + scale_px**2)))
    )
    assert inside == pytest.approx(exact, abs=1e-9)
    assert 1 - inside == pytest.approx(outside, abs=5e-5)


@pytest.mark.parametrize("times", [2, 5])
def test_repeated_deviations_multiply_transforms(times: int) -> None:
    f = np.geomspace(1e-3, 1.0, 9) / UNIT
    for profile in (Gaussian(sigma_rad=UNIT), Exponential(scale_rad=UNIT)):
        np.testing.assert_allclose(
            profile.repeated(times).transform(f), profile.transform(f) ** times, rtol=1e-12
        )


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        (Gaussian, "sigma_rad"),
        (Exponential, "scale_rad"),
        (Airy, "lambda_over_d_rad"),
        (Cone, "radius_rad"),
        (lambda core_rad: Moffat(core_rad=core_rad, beta=2.0), "core_rad"),
    ],
)
@pytest.mark.parametrize("value", [0.0, -1e-3, math.nan, math.inf, "wide", True])
def test_a_size_must_be_positive(kind: type, name: str, value: object) -> None:
    with pytest.raises(ParameterError, match=name):
        kind(**{name: value})


@pytest.mark.parametrize(
    ("beta", "reason"), [(1.0, "infinite flux"), (-2.0, "infinite flux"), (50.5, "Gaussian")]
)
def test_a_tail_that_means_nothing_is_refused_with_the_reason(beta: float, reason: str) -> None:
    with pytest.raises(ParameterError, match=f"beta must be in .1, 50.*{reason}"):
        Moffat(core_rad=UNIT, beta=beta)


@pytest.mark.parametrize(
    ("shares", "rule"),
    [
        ((0.5, 0.6), "1 in sum"),
        ((1.5, -0.5), ">= 0 each"),
        ((1.0,), "one for each"),
        ((), "one for"),
    ],
)
def test_shares_that_do_not_fit_are_refused(shares: tuple[float, ...], rule: str) -> None:
    with pytest.raises(ParameterError, match=f"shares must be {rule}"):
        Mixture(shares=shares, profiles=(Cone(radius_rad=UNIT), Gaussian(sigma_rad=UNIT)))


def test_decimal_shares_that_sum_to_one_on_paper_pass() -> None:
    lobes = tuple(Gaussian(sigma_rad=UNIT * (k + 1)) for k in range(10))
    assert Mixture(shares=(0.1,) * 10, profiles=lobes).direct == 0.0


@pytest.mark.parametrize("share", [1.0, -0.1, math.nan, 2])
def test_no_circle_holds_all_light_or_less_than_none(share: float) -> None:
    for profile in (Exponential(scale_rad=UNIT), Moffat(core_rad=UNIT, beta=2.0)):
        with pytest.raises(ParameterError, match=r"share must be"):
            profile.encircled_radius_rad(share)


def test_a_radius_beyond_all_angles_is_refused_not_invented() -> None:
    wide = Mixture(shares=(1.0,), profiles=(Exponential(scale_rad=1e12),))
    with pytest.raises(ParameterError, match="within reach"):
        wide.encircled_radius_rad(0.99999)


def test_no_profiles_make_no_mixture() -> None:
    with pytest.raises(ParameterError, match="at least one"):
        Mixture(shares=(), profiles=())


@given(
    beta=st.floats(1.001, 50.0),
    core_rad=st.floats(1e-9, 10.0),
    x=st.floats(1e-9, 1e9),
)
def test_moffat_is_safe_for_any_size_and_angle(beta: float, core_rad: float, x: float) -> None:
    profile = Moffat(core_rad=core_rad, beta=beta)
    assert 0 <= float(profile.transform(x / core_rad)) <= 1 + 1e-12
    assert 0 <= float(profile.encircled_flux(x * core_rad)) <= 1
    assert math.isfinite(float(profile.radial_density(x * core_rad)))
