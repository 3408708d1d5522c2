"""What a glow and a veil say of themselves: borders, strengths, colours, shares."""

from __future__ import annotations

import math
from typing import Any

import miepython
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.elements import (
    ConeLobe,
    ExponentialLobe,
    FlecksLobe,
    GaussianLobe,
    Glow,
    MoffatLobe,
    Place,
    Veil,
)
from frontglass.errors import ParameterError
from frontglass.optics.profiles import Mixture

BELL = GaussianLobe(sigma_deg=0.3)
RED, GREEN, BLUE = 0, 1, 2
NO_NUMBERS = (math.nan, math.inf, -math.inf, "0.5", True, None, 10**400)


def glow(**values: Any) -> Glow:
    return Glow(**{"optical_depth": 0.3, "lobes": (BELL,), **values})


def lobe(kind: type, **values: Any) -> Any:
    size = {
        GaussianLobe: {"sigma_deg": 0.3},
        ExponentialLobe: {"scale_deg": 0.3},
        MoffatLobe: {"core_deg": 0.3, "beta": 2.0},
        FlecksLobe: {"diameter_um": 100.0},
        ConeLobe: {"radius_deg": 2.0},
    }[kind]
    return kind(**{**size, **values})


def refuses(make: Any, name: str, got: object, rule: str = "") -> None:
    with pytest.raises(ParameterError) as caught:
        make()
    error = caught.value
    assert error.name == name
    assert error.got is got or error.got == got
    assert rule in error.rule
    assert str(error).startswith(f"{name} must be {error.rule}, got {got!r}.")
    assert "\n" not in str(error)


class TestBorders:
    @pytest.mark.parametrize("value", [*NO_NUMBERS, -1e-9])
    def test_optical_depth(self, value):
        refuses(lambda: glow(optical_depth=value), "optical_depth", value)

    @pytest.mark.parametrize("value", [*NO_NUMBERS, 4.001, -4.001])
    def test_depth_exponent(self, value):
        refuses(lambda: glow(depth_exponent=value), "depth_exponent", value)

    @pytest.mark.parametrize("value", [*NO_NUMBERS, 0, -0.1, 1.001])
    def test_clear_share(self, value):
        refuses(lambda: glow(clear_share=value), "clear_share", value)

    @pytest.mark.parametrize("value", [-10.1, 16.1, *(v for v in NO_NUMBERS if v is not None)])
    def test_threshold_stops(self, value):
        refuses(lambda: glow(threshold_stops=value), "threshold_stops", value)

    @pytest.mark.parametrize("value", [*NO_NUMBERS, -0.1, 8.1])
    def test_knee_stops(self, value):
        refuses(lambda: glow(knee_stops=value), "knee_stops", value)

    @pytest.mark.parametrize(
        "value", [(1.0, 1.0), (1.0,) * 4, 1.0, "abc", None, (1.0, -0.1, 1.0), [1.0, 1.0, 1.0]]
    )
    def test_channel_depth(self, value):
        refuses(lambda: glow(channel_depth=value), "channel_depth", value)

    @pytest.mark.parametrize("value", NO_NUMBERS)
    def test_channel_depth_holds_numbers(self, value):
        refuses(lambda: glow(channel_depth=(1.0, value, 1.0)), "channel_depth", value)

    @pytest.mark.parametrize("value", [(), [], [BELL], None, BELL, (BELL, "bell")])
    def test_lobes(self, value):
        # A list would leave a frozen value without a hash.
        refuses(lambda: glow(lobes=value), "lobes", value, "a tuple of at least one lobe")

    @pytest.mark.parametrize("value", [*NO_NUMBERS, -0.001, 1, 1.5])
    def test_veil_share(self, value):
        refuses(lambda: Veil(veil_share=value), "veil_share", value)

    def test_the_ends_of_every_range_are_in_it(self):
        glow(optical_depth=0, depth_exponent=4, clear_share=1, threshold_stops=-10, knee_stops=0)
        glow(optical_depth=4096)
        glow(optical_depth=1000, depth_exponent=-4, clear_share=1e-9, threshold_stops=16)
        glow(knee_stops=8, channel_depth=(0, 0, 0))
        Veil(veil_share=0)
        Veil(veil_share=math.nextafter(1, 0))

    @pytest.mark.parametrize("kind", [Glow, Veil])
    def test_values_come_by_name(self, kind):
        with pytest.raises(TypeError):
            kind(0.5)

    @pytest.mark.parametrize("strength", [-1, math.nan, math.inf])
    def test_a_strength_that_is_none_is_refused(self, strength):
        for element in (glow(), glow(clear_share=0.9), Veil(veil_share=0.1)):
            with pytest.raises(ParameterError):
                element.at(strength)


