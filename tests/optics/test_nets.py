"""Nets and line glass: shares, orders, transfer functions and the dots they make of a lamp."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from prysm.propagation import focus_fixed_sampling

from frontglass.elements.mask_filter import mask_filter
from frontglass.errors import ParameterError
from frontglass.optics.gratings import Grating
from frontglass.optics.lines import LineGlass
from frontglass.optics.masks import CrossedGratings, PupilMask
from frontglass.optics.nets import SquareNet, light_from_threads, thread_width_m_from_denier
from frontglass.optics.tulle import HexagonalNet
from tests.reference.transfer_functions import mask_otf

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
    "fine-threads": SquareNet(pitch_m=1e-3, width_m=1e-6, angle_rad=0.3),
}
# Three even families lead light back to the lamp, which is more there than the direct share.
WIDE_GROOVES = LineGlass(
    lines=Grating(pitch_m=0.8e-3, width_m=0.3e-3, phase_rad=1.8), families=3, angle_rad=0.2
)

THICK_AND_ROUGH = SquareNet(pitch_m=0.5e-3, width_m=0.15e-3, jitter_m=0.02e-3, angle_rad=0.3)


def shares_of(net: SquareNet, highest: int) -> np.ndarray:
    """Shares of orders (m, n), both from -highest to highest."""
    threads = net.crossed.gratings[0]
    one_side = threads.orders(highest).shares
    line = np.concatenate([one_side[::-1], [threads.direct], one_side])
    return np.outer(line, line)


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
    shares = shares_of(net, highest)
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
    shares = shares_of(net, 1)
    assert net.transmittance * shares[1, 2] == pytest.approx(0.011360, abs=5e-7)


@pytest.mark.source("Goodman2005", "sec. 6.3: a transfer function is a pupil's autocorrelation")
def test_transfer_function_of_a_square_net_is_the_autocorrelation_of_a_mask() -> None:
    pitch, width = 32, 5
    threads = np.arange(2 * pitch) % pitch < width
    field = np.where(threads[:, np.newaxis] | threads, 0.0, 1.0)
    expected = np.fft.ifft2(np.abs(np.fft.fft2(field)) ** 2).real / field.sum()
    net = SquareNet(pitch_m=pitch, width_m=width)
    steps = np.arange(2 * pitch) / 1e-6
    got = mask_otf(net, steps, steps[:, np.newaxis], 1e-6)
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
    shares = shares_of(net, 3)
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
    shares = shares_of(net, 3)
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
    got = mask_otf(net, x * 1e-3 / GREEN, y * 1e-3 / GREEN, GREEN)
    np.testing.assert_allclose(got, expected, atol=2e-3)
    assert np.sqrt(np.mean((got - expected) ** 2)) < 5e-4


@pytest.mark.source("BornWolf1999", "sec. 8.6: orders of a grid stand on its reciprocal grid")
def test_first_orders_of_tulle_are_a_star_of_six() -> None:
    # One of each pair of opposites.
    orders = HexagonalNet(pitch_m=1e-3, width_m=0.1e-3).orders(4.0)
    radius = np.hypot(orders.x_per_m, orders.y_per_m) * 1e-3
    nearest = np.argsort(radius)[:3]
    np.testing.assert_allclose(radius[nearest], 1.1547, atol=5e-5)
    angles = np.degrees(np.arctan2(orders.y_per_m, orders.x_per_m))[nearest]
    np.testing.assert_allclose(np.sort(angles % 180), [30, 90, 150])
    assert np.ptp(orders.shares[nearest]) < 1e-15


def test_orders_of_tulle_are_the_power_spectrum_of_a_mask() -> None:
    mask = hexagonal_mask(800, 0.9)
    power = np.abs(np.fft.fft2(mask) / mask.size) ** 2 / mask.mean()
    net = HexagonalNet(pitch_m=1e-3, width_m=0.1e-3)
    assert power[0, 0] == pytest.approx(net.direct, rel=2e-3)
    x, y, shares = net.orders(4.0)
    # The mask's cell is a pitch wide and sqrt(3) of it high.
    columns, rows = np.rint(x * 1e-3).astype(int), np.rint(y * 1e-3 * math.sqrt(3)).astype(int)
    bright = shares > 1e-5
    assert bright.sum() > 10
    np.testing.assert_allclose(power[rows, columns][bright], shares[bright], rtol=5e-3)


def test_transmittance_of_tulle() -> None:
    net = HexagonalNet(pitch_m=1.0e-3, width_m=0.077e-3)
    assert net.transmittance == net.direct == pytest.approx(0.852, abs=5e-4)


@every_mask
def test_a_transfer_function_is_even_and_at_most_one(mask: PupilMask) -> None:
    fx, fy = np.random.default_rng(2).uniform(-4000, 4000, (2, 500))
    otf, opposite = mask_otf(mask, fx, fy, GREEN), mask_otf(mask, -fx, -fy, GREEN)
    np.testing.assert_allclose(otf, opposite, atol=1e-9)
    assert mask_otf(mask, 0.0, 0.0, GREEN) == pytest.approx(1.0, abs=1e-12)
    assert otf.max() <= 1 + 1e-12
    assert 0 < mask.direct < 1
    assert 0 < mask.transmittance <= 1


@every_mask
def test_mean_of_the_transfer_function_is_the_direct_share(mask: PupilMask) -> None:
    # Over many periods, at places that keep no step with them.
    fx, fy = np.random.default_rng(4).uniform(0, 20e-3 / GREEN, (2, 200_000))
    mean = float(np.mean(mask_otf(mask, fx, fy, GREEN)))
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
        expected = mask_otf(crossed, shift[0] / GREEN, shift[1] / GREEN, GREEN)
        assert got == pytest.approx(float(expected), abs=6e-3)  # 1 / sqrt(2e5), under thrice


def test_dark_lines_grow_with_strength() -> None:
    glass = line_glass(2)
    assert glass.at_strength(2).direct == pytest.approx(glass.direct**2)
    assert glass.at_strength(0).direct == 1


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


@pytest.mark.parametrize(
    "mask",
    [*MASKS.values(), WIDE_GROOVES, THICK_AND_ROUGH],
    ids=[*MASKS, "wide-grooves", "thick-and-rough"],
)
def test_all_the_light_is_in_the_planes(mask: PupilMask) -> None:
    made = mask_filter(mask, 0, 9000.0, 0.1)
    planes = made.cosine_planes((12, 17), np.dtype(np.float64))
    assert made.direct + made.veil + planes.even[0, 0] == pytest.approx(1, abs=1e-8)
    assert made.direct == pytest.approx(0.9 * mask.direct)
    assert made.is_even == (planes.odd is None)


@every_mask
def test_a_mask_without_threads_bends_nothing(mask: PupilMask) -> None:
    assert isinstance(mask, SquareNet | HexagonalNet | LineGlass)
    bare = mask.at_strength(0)
    planes = mask_filter(bare, 2, 9000.0, 0.0).cosine_planes((8, 9), np.dtype(np.float64))
    np.testing.assert_allclose(planes.even, 0, atol=1e-12)
    assert bare.direct == bare.transmittance == 1
    f = np.linspace(0, 4000, 9)
    np.testing.assert_array_equal(mask_otf(bare, f, f, GREEN).round(12), np.ones(9))
