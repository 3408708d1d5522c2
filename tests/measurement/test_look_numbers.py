"""Numbers of a look against closed forms worked out here, by another route."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from frontglass.elements import ConeLobe, Element, ExponentialLobe, GaussianLobe, Glow, Veil
from frontglass.looks import Look, catalogue, read_look
from frontglass.measurement import LookNumbers, look_numbers
from frontglass.optics.camera import Camera

# 6000 px across 36 mm behind 50 mm: 8333.33 px a radian, 145.44 px a degree.
CAMERA = Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=36)
WIDTH_PX = 6000
PX_PER_DEG = 145.44
GREEN = 1


def numbers_of(*elements: Element, strength: float = 1.0) -> LookNumbers:
    look = Look(name="pier", summary="s", watch="w", elements=elements, strength=strength)
    return look_numbers(look, CAMERA, WIDTH_PX)


def glow(depth: float, *lobes, **values) -> Glow:
    return Glow(optical_depth=depth, lobes=lobes, **values)


def poisson(mean: float, most: int = 60) -> np.ndarray:
    """Probabilities of 0, 1, 2, ... deviations, by recurrence."""
    p = [math.exp(-mean)]
    for n in range(1, most):
        p.append(p[-1] * mean / n)
    return np.array(p)


def exponential_within(radius_deg: float, depth: float, scale_deg: float) -> float:
    # K convolved n times with itself is K with n times the scale: the transform is exp(-n k a).
    n = np.arange(1, 60)
    within = 1 - 1 / np.sqrt(1 + (radius_deg / (n * scale_deg)) ** 2)
    p = poisson(depth)
    return float(p[0] + p[1:] @ within)


def gaussian_within(radius_deg: float, depth: float, sigma_deg: float) -> float:
    # Variances add.
    n = np.arange(1, 60)
    p = poisson(depth)
    return float(p[0] + p[1:] @ (1 - np.exp(-(radius_deg**2) / (2 * n * sigma_deg**2))))


def half_radius(within, depth: float, size_deg: float) -> float:
    target = (1 + math.exp(-depth)) / 2
    return float(brentq(lambda r: within(r, depth, size_deg) - target, 1e-9, 1e4))


class TestHalfEnergy:
    @pytest.mark.parametrize("depth", [0.01, 0.06, 0.7, 3.0])
    @pytest.mark.parametrize("size_deg", [0.05, 0.5])
    @pytest.mark.source("Wells1969", "scattering many times: a Poisson sum of convolutions")
    def test_an_exponential_glow(self, depth, size_deg):
        got = numbers_of(glow(depth, ExponentialLobe(scale_deg=size_deg))).glow
        want = half_radius(exponential_within, depth, size_deg)
        assert got.half_energy_radius_deg == pytest.approx([want] * 3, rel=1e-6)
        assert got.direct_share == pytest.approx([math.exp(-depth)] * 3, rel=1e-12)

    @pytest.mark.parametrize("depth", [0.01, 0.06, 0.7, 3.0])
    @pytest.mark.source("Wells1969", "scattering many times: a Poisson sum of convolutions")
    def test_a_gaussian_glow(self, depth):
        got = numbers_of(glow(depth, GaussianLobe(sigma_deg=0.2))).glow
        want = half_radius(gaussian_within, depth, 0.2)
        assert got.half_energy_radius_deg == pytest.approx([want] * 3, rel=1e-6)

    def test_a_thin_glow_has_the_radius_of_its_lobe(self):
        # One deviation only: sqrt(3) a, sigma sqrt(2 ln 2), R / 2.
        for lobe, half_deg in (
            (ExponentialLobe(scale_deg=0.5), 0.5 * math.sqrt(3)),
            (GaussianLobe(sigma_deg=0.5), 0.5 * math.sqrt(2 * math.log(2))),
            (ConeLobe(radius_deg=5.0), 2.5),
        ):
            for depth in (1e-5, 1e-9, 1e-16, 1e-300):
                radii = numbers_of(glow(depth, lobe)).glow.half_energy_radius_deg
                assert radii == pytest.approx([half_deg] * 3, rel=1e-4)

    def test_two_glows_are_one_as_deep_as_both(self):
        lobe = ExponentialLobe(scale_deg=0.5)
        got = numbers_of(glow(0.2, lobe), glow(0.5, lobe))
        want = numbers_of(glow(0.7, lobe))
        assert got.glow.direct_share == pytest.approx(want.glow.direct_share)
        assert got.glow.half_energy_radius_deg == pytest.approx(
            want.glow.half_energy_radius_deg, rel=1e-6
        )
        assert got.veiling_glare_index == pytest.approx(want.veiling_glare_index, rel=1e-6)

    def test_of_two_glows_the_deeper_counts_more(self):
        # Deviations of two bells: the number of each is a Poisson number of its own, and
        # variances add.
        near, far = (0.3, 0.1), (0.1, 0.4)
        n = np.arange(60)
        odds = np.outer(poisson(near[0]), poisson(far[0]))
        variance = np.add.outer(n * near[1] ** 2, n * far[1] ** 2)
        variance[0, 0] = 1  # no deviation: counted as direct light

        def deviated_within(r: float) -> float:
            within = odds * -np.expm1(-(r**2) / (2 * variance))
            return float(within.sum() - within[0, 0])

        half = brentq(lambda r: deviated_within(r) - (1 - odds[0, 0]) / 2, 1e-6, 10)
        got = numbers_of(*(glow(depth, GaussianLobe(sigma_deg=s)) for depth, s in (near, far)))
        # 1e-4: the numeric route for glows of several shapes.
        assert got.glow.half_energy_radius_deg == pytest.approx([half] * 3, rel=1e-4)
        assert got.veiling_glare_index == pytest.approx(
            1 - odds[0, 0] - deviated_within(1.0), abs=1e-5
        )

    def test_each_channel_by_itself(self):
        lobe = GaussianLobe(sigma_deg=0.2, channel_scale=(1.5, 1.0, 0.5))
        got = numbers_of(glow(0.1, lobe, channel_depth=(2.0, 1.0, 0.5))).glow
        sizes = ((0.2, 0.3), (0.1, 0.2), (0.05, 0.1))
        want = [half_radius(gaussian_within, depth, sigma) for depth, sigma in sizes]
        assert got.half_energy_radius_deg == pytest.approx(want, rel=1e-6)
        assert got.direct_share == pytest.approx([math.exp(-depth) for depth, _ in sizes])

    @pytest.mark.parametrize("count", [1, 2])
    def test_a_channel_that_a_glow_leaves_alone(self, count):
        one = glow(0.1, GaussianLobe(sigma_deg=0.2), channel_depth=(0.0, 1.0, 1.0))
        got = numbers_of(*[one] * count).glow
        assert got.direct_share[0] == 1
        assert got.half_energy_radius_deg[0] == got.half_energy_radius_px[0] == 0
        assert got.half_energy_radius_deg[1] > 0.2

    def test_degrees_become_pixels_by_lens_sensor_and_width(self):
        look = glow(0.1, GaussianLobe(sigma_deg=0.2))
        got = numbers_of(look).glow
        ratio = got.half_energy_radius_px[GREEN] / got.half_energy_radius_deg[GREEN]
        assert ratio == pytest.approx(PX_PER_DEG, abs=0.01)
        long = Camera(focal_length_mm=100, f_number=2.8, sensor_width_mm=36)
        of = Look(name="pier", summary="s", watch="w", elements=(look,))
        longer = look_numbers(of, long, WIDTH_PX // 2).glow
        assert longer.half_energy_radius_px == pytest.approx(got.half_energy_radius_px)


class TestGlare:
    def test_the_index_of_a_veil_is_its_share(self):
        assert numbers_of(Veil(veil_share=0.03)).veiling_glare_index == pytest.approx(0.03)
        slate = read_look("slate-roof")
        _, veil = slate.elements
        assert look_numbers(slate, CAMERA, WIDTH_PX).veiling_glare_index == pytest.approx(
            veil.veil_share
        )

    @pytest.mark.source("ISO9358", "veiling glare index: black patch over bright surround")
    def test_two_percent_of_mid_grey_on_ten_stops(self):
        # v = .02 * .18 = .0036; ratio (.98 + .0036) / (.98 / 1024 + .0036) = 215.8 = 7.754 stops;
        # the black rises by log2((.98 / 1024 + .0036) * 1024) = 2.22 stops.
        got = numbers_of(Veil(veil_share=0.02))
        assert got.contrast_stops == pytest.approx(7.754, abs=5e-4)
        assert got.black_lift_stops == pytest.approx(2.22, abs=5e-3)

    @pytest.mark.parametrize(("share", "stops"), [(0.005, 9.06), (0.01, 8.49), (0.05, 6.59)])
    def test_other_veils_on_ten_stops(self, share, stops):
        # As above: v = .18 share, stops = log2((1 - share + v) / ((1 - share) / 1024 + v)).
        assert numbers_of(Veil(veil_share=share)).contrast_stops == pytest.approx(stops, abs=5e-3)

    @pytest.mark.source("ISO9358", "veiling glare index: black patch over bright surround")
    def test_a_glow_lights_the_middle_of_a_black_disc_from_beyond_its_rim(self):
        # What falls further than the disc's radius of 1 degree, from the even field around it.
        got = numbers_of(glow(0.7, ExponentialLobe(scale_deg=0.5)))
        assert got.veiling_glare_index == pytest.approx(1 - exponential_within(1.0, 0.7, 0.5))
        got = numbers_of(glow(0.3, GaussianLobe(sigma_deg=0.4)), Veil(veil_share=0.1))
        assert got.veiling_glare_index == pytest.approx(1 - 0.9 * gaussian_within(1.0, 0.3, 0.4))

    def test_light_that_stays_within_the_disc_is_no_glare(self):
        got = numbers_of(glow(0.2, ConeLobe(radius_deg=0.1)))
        assert got.veiling_glare_index == pytest.approx(0, abs=1e-9)
        assert got.contrast_stops == pytest.approx(10)
        assert got.black_lift_stops == pytest.approx(0, abs=1e-6)

    def test_a_glow_above_a_threshold_lifts_no_black_of_an_even_field(self):
        above = glow(0.7, ExponentialLobe(scale_deg=2.0), threshold_stops=1.0)
        got = numbers_of(above)
        assert (got.veiling_glare_index, got.contrast_stops) == (0, 10)
        assert got.glow.threshold_stops == (1.0,)
        assert got.glow.direct_share == pytest.approx([math.exp(-0.7)] * 3)

    def test_beside_one_above_a_threshold_only_the_other_lifts_blacks(self):
        lobe = ExponentialLobe(scale_deg=0.5)
        got = numbers_of(glow(0.7, lobe, threshold_stops=1.0), glow(0.3, lobe))
        assert got.veiling_glare_index == pytest.approx(1 - exponential_within(1.0, 0.3, 0.5))
        assert got.glow.threshold_stops == (1.0,)


class TestEnds:
    @given(share=st.floats(0, 0.5), depth=st.floats(0, 2), strength=st.floats(0, 2))
    def test_contrast_falls_and_blacks_rise_with_strength(self, share, depth, strength):
        parts = glow(depth, ExponentialLobe(scale_deg=0.5)), Veil(veil_share=share)
        less, more = (
            numbers_of(*parts, strength=strength),
            numbers_of(*parts, strength=2 * strength),
        )
        assert more.veiling_glare_index >= less.veiling_glare_index - 1e-12
        assert more.black_lift_stops >= less.black_lift_stops - 1e-12
        assert more.contrast_stops <= less.contrast_stops + 1e-12
        assert 0 <= less.veiling_glare_index < 1

    def test_strength_0_is_nothing(self):
        for look in catalogue():
            got = look_numbers(look.at(0), CAMERA, WIDTH_PX)
            assert got.glow is None
            assert (got.light_loss_stops, got.veiling_glare_index) == (0, 0)
            assert (got.black_lift_stops, got.contrast_stops) == (0, 10)

    def test_a_look_without_glow_has_no_glow_numbers(self):
        assert numbers_of(Veil(veil_share=0.02)).glow is None

    def test_light_loss_is_the_looks_own(self):
        got = numbers_of(glow(0.1, GaussianLobe(sigma_deg=0.2), clear_share=0.5), strength=2.0)
        assert got.light_loss_stops == pytest.approx(2)
        assert got.strength == 2