class TestLobeBorders:
    @pytest.mark.parametrize(
        ("kind", "name"),
        [
            (GaussianLobe, "sigma_deg"),
            (ExponentialLobe, "scale_deg"),
            (MoffatLobe, "core_deg"),
            (ConeLobe, "radius_deg"),
        ],
    )
    @pytest.mark.parametrize("value", [*NO_NUMBERS, 0, -1, 60.1])
    def test_widths(self, kind, name, value):
        refuses(lambda: lobe(kind, **{name: value}), name, value)
        assert getattr(lobe(kind, **{name: 60}), name) == 60

    @pytest.mark.parametrize("value", [*NO_NUMBERS, 1.999, 5001, 0, -3])
    def test_diameter_um(self, value):
        refuses(lambda: lobe(FlecksLobe, diameter_um=value), "diameter_um", value)

    @pytest.mark.parametrize("value", [*NO_NUMBERS, 1, 0.5, 50.1])
    def test_beta(self, value):
        refuses(lambda: lobe(MoffatLobe, beta=value), "beta", value)

    @pytest.mark.parametrize(
        "kind", [GaussianLobe, ExponentialLobe, MoffatLobe, FlecksLobe, ConeLobe]
    )
    def test_what_all_lobes_share(self, kind):
        for value in (*NO_NUMBERS, 0, -1):
            refuses(lambda value=value: lobe(kind, share=value), "share", value)
        for value in (*NO_NUMBERS, 4.1, -4.1):
            refuses(
                lambda value=value: lobe(kind, wavelength_exponent=value),
                "wavelength_exponent",
                value,
            )
        for scale in ((1.0, 1.0), 1.0, None, (1.0, 0.0, 1.0), (1.0, -1.0, 1.0), [1.0, 1.0, 1.0]):
            refuses(lambda scale=scale: lobe(kind, channel_scale=scale), "channel_scale", scale)


