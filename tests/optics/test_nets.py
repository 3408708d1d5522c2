"""Nets and line glass: shares, orders, transfer functions and the dots they make of a lamp."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from prysm.propagation import focus_fixed_sampling

from frontglass.errors import ParameterError
from frontglass.optics.bands import CHANNEL_BANDS
from frontglass.optics.gratings import Grating
from frontglass.optics.lines import LineGlass, phase_of_groove_rad
from frontglass.optics.masks import CrossedGratings, PupilMask
from frontglass.optics.nets import SquareNet, light_from_threads, thread_width_m_from_denier
from frontglass.optics.tulle import HexagonalNet

GREEN = 540e-9
PX = 6e-6 / 50e-3  # of a 50 mm lens over 6 um pixels, in radians


def line_glass(families: int, *, phase_rad: float | None = None) -> LineGlass:
    lines = Grating(pitch_m=1e-3, width_m=0.04e-3, phase_rad=phase_rad)
    return LineGlass(lines=lines, families=families, angle_rad=0.3)


MASKS: dict[str, PupilMask] = {
    "woven": SquareNet(pitch_m=0.6e-3, width_m=0.08e-3),
    "turned": SquareNet(pitch_m=1e-3, width_m=0.1e-3, angle_rad=0.3),
    "rough": SquareNet(pitch_m=0.6e-3, width_m=0.08e-3, jitter_m=0.03e-3, angle_rad=0.2),
    "knitted": SquareNet(pitch_m=0.4e-3, width_m=0.06e-3, drift_m=0.02e-3),
    "tulle": HexagonalNet(pitch_m=1e-3, width_m=0.1e-3, angle_rad=0.2),
    "rough-tulle": HexagonalNet(pitch_m=1.5e-3, width_m=0.15e-3, jitter_m=0.05e-3),
    "two-points": line_glass(1),
    "six-points": line_glass(3, phase_rad=2.0),
}
every_mask = pytest.mark.parametrize("mask", MASKS.values(), ids=MASKS.keys())


@pytest.mark.parametrize(
    ("cover", "direct", "stops", "arms", "beside"),
    [
        (0.05, 0.9025, 0.148, 0.0950, 0.0025),
        (0.08, 0.8464, 0.241, 0.1472, 0.0064),
        (0.10, 0.8100, 0.304, 0.1800, 0.0100),
        (0.15, 0.7225, 0.469, 0.2550, 0.0225),
        (0.20, 0.6400, 0.644, 0.3200, 0.0400),
        (0.30, 0.4900, 1.029, 0.4200, 0.0900),
    ],
)
@pytest.mark.source("Goodman2005", "sec. 4.4: amplitude of order m is b sinc(m b)")
def test_shares_of_a_square_net(
    cover: float, direct: float, stops: float, arms: float, beside: float
) -> None:
    net = SquareNet(pitch_m=1e-3, width_m=cover * 1e-3)
    assert net.transmittance == pytest.approx(direct, abs=1e-12)
    assert net.direct == pytest.approx(direct, abs=1e-12)
    assert -math.log2(net.transmittance) == pytest.approx(stops, abs=5e-4)
    highest = 400
    shares = net.orders(GREEN, highest=highest).shares.reshape(2 * highest + 1, -1)
    on_arms = shares[highest].sum() + shares[:, highest].sum() - 2 * net.direct
    # Beyond order M a set of threads holds 1 / (pi**2 M) of its light: 2.5e-4 here.
    assert on_arms == pytest.approx(arms, abs=6e-4)
    rest = shares.sum() - on_arms - net.direct
    assert rest == pytest.approx(beside, abs=3e-4)


@pytest.mark.source("Goodman2005", "sec. 4.4")
def test_worked_example_of_a_net_of_64_by_8() -> None:
    net = SquareNet(pitch_m=64e-6, width_m=8e-6)
    assert net.transmittance == 0.765625
    assert net.transmittance * net.direct == pytest.approx(0.586182, abs=5e-7)
    shares = net.orders(GREEN, highest=1).shares
    assert net.transmittance * shares[5] == pytest.approx(0.011360, abs=5e-7)


@pytest.mark.source("Goodman2005", "sec. 6.3: a transfer function is a pupil's autocorrelation")
def test_transfer_function_of_a_square_net_is_the_autocorrelation_of_a_mask() -> None:
    pitch, width = 32, 5
    threads = np.arange(2 * pitch) % pitch < width
    field = np.where(threads[:, np.newaxis] | threads, 0.0, 1.0)
    expected = np.fft.ifft2(np.abs(np.fft.fft2(field)) ** 2).real / field.sum()
    net = SquareNet(pitch_m=pitch, width_m=width)
    steps = np.arange(2 * pitch) / 1e-6
    got = net.otf(steps, steps[:, np.newaxis], 1e-6)
    np.testing.assert_allclose(got, expected, atol=1e-12)


def prysm_orders(*, pitch: int, width: int, side: int, pupil: np.ndarray) -> np.ndarray:
    """Intensities at orders (1,0), (2,0), (3,0), (1,1) over that of (0,0), by prysm.

    Lengths in samples; the pitch is 0.8 mm, the lens 50 mm, the light 550 nm.
    """
    dx_mm = 0.8 / pitch
    # A thread in the middle, so that net and pupil share their middle.
    at = (np.arange(side) - side // 2 + width // 2) % pitch < width
    field = np.where(at[:, np.newaxis] | at, 0.0, 1.0) * pupil
    spacing_um = 0.55 / 0.8e3 * 50e3
    image = focus_fixed_sampling(field, dx_mm, 50.0, 0.55, spacing_um, 9)
    power = np.abs(image) ** 2 / np.abs(image[4, 4]) ** 2
    return np.array([power[4, 5], power[4, 6], power[4, 7], power[5, 5]])


@pytest.mark.source("Prysm0.21", "propagation.focus_fixed_sampling")
def test_orders_agree_with_prysm_on_a_pupil_of_whole_periods() -> None:
    got = prysm_orders(pitch=128, width=16, side=1024, pupil=np.ones((1024, 1024)))
    net = SquareNet(pitch_m=0.8e-3, width_m=0.1e-3)
    shares = net.orders(550e-9, highest=3).shares.reshape(7, 7)
    ours = np.array([shares[3, 4], shares[3, 5], shares[3, 6], shares[4, 4]]) / shares[3, 3]
    # Samples add (pi m / 128)**2 / 3: 1.8e-3 at m = 3.
    np.testing.assert_allclose(ours, got, rtol=2e-3)
    np.testing.assert_allclose(ours[[0, 1, 3]], [0.019380, 0.016542, 0.000376], atol=5e-7)


@pytest.mark.source("Prysm0.21", "propagation.focus_fixed_sampling")
def test_orders_agree_with_prysm_on_a_round_pupil() -> None:
    # 12 mm over 1024 samples: 15 periods, whose cut edges move orders by up to 4 %.
    side, pitch = 1024, 68
    along = np.arange(side) - side // 2
    pupil = np.hypot(along, along[:, np.newaxis]) <= 512
    got = prysm_orders(pitch=pitch, width=8, side=side, pupil=pupil)
    net = SquareNet(pitch_m=0.8e-3, width_m=0.8e-3 * 8 / pitch)
    shares = net.orders(550e-9, highest=3).shares.reshape(7, 7)
    ours = np.array([shares[3, 4], shares[3, 5], shares[3, 6], shares[4, 4]]) / shares[3, 3]
    np.testing.assert_allclose(ours, got, rtol=0.05)


@pytest.mark.parametrize(
    ("denier", "micrometres"), [(6, 27), (10, 35), (15, 43), (20, 50), (30, 61), (40, 70)]
)
def test_width_of_nylon_by_its_denier(denier: float, micrometres: float) -> None:
    # A denier is a gram in 9000 m; round nylon of 1.14 g/cm3.
    assert thread_width_m_from_denier(denier) * 1e6 == pytest.approx(micrometres, abs=0.5)


def hexagonal_mask(samples: int, side: float) -> np.ndarray:
    """Holes of a honeycomb of pitch 1 over a cell of 1 by sqrt(3), by drawing them."""
    rows = round(samples * math.sqrt(3))
    x = (np.arange(samples) + 0.5) / samples
    y = (np.arange(rows)[:, np.newaxis] + 0.5) / rows * math.sqrt(3)
    mask = np.zeros((rows, samples), dtype=bool)
    for column in range(-1, 3):
        for row in range(-1, 3):
            for ox, oy in ((0.0, 0.0), (0.5, math.sqrt(3) / 2)):
                hole = np.ones_like(mask)
                for angle in np.radians([0, 60, 120]):
                    across = (x - column - ox) * math.cos(angle)
                    across = across + (y - row * math.sqrt(3) - oy) * math.sin(angle)
                    hole &= np.abs(across) <= side / 2
                mask |= hole
    return mask


@pytest.mark.source("Goodman2005", "sec. 6.3: a transfer function is a pupil's autocorrelation")
@pytest.mark.parametrize("width", [0.1, 0.3])
def test_transfer_function_of_tulle_is_the_autocorrelation_of_a_mask(width: float) -> None:
    mask = hexagonal_mask(400, 1 - width)
    net = HexagonalNet(pitch_m=1e-3, width_m=width * 1e-3)
    assert mask.mean() == pytest.approx(net.transmittance, abs=2e-3)  # by its drawn edges
    expected = np.fft.ifft2(np.abs(np.fft.fft2(mask)) ** 2).real / mask.sum()
    x = np.arange(mask.shape[1]) / mask.shape[1]
    y = np.arange(mask.shape[0])[:, np.newaxis] / mask.shape[0] * math.sqrt(3)
    got = net.otf(x * 1e-3 / GREEN, y * 1e-3 / GREEN, GREEN)
    np.testing.assert_allclose(got, expected, atol=2e-3)
    assert np.sqrt(np.mean((got - expected) ** 2)) < 5e-4


@pytest.mark.source("BornWolf1999", "sec. 8.6: orders of a grid stand on its reciprocal grid")
def test_first_orders_of_tulle_are_a_star_of_six() -> None:
    orders = HexagonalNet(pitch_m=1e-3, width_m=0.1e-3).orders(GREEN, highest=4)
    radius = np.hypot(orders.x_rad, orders.y_rad) * 1e-3 / GREEN
    nearest = np.argsort(radius)[1:7]
    np.testing.assert_allclose(radius[nearest], 1.1547, atol=5e-5)
    angles = np.degrees(np.arctan2(orders.y_rad, orders.x_rad))[nearest]
    np.testing.assert_allclose(np.sort(angles % 360), [30, 90, 150, 210, 270, 330])
    assert np.ptp(orders.shares[nearest]) < 1e-15


def test_orders_of_tulle_are_the_power_spectrum_of_a_mask() -> None:
    mask = hexagonal_mask(800, 0.9)
    power = np.abs(np.fft.fft2(mask) / mask.size) ** 2 / mask.mean()
    shares = HexagonalNet(pitch_m=1e-3, width_m=0.1e-3).orders(GREEN, highest=3).shares
    shares = shares.reshape(7, 7)  # [j, i]; the mask's cell has orders [2 j - i, i]
    for i, j in ((0, 0), (1, 0), (1, 1), (0, 1), (2, 1), (3, 2)):
        assert power[2 * j - i, i] == pytest.approx(shares[3 + j, 3 + i], rel=2e-3)


def test_transmittance_of_tulle() -> None:
    net = HexagonalNet(pitch_m=1.0e-3, width_m=0.077e-3)
    assert net.transmittance == net.direct == pytest.approx(0.852, abs=5e-4)


@every_mask
def test_dots_are_the_transform_of_the_transfer_function(mask: PupilMask) -> None:
    # Two routes: closed-form correlation, mean over the band; orders and halo as points.
    band = CHANNEL_BANDS[1]
    dots = mask.dots(band, step_rad=PX / 4, reach_rad=400 * PX)
    f = np.random.default_rng(1).uniform(-0.4, 0.4, (16, 2)) / PX
    expected = mask.band_otf(f[:, 0], f[:, 1], band)
    got = [
        mask.direct + np.sum(dots.shares * np.cos(2 * np.pi * (fx * dots.x_rad + fy * dots.y_rad)))
        for fx, fy in f
    ]
    # Points a quarter of a pixel apart, what lies beyond 400 px left out.
    np.testing.assert_allclose(got, expected, atol=1.2e-3)


@every_mask
def test_dots_hold_the_light_that_is_not_direct(mask: PupilMask) -> None:
    dots = mask.dots(CHANNEL_BANDS[0], step_rad=PX / 2, reach_rad=1000 * PX)
    assert (dots.shares > 0).all()
    # One part in 25 may lie beyond the reach, and none is made.
    deviated = 1 - mask.direct
    assert 0.96 * deviated < dots.shares.sum() < deviated * (1 + 1e-3)
    # Even all round.
    assert np.sum(dots.shares * dots.x_rad) == pytest.approx(0.0, abs=1e-9)
    assert np.sum(dots.shares * dots.y_rad) == pytest.approx(0.0, abs=1e-9)


@every_mask
def test_a_transfer_function_is_even_and_at_most_one(mask: PupilMask) -> None:
    fx, fy = np.random.default_rng(2).uniform(-4000, 4000, (2, 500))
    there, back = mask.otf(fx, fy, GREEN), mask.otf(-fx, -fy, GREEN)
    np.testing.assert_allclose(there, back, atol=1e-9)
    assert mask.otf(0.0, 0.0, GREEN) == pytest.approx(1.0, abs=1e-12)
    assert there.max() <= 1 + 1e-12
    assert 0 < mask.direct < 1
    assert 0 < mask.transmittance <= 1


@every_mask
def test_mean_of_the_transfer_function_is_the_direct_share(mask: PupilMask) -> None:
    # Over many periods, at places that keep no step with them.
    fx, fy = np.random.default_rng(4).uniform(0, 20e-3 / GREEN, (2, 200_000))
    mean = float(np.mean(mask.otf(fx, fy, GREEN)))
    assert mean == pytest.approx(mask.direct, abs=1.5e-3)  # 0.15 / sqrt(2e5), four times


@given(pitch=st.floats(1e-4, 3e-3), cover=st.floats(0.0, 0.2), strength=st.floats(0.0, 3.0))
def test_strength_is_a_power_of_the_transmittance(
    pitch: float, cover: float, strength: float
) -> None:
    for kind in (SquareNet, HexagonalNet):
        net = kind(pitch_m=pitch, width_m=cover * pitch, angle_rad=0.4)
        stronger = net.at_strength(strength)
        assert stronger.transmittance == pytest.approx(net.transmittance**strength, rel=1e-9)
        assert stronger.angle_rad == net.angle_rad
        assert net.at_strength(0).direct == 1


@pytest.mark.parametrize("kind", [SquareNet, HexagonalNet])
def test_strength_has_an_end(kind: type[SquareNet] | type[HexagonalNet]) -> None:
    with pytest.raises(ParameterError, match="strength"):
        kind(pitch_m=1e-3, width_m=0.3e-3).at_strength(4)


def test_pale_threads_scatter_what_they_meet() -> None:
    light = light_from_threads(0.81, forward_share=0.3, backward_share=0.5)
    assert light.forward == pytest.approx(0.057)
    assert light.backward == pytest.approx(0.095)
    assert sum(light) == pytest.approx(0.19)
    assert light_from_threads(0.81, forward_share=0.0) == pytest.approx((0.19, 0.0, 0.0))
    with pytest.raises(ParameterError, match="forward_share"):
        light_from_threads(0.81, forward_share=0.6, backward_share=0.6)


@pytest.mark.source("Goodman2005", "sec. 4.4")
@pytest.mark.parametrize(
    ("phase_rad", "direct"), [(None, 0.96), (1.0, 0.96470), (math.pi, 0.84640)]
)
def test_direct_light_of_one_family_of_lines(phase_rad: float | None, direct: float) -> None:
    assert line_glass(1, phase_rad=phase_rad).direct == pytest.approx(direct, abs=5e-6)


@pytest.mark.parametrize("families", [1, 2, 3, 4])
def test_lines_have_two_points_for_each_family(families: int) -> None:
    glass = line_glass(families)
    assert glass.points == 2 * families
    assert glass.transmittance == pytest.approx(0.96**families)
    assert glass.direct == pytest.approx(0.96**families)
    # Light over direction, far from the lamp: as many rays as points, evenly turned.
    dots = glass.dots(CHANNEL_BANDS[1], step_rad=PX, reach_rad=200 * PX)
    away = np.hypot(dots.x_rad, dots.y_rad) > 40.7 * PX  # where no dot lies
    turns = (np.arctan2(dots.y_rad, dots.x_rad)[away] - 0.3) * glass.points / (2 * np.pi)
    on_rays = np.abs(turns - np.rint(turns)) < 1e-6 * glass.points
    ray = np.rint(turns[on_rays]).astype(int) % glass.points
    light = np.bincount(ray, dots.shares[away][on_rays], minlength=glass.points)
    np.testing.assert_allclose(light, light.mean(), rtol=1e-9)
    assert light.sum() > 0.9 * dots.shares[away].sum()


@pytest.mark.parametrize("phase_rad", [None, 2.0])
def test_families_at_odd_angles_multiply_as_simulated_ones_do(phase_rad: float | None) -> None:
    rng = np.random.default_rng(11)
    angles = np.array([0.0, 1.0, 2.3])
    lines = Grating(pitch_m=1.0, width_m=0.2, phase_rad=phase_rad)
    crossed = CrossedGratings(gratings=(lines,) * 3, across_rad=tuple(angles))
    places = rng.uniform(0, 1000, (200_000, 2))

    def field(at: np.ndarray) -> np.ndarray:
        across = at @ np.stack([np.cos(angles), np.sin(angles)])
        passed = 0.0 if phase_rad is None else np.exp(1j * phase_rad)
        return np.where(across % 1.0 < 0.2, passed, 1.0).prod(axis=1)

    here = field(places)
    power = np.mean(np.abs(here) ** 2)
    assert power == pytest.approx(crossed.transmittance, abs=5e-3)
    for shift in ([0.1, 0.0], [0.3, 0.4], [1.0, 0.0], [2.1, -0.7]):
        there = field(places + shift)
        got = np.mean(here * np.conj(there)).real / power
        expected = crossed.otf(shift[0] / GREEN, shift[1] / GREEN, GREEN)
        assert got == pytest.approx(float(expected), abs=6e-3)  # 1 / sqrt(2e5), under thrice


def test_dark_lines_grow_with_strength() -> None:
    glass = line_glass(2)
    assert glass.at_strength(2).direct == pytest.approx(glass.direct**2)
    assert glass.at_strength(0).direct == 1


@pytest.mark.parametrize("families", [0, 5, 2.0, True])
def test_families_are_one_to_four(families: int) -> None:
    with pytest.raises(ParameterError, match="families"):
        LineGlass(lines=Grating(pitch_m=1e-3, width_m=1e-5), families=families)


def test_phase_of_a_groove() -> None:
    # A wavelength of glass more is index - 1 turns.
    assert phase_of_groove_rad(GREEN, index=1.5, wavelength_m=GREEN) == pytest.approx(math.pi)


@every_mask
def test_a_reach_below_a_step_is_refused(mask: PupilMask) -> None:
    with pytest.raises(ParameterError, match="reach_rad"):
        mask.dots(CHANNEL_BANDS[0], step_rad=PX, reach_rad=PX / 2)


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"pitch_m": 0.0}, "pitch_m"),
        ({"width_m": 0.7e-3}, "width_m"),
        ({"jitter_m": 0.2e-3}, "jitter_m"),
        ({"angle_rad": math.nan}, "angle_rad"),
    ],
)
def test_a_tulle_outside_the_model_is_refused(changes: dict[str, float], name: str) -> None:
    with pytest.raises(ParameterError, match=name):
        HexagonalNet(**({"pitch_m": 1e-3, "width_m": 0.1e-3} | changes))


def test_crossed_gratings_need_an_angle_each() -> None:
    lines = Grating(pitch_m=1e-3, width_m=1e-5)
    with pytest.raises(ParameterError, match="across_rad"):
        CrossedGratings(gratings=(lines, lines), across_rad=(0.0,))


@every_mask
def test_a_mask_without_threads_bends_nothing(mask: PupilMask) -> None:
    assert isinstance(mask, SquareNet | HexagonalNet | LineGlass)
    bare = mask.at_strength(0)
    dots = bare.dots(CHANNEL_BANDS[2], step_rad=PX / 2, reach_rad=50 * PX)
    assert dots.shares.size == 0
    assert bare.direct == bare.transmittance == 1
    f = np.linspace(0, 4000, 9)
    np.testing.assert_array_equal(bare.band_otf(f, f, CHANNEL_BANDS[2]).round(12), np.ones(9))
