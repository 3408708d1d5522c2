"""What standard targets say of a look, against what its elements say in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

import frontglass as fg
from frontglass.elements import (
    ConeLobe,
    ExponentialLobe,
    FlecksLobe,
    GaussianLobe,
    Glow,
    MoffatLobe,
    Net,
    Veil,
)
from frontglass.looks import Look
from frontglass.measurement import look_numbers
from frontglass.measurement.charts import (
    detail_curve,
    glare_index,
    lamp_halo,
    light_loss,
    texture_held,
    wedge_levels,
)
from frontglass.measurement.measure import LookMeasures, measure

CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=36)
WIDTH_PX, HEIGHT_PX = 4096, 2304


def look_of(*elements, strength: float = 1.0) -> Look:
    return Look(name="pier", summary="s", watch="w", elements=elements, strength=strength)


def measured(*elements) -> LookMeasures:
    return measure(look_of(*elements), CAMERA, WIDTH_PX, HEIGHT_PX)


class TestLamp:
    @pytest.mark.source("Moffat1969", "flux within a radius of a power-law profile")
    @pytest.mark.parametrize(
        ("lobe", "half", "most"),
        [
            # Thin: radii of one deviation, half and four fifths of it.
            (GaussianLobe(sigma_deg=0.2), 1.17741 * 0.2, 1.79412 * 0.2),
            (ExponentialLobe(scale_deg=0.5), 1.73205 * 0.5, 4.89898 * 0.5),
            (MoffatLobe(core_deg=0.3, beta=2), 0.3, 0.6),
            (MoffatLobe(core_deg=0.3, beta=3), 0.64359 * 0.3, 1.11179 * 0.3),
            (ConeLobe(radius_deg=2.0), 1.0, None),
        ],
    )
    def test_encircled_energy_of_known_spreads(self, lobe, half, most):
        got = lamp_halo(look_of(Glow(optical_depth=1e-3, lobes=(lobe,))), CAMERA)
        assert got.half_energy_deg == pytest.approx(half, rel=0.01)
        if most is not None:
            assert got.four_fifths_deg == pytest.approx(most, rel=0.02)
        assert got.direct_share == pytest.approx(math.exp(-1e-3), abs=2e-5)

    @pytest.mark.source("BornWolf1999", "sec. 8.5.2: energy within the rings of Airy's pattern")
    def test_encircled_energy_of_round_flecks(self):
        # Half within .53483 wavelength / diameter.
        glow = Glow(optical_depth=1e-3, lobes=(FlecksLobe(diameter_um=100),))
        got = lamp_halo(look_of(glow), CAMERA)
        assert got.half_energy_deg == pytest.approx(
            math.degrees(0.53483 * 540e-9 / 100e-6), rel=0.01
        )

    def test_halo_is_the_same_whatever_else_stands_in_the_lens(self):
        glow = Glow(optical_depth=0.1, lobes=(GaussianLobe(sigma_deg=0.2),))
        alone, veiled = (
            lamp_halo(look_of(*parts), CAMERA) for parts in ((glow,), (glow, Veil(veil_share=0.1)))
        )
        assert alone == veiled

    def test_no_filter_no_halo(self):
        assert lamp_halo(look_of(Veil(veil_share=0.1)), CAMERA).half_energy_deg == 0


class TestGlare:
    @pytest.mark.source("ISO9358", "index of a black patch in an even field")
    @pytest.mark.parametrize("share", [0.005, 0.02, 0.1])
    def test_index_of_a_veil_is_its_share(self, share):
        # The black disc itself is .6 % of the frame's light that is missing.
        assert glare_index(look_of(Veil(veil_share=share)), CAMERA) == pytest.approx(
            share, rel=0.01
        )

    @pytest.mark.source("ISO9358", "index from a glare spread function: what lands within the disc")
    @pytest.mark.parametrize("sigma_deg", [0.4, 0.7, 1.5])
    def test_index_of_a_gaussian_spread_is_what_comes_from_beyond_the_disc(self, sigma_deg):
        # After n deviations exp(-r**2 / 2 n sigma**2) of the light lands beyond 1 degree.
        depth = 0.01
        glow = Glow(optical_depth=depth, lobes=(GaussianLobe(sigma_deg=sigma_deg),))
        want = sum(
            math.exp(-depth) * depth**n / math.factorial(n) * math.exp(-1 / (2 * n * sigma_deg**2))
            for n in (1, 2, 3)
        )
        assert glare_index(look_of(glow), CAMERA) == pytest.approx(want, rel=0.02)

    @pytest.mark.source("ISO9358", "index of a black patch in an even field")
    def test_ten_stops_through_two_percent(self):
        # (.98 + .0036) / (.98 / 1024 + .0036) = 215.8 = 7.754 stops. The discs change the mean by
        # half a per cent.
        levels = wedge_levels(look_of(Veil(veil_share=0.02)), CAMERA)
        assert math.log2(levels[0] / levels[-1]) == pytest.approx(7.754, abs=0.02)

    def test_a_lamp_beside_the_lens_is_no_glare_of_the_scene_but_lifts_blacks(self):
        look = fg.read_look("torch-wash")
        assert glare_index(look, CAMERA) == pytest.approx(0, abs=1e-9)
        want = look_numbers(look, CAMERA, WIDTH_PX).black_lift_stops
        got = measure(look, CAMERA, 512, 288)
        assert got.black_lift_stops == pytest.approx(want, abs=0.02)
        assert got.plateau == pytest.approx(1, abs=1e-4)

    def test_light_adds_up_below_white_as_step_by_step(self):
        # A threshold a stop under white: each step must be rendered, and the dark ones agree.
        glow = Glow(
            optical_depth=0.3,
            lobes=(ExponentialLobe(scale_deg=0.5),),
            threshold_stops=-1.0,
            knee_stops=0.5,
        )
        levels = wedge_levels(look_of(glow), CAMERA)
        assert levels[0] < 0.95
        np.testing.assert_allclose(levels[4:], 2.0 ** -np.arange(4, 11), rtol=1e-4)


class TestDetail:
    @pytest.mark.source("Wells1969", "what scatters once or more is lost to fine detail: exp(-tau)")
    @pytest.mark.parametrize("depth", [0.05, 0.2, 0.7])
    def test_plateau_is_the_direct_light(self, depth):
        got = measured(Glow(optical_depth=depth, lobes=(ExponentialLobe(scale_deg=0.4),)))
        assert got.plateau == pytest.approx(math.exp(-depth), abs=3e-3)
        assert got.pores_held == pytest.approx(math.exp(-depth), abs=1e-3)
        assert got.curve.held[0] == 1

    def test_a_wide_halo_is_not_hidden_by_the_patch(self):
        # Read from the edge alone, light beyond the patch would leave the transfer at 1.
        got = measured(Glow(optical_depth=0.2, lobes=(GaussianLobe(sigma_deg=5.0),)))
        assert got.plateau == pytest.approx(math.exp(-0.2), abs=2e-3)

    @pytest.mark.source("Wells1969", "OTF = exp(-tau (1 - K))")
    @pytest.mark.parametrize("sigma_deg", [0.005, 0.015, 0.05])
    def test_texture_held_is_the_transfer_at_its_frequency(self, sigma_deg):
        # 1 mm of a face of 225 mm on a third of 20.25 mm behind 50 mm: .6 mrad.
        period_deg = math.degrees(20.25 / 3 / 225 / 50)
        inside = math.exp(-2 * math.pi**2 * (sigma_deg / period_deg) ** 2)
        want = math.exp(-0.5 * (1 - inside))
        look = look_of(Glow(optical_depth=0.5, lobes=(GaussianLobe(sigma_deg=sigma_deg),)))
        assert texture_held(look, CAMERA, 9 / 16, 1.0) == pytest.approx(want, abs=3e-3)

    @pytest.mark.source("Goodman2005", "sec. 4.4: orders of a grating")
    def test_a_net_holds_what_threads_of_both_sorts_let_straight_through(self):
        # q = .1: across one set of threads the transfer is 1 - q = .9 on average, .81 of it direct.
        # Of the rest, laid on whole pixels, sinc(f)**2 is left: .69 over the plateau's frequencies.
        net = look_of(Net(pitch_mm=0.4, thread_mm=0.04, unevenness=0.1, angle_deg=5.0))
        curve = detail_curve(net, CAMERA, WIDTH_PX, down=False)
        assert curve.plateau == pytest.approx(0.81 + 0.69 * 0.09, abs=0.01)
        assert light_loss(net, CAMERA) == pytest.approx(0.304, abs=1e-3)

    def test_bare_mtf50_is_that_of_lens_and_pixels(self):
        got = measured(Veil(veil_share=0.01))
        f = np.linspace(0, 1, 4001)
        v = np.clip(f * 540e-9 * 2.8 * WIDTH_PX / 36e-3, 0, 1)
        lens = 2 / math.pi * (np.arccos(v) - v * np.sqrt(1 - v**2))
        turn = math.radians(5)
        mtf = lens * np.sinc(f * math.cos(turn)) * np.sinc(f * math.sin(turn))
        mtf50 = f[np.argmax(mtf < 0.5)] * WIDTH_PX / 36
        assert got.bare_mtf50_per_mm == pytest.approx(mtf50, rel=0.01)
        assert got.bare_mtf50_lw_ph == pytest.approx(
            2 * HEIGHT_PX * mtf50 * 36 / WIDTH_PX, rel=0.01
        )


@pytest.mark.parametrize(
    "name", ["harbour-night", "rehearsal-room", "powder-room", "slate-roof", "bakery-window"]
)
@pytest.mark.parametrize("strength", [0.25, 1.0])
def test_shipped_looks_measure_what_their_elements_say(name, strength):
    look = fg.read_look(name).at(strength)
    got = measure(look, CAMERA, 2048, 1152)
    want = look_numbers(look, CAMERA, 2048)
    assert got.light_loss_stops == pytest.approx(want.light_loss_stops, abs=1e-4)
    assert got.veiling_glare_index == pytest.approx(want.veiling_glare_index, rel=0.02, abs=1e-6)
    assert got.black_lift_stops == pytest.approx(want.black_lift_stops, abs=0.02)
    assert 10 - got.contrast_loss_stops == pytest.approx(want.contrast_stops, abs=0.02)
    assert got.halo.direct_share == pytest.approx(want.direct_share[1], abs=1e-3)
    if want.glow:
        assert got.halo.half_energy_deg == pytest.approx(
            want.glow.half_energy_radius_deg[1], rel=0.015
        )


@pytest.mark.parametrize("name", ["fine-net", "wide-net", "old-matinee", "keyhole"])
def test_glare_of_nets_and_films_is_told_as_it_is_measured(name):
    look = fg.read_look(name)
    want = look_numbers(look, CAMERA, 2048)
    # The target is a frame among its mirror images, 17 degrees high.
    assert glare_index(look, CAMERA) == pytest.approx(want.veiling_glare_index, rel=0.04, abs=1e-6)
    levels = wedge_levels(look, CAMERA)
    assert 10 + math.log2(levels[-1]) == pytest.approx(want.black_lift_stops, abs=0.05)


def test_a_look_at_nothing_measures_nothing():
    got = measure(fg.read_look("rehearsal-room").at(0), CAMERA, 1024, 576)
    assert (got.plateau, got.pores_held, got.halo.direct_share) == pytest.approx((1, 1, 1))
    assert got.veiling_glare_index == got.halo_share == got.light_loss_stops == 0
    assert got.wedge_stops == pytest.approx(tuple(range(0, -11, -1)), abs=1e-5)
    assert got.mtf50_per_mm == got.bare_mtf50_per_mm