class TestStrength:
    def test_nothing_is_left_at_zero(self):
        bare = glow(clear_share=0.8, optical_depth=3.0).at(0)
        assert (bare.optical_depth, bare.clear_share) == (0, 1)
        assert [bare.psf(channel).direct for channel in (RED, GREEN, BLUE)] == [1, 1, 1]
        assert Veil(veil_share=0.4).at(0).veil_share == 0

    @given(a=st.floats(0, 8), b=st.floats(0, 8))
    def test_a_strength_of_a_strength_multiplies(self, a, b):
        once, twice = glow(clear_share=0.9).at(a * b), glow(clear_share=0.9).at(a).at(b)
        assert twice.optical_depth == pytest.approx(once.optical_depth, rel=1e-12, abs=1e-300)
        assert twice.clear_share == pytest.approx(once.clear_share, rel=1e-12)
        veil = Veil(veil_share=0.05)
        assert veil.at(a).at(b).veil_share == pytest.approx(veil.at(a * b).veil_share, abs=1e-12)

    def test_only_the_strength_changes(self):
        before = glow(
            lobes=(BELL, ConeLobe(radius_deg=3.0)),
            depth_exponent=1.0,
            channel_depth=(1.1, 1.0, 0.9),
            threshold_stops=1.0,
            knee_stops=0.5,
        )
        after = before.at(0.25)
        kept = ("lobes", "depth_exponent", "channel_depth", "threshold_stops", "knee_stops")
        assert [getattr(after, k) for k in kept] == [getattr(before, k) for k in kept]

    @given(s1=st.floats(0, 4), s2=st.floats(0, 4), channel=st.sampled_from([RED, GREEN, BLUE]))
    @pytest.mark.source("DelGrosso1975", "layers in a row multiply their transfer functions")
    def test_strengths_of_a_glow_add(self, s1, s2, channel):
        lobes = (ConeLobe(radius_deg=2.0, share=0.3), ExponentialLobe(scale_deg=0.4, share=0.7))
        thing = glow(lobes=lobes, depth_exponent=0.7, clear_share=0.9)
        f_per_rad = np.array([0.0, 3.0, 40.0, 500.0, 1e6])
        one, two, both = (thing.at(s).psf(channel) for s in (s1, s2, s1 + s2))
        np.testing.assert_allclose(
            one.transform(f_per_rad) * two.transform(f_per_rad),
            both.transform(f_per_rad),
            rtol=1e-12,
        )
        assert one.direct * two.direct == pytest.approx(both.direct, rel=1e-12)
        assert thing.at(s1).transmittance * thing.at(s2).transmittance == pytest.approx(
            thing.at(s1 + s2).transmittance, rel=1e-12
        )

    @given(share=st.floats(0, 0.99), s1=st.floats(0, 4), s2=st.floats(0, 4))
    def test_strengths_of_a_veil_add(self, share, s1, s2):
        # L -> (1 - V) L + V mean twice: what both leave unspread multiplies, the mean is kept.
        veil = Veil(veil_share=share)
        light = np.array([0.0, 0.02, 0.3, 5.0])

        def seen(light, veil):
            return (1 - veil.veil_share) * light + veil.veil_share * light.mean()

        np.testing.assert_allclose(
            seen(seen(light, veil.at(s1)), veil.at(s2)), seen(light, veil.at(s1 + s2)), atol=1e-12
        )

    def test_a_veil_of_half_the_light_can_be_laid_64_times(self):
        # 1 - 2**-64 is 1 to a float, and a share of 1 is out of range.
        assert 1 - 1e-15 < Veil(veil_share=0.5).at(64).veil_share < 1

    def test_the_direct_share_is_the_poisson_share_of_no_deviation(self):
        assert glow(optical_depth=0.7).psf(GREEN).direct == pytest.approx(0.496585, abs=5e-7)

    def test_places(self):
        assert Place.AIR < glow().place < Veil(veil_share=0.1).place
        assert glow().place is Place.FRONT


class TestColour:
    def test_a_glow_is_neutral_unless_told_otherwise(self):
        thing = glow(lobes=(BELL, ConeLobe(radius_deg=1.0)))
        assert thing.psf(RED) == thing.psf(GREEN) == thing.psf(BLUE)

    @pytest.mark.source("BornWolf1999", "sec. 8.5.2: rings of a circular aperture go as lambda / D")
    def test_diffraction_spreads_red_wider_than_blue_by_their_wavelengths(self):
        thing = glow(lobes=(FlecksLobe(diameter_um=80.0),))
        radius = [thing.profile(channel).half_energy_radius_rad for channel in (RED, GREEN, BLUE)]
        assert radius[RED] / radius[BLUE] == pytest.approx(600 / 465, rel=1e-9)
        assert radius[RED] / radius[GREEN] == pytest.approx(600 / 540, rel=1e-9)
        assert thing.depth(RED) == thing.depth(BLUE)

    @pytest.mark.parametrize(
        "kind", [GaussianLobe, ExponentialLobe, MoffatLobe, FlecksLobe, ConeLobe]
    )
    @pytest.mark.parametrize("exponent", [0, 1, -2])
    def test_every_lobe_widens_with_its_exponent(self, kind, exponent):
        profile = lobe(kind, wavelength_exponent=exponent).profile
        ratio = profile(RED).half_energy_radius_rad / profile(BLUE).half_energy_radius_rad
        assert ratio == pytest.approx((600 / 465) ** exponent, rel=1e-9)

    def test_refraction_is_the_same_for_all(self):
        assert lobe(FlecksLobe, wavelength_exponent=0).profile(RED) == lobe(FlecksLobe).shape()

    def test_channel_scale_widens_a_channel(self):
        wide = lobe(GaussianLobe, channel_scale=(1.6, 1.0, 0.7))
        assert wide.profile(RED).sigma_rad == pytest.approx(math.radians(0.3 * 1.6))
        assert wide.profile(GREEN).sigma_rad == pytest.approx(math.radians(0.3))
        assert wide.profile(BLUE).sigma_rad == pytest.approx(math.radians(0.3 * 0.7))

    @pytest.mark.source("miepython", "efficiencies of spheres of 2 nm")
    def test_small_particles_deviate_blue_more(self):
        depth = glow(depth_exponent=4).depth
        assert depth(BLUE) / depth(RED) == pytest.approx((600 / 465) ** 4)
        red, blue = (miepython.efficiencies(1.33 + 0j, 2.0, one)[1] for one in (600, 465))
        assert depth(BLUE) / depth(RED) == pytest.approx(blue / red, rel=1e-3)
        assert depth(GREEN) == pytest.approx(0.3)

    def test_channel_depth_multiplies_the_depth(self):
        thing = glow(channel_depth=(1.15, 1.0, 0.0))
        assert [thing.depth(c) for c in (RED, GREEN, BLUE)] == pytest.approx([0.345, 0.3, 0.0])


