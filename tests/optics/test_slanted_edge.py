"""Slanted edge against edges whose transfer is known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, special

from frontglass.errors import ParameterError
from frontglass.optics.slanted_edge import (
    EdgeResponse,
    bin_response,
    derivative_response,
    diffraction_limited_mtf,
    edge_response,
    first_fall,
)


def fall(response: EdgeResponse, level: float) -> float:
    return first_fall(response.frequency_per_px, response.mtf, level)


def distance_px(shape: tuple[int, int], angle_deg: float) -> np.ndarray:
    """Distance of pixels from a line through the middle, along its normal."""
    rows, columns = np.indices(shape)
    slope = math.tan(math.radians(angle_deg))
    across = columns - (shape[1] - 1) / 2 - slope * (rows - (shape[0] - 1) / 2)
    return across * math.cos(math.radians(angle_deg))


def gaussian_edge(sigma_px: float, *, angle_deg: float = 5.0, side: int = 240) -> np.ndarray:
    away = distance_px((side, side), angle_deg) / (sigma_px * math.sqrt(2))
    return 0.2 + 0.6 * 0.5 * (1 + special.erf(away))


class TestGaussianBlur:
    @pytest.mark.parametrize("sigma_px", [0.7, 1.0, 1.5, 2.0])
    @pytest.mark.parametrize("angle_deg", [5.0, -7.3, 3.1])
    @pytest.mark.source("ISO12233", "slanted-edge spatial frequency response")
    def test_mtf50_and_mtf10_are_those_of_the_closed_form(self, sigma_px, angle_deg):
        # exp(-2 pi**2 sigma**2 f**2) is 1/2 at .187391 / sigma, 1/10 at .341541 / sigma. The
        # window narrows the spread a little: 1 %.
        got = edge_response(gaussian_edge(sigma_px, angle_deg=angle_deg))
        assert fall(got, 0.5) == pytest.approx(0.187391 / sigma_px, rel=0.01)
        assert fall(got, 0.1) == pytest.approx(0.341541 / sigma_px, rel=0.015)
        assert math.degrees(math.atan(abs(got.slope))) == pytest.approx(abs(angle_deg), abs=0.01)

    @pytest.mark.source("ISO12233", "correction of the derivative filter")
    def test_without_correction_sharp_edges_read_low_by_what_difference_and_bins_take(self):
        # Uncorrected, sigma .5 px reads about 5 % low and 1 px about 1 %; corrected both hold.
        for sigma_px, low, high in ((0.5, 0.93, 0.965), (1.0, 0.98, 0.995)):
            edge = gaussian_edge(sigma_px)
            plain = edge_response(edge, corrected_for=np.array(1.0))
            true = 0.187391 / sigma_px
            assert low < fall(plain, 0.5) / true < high
            assert fall(edge_response(edge), 0.5) == pytest.approx(true, rel=0.01)

    def test_orientation_and_polarity_do_not_matter(self):
        edge = gaussian_edge(1.0)
        want = edge_response(edge).mtf
        for other in (edge.T, 1 - edge, edge[::-1, ::-1]):
            np.testing.assert_allclose(edge_response(other).mtf, want, atol=2e-3)

    def test_codes_instead_of_light_read_another_mtf50(self):
        # The trap: display codes of the same edge are not its light.
        edge = gaussian_edge(2.0)
        coded = fall(edge_response(edge ** (1 / 2.2)), 0.5)
        assert coded < 0.99 * fall(edge_response(edge), 0.5)

    def test_amplitude_at_zero_is_the_step(self):
        assert edge_response(gaussian_edge(1.0)).amplitude[0] == pytest.approx(0.6, rel=1e-3)


def _wave(x: float, f: float) -> float:
    return 4 * math.cos(2 * math.pi * f * x)


@pytest.mark.source("ISO12233", "correction of the derivative filter")
def test_difference_and_bins_pass_what_their_own_transforms_say():
    # (delta(x + h) - delta(x - h)) / 2h with h a quarter pixel over i 2 pi f; box of a quarter.
    f = np.array([0.1, 0.25, 0.5])
    difference = (np.exp(2j * np.pi * f / 4) - np.exp(-2j * np.pi * f / 4)) / (2 * 0.25)
    np.testing.assert_allclose(derivative_response(f), np.abs(difference / (2j * np.pi * f)))
    box = [integrate.quad(_wave, -1 / 8, 1 / 8, args=(one,))[0] for one in f]
    np.testing.assert_allclose(bin_response(f), box)


class TestPerfectLens:
    @pytest.mark.source("Goodman2005", "sec. 6.4: diffraction-limited transfer, round pupil")
    @pytest.mark.parametrize(
        ("v", "value"),
        [(0.1, 0.872889), (0.25, 0.685038), (0.5, 0.391002), (0.75, 0.144294), (0.9, 0.037386)],
    )
    def test_values_of_the_closed_form(self, v, value):
        # f/4 at 550 nm ends at 454.545 cycles/mm.
        got = diffraction_limited_mtf(v * 454.545454e3, f_number=4, wavelength_m=550e-9)
        assert float(got) == pytest.approx(value, abs=2e-6)

    def test_it_is_the_autocorrelation_of_the_pupil(self):
        side = 512
        at = (np.arange(2 * side) - side) / (side / 2)
        pupil = (np.hypot(at[:, None], at) <= 1).astype(float)
        correlation = np.fft.ifft2(np.abs(np.fft.fft2(pupil)) ** 2).real[0]
        shift = np.arange(0, side, 32)
        got = diffraction_limited_mtf(shift / side, f_number=1, wavelength_m=1.0)
        np.testing.assert_allclose(correlation[shift] / correlation[0], got, atol=3e-3)

    @pytest.mark.source("Goodman2005", "sec. 6.4: diffraction-limited transfer, round pupil")
    @pytest.mark.parametrize("f_number", [5.6, 11.0, 22.0])
    def test_edge_through_it_and_square_pixels_reads_its_mtf50(self, f_number):
        import frontglass as fg
        from frontglass.measurement.targets import edge_target

        camera = fg.Camera(focal_length_mm=50, f_number=f_number, sensor_width_mm=36)
        got = edge_response(edge_target(camera, 6000).radiance[60:-60, :, 1])
        # 6 um pixels at 540 nm; a pixel five degrees aslant.
        f = got.frequency_per_px
        turn = math.radians(5)
        v = np.clip(f * 540e-9 * f_number / 6e-6, 0, 1)
        lens = 2 / math.pi * (np.arccos(v) - v * np.sqrt(1 - v**2))
        want = lens * np.sinc(f * math.cos(turn)) * np.sinc(f * math.sin(turn))
        np.testing.assert_allclose(got.mtf[f < 0.5], want[f < 0.5], atol=5e-3)
        assert fall(got, 0.5) == pytest.approx(first_fall(f, want, 0.5), rel=0.01)


class TestRefusals:
    @pytest.mark.parametrize(
        ("patch", "said"),
        [
            (np.zeros((8, 40)), "16 px"),
            (np.zeros((40, 40, 3)), "one channel"),
            (np.full((40, 40), np.nan), "finite"),
            (np.zeros((40, 40)), "crossed by one edge"),
            (gaussian_edge(1.0, angle_deg=0.0, side=64), "degrees off an axis"),
            (gaussian_edge(1.0, angle_deg=40.0, side=64), "degrees off an axis"),
        ],
    )
    def test_a_patch_without_a_slanted_edge(self, patch, said):
        with pytest.raises(ParameterError, match=said):
            edge_response(patch)

    def test_a_level_outside_of_0_to_1(self):
        with pytest.raises(ParameterError, match="level"):
            fall(edge_response(gaussian_edge(1.0)), 1.0)

    def test_a_level_never_reached_is_no_number(self):
        assert math.isnan(fall(edge_response(gaussian_edge(0.05)), 0.01))