class TestLobes:
    def test_shares_count_relative_to_their_sum(self):
        lobes = (BELL, ConeLobe(radius_deg=3.0, share=3.0), MoffatLobe(core_deg=0.1, beta=2))
        profile = glow(lobes=lobes).profile(GREEN)
        assert isinstance(profile, Mixture)
        assert profile.shares == pytest.approx((0.2, 0.6, 0.2))
        scaled = tuple(lobe(type(x), share=7 * x.share) for x in lobes)
        assert glow(lobes=scaled).profile(GREEN).shares == pytest.approx(profile.shares)

    def test_the_share_of_a_single_lobe_means_nothing(self):
        assert glow(lobes=(GaussianLobe(sigma_deg=0.3, share=0.1),)).psf(GREEN) == glow().psf(GREEN)

    @pytest.mark.source("BornWolf1999", "sec. 8.5.2, table 8.2: first dark ring at 1.220 lambda/D")
    def test_flecks_have_their_first_dark_ring_where_an_aperture_has_it(self):
        profile = FlecksLobe(diameter_um=100.0).shape()
        ring_rad = 1.220 * 540e-9 / 100e-6
        around = ring_rad * np.linspace(0.97, 1.03, 601)
        darkest = around[np.argmin(profile.radial_density(around))]
        # The source gives four digits.
        assert darkest == pytest.approx(ring_rad, rel=5e-4)
        assert profile.radial_density(ring_rad) < 1e-6 * profile.radial_density(0.0)

    @pytest.mark.source("BornWolf1999", "sec. 8.5.2: 83.8 % within the first dark ring")
    def test_flecks_hold_what_an_aperture_holds_within_the_ring(self):
        profile = FlecksLobe(diameter_um=100.0).shape()
        assert profile.encircled_flux(1.220 * 5.4e-3) == pytest.approx(0.838, abs=5e-4)

    def test_degrees_become_radians_once(self):
        # Closed forms: a bell holds half within sigma sqrt(2 ln 2), an exponential transfer
        # function's kernel within a sqrt(3), a cone within R/2 (3 x^2 - 2 x^3 = 1/2).
        halves = {
            GaussianLobe: 0.3 * math.sqrt(2 * math.log(2)),
            ExponentialLobe: 0.3 * math.sqrt(3),
            ConeLobe: 2.0 / 2,
            MoffatLobe: 0.3,  # beta 2: 1 - 1 / (1 + x^2) = 1/2
        }
        for kind, half_deg in halves.items():
            radius = math.degrees(lobe(kind).shape().half_energy_radius_rad)
            assert radius == pytest.approx(half_deg, rel=1e-9), kind


def test_light_lost_is_what_is_not_clear():
    assert glow(clear_share=0.87).transmittance == 0.87
    assert glow(clear_share=0.5).at(2).transmittance == pytest.approx(0.25)
    assert Veil(veil_share=0.3).transmittance == 1
