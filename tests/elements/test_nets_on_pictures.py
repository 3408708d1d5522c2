"""What a lamp becomes behind nets and lines: where its dots lie, their colours, their light."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frontglass.choices import Surround
from frontglass.elements import Lines, Net
from frontglass.optics.bands import CHANNEL_BANDS
from tests.reference.front_optics import (
    BLUE,
    GREEN,
    RED,
    WAVELENGTHS_M,
    camera,
    lamp,
    level_net_reference,
    seen,
)

SHAPE, ROW, COLUMN = (151, 201), 70, 90  # not square, the lamp off the middle
SCALE = 20000.0  # px a radian: orders of a 0.5 mm net are 24, 21.6 and 18.6 px apart
BAND_SIGMA = CHANNEL_BANDS[GREEN].sigma_m
WOVEN = Net(pitch_mm=0.5, thread_mm=0.03)


def pattern(element: Net | Lines, scale: float = SCALE, **how) -> np.ndarray:
    """Light of a lamp of flux 1, without what the frame's mirrors would send back."""
    how = {"surround": Surround.DARK, "camera": camera(SHAPE[1], scale), **how}
    return seen(lamp(SHAPE, ROW, COLUMN), element, **how).astype(float)


def mean_place(light: np.ndarray, away: float, turn: float, radius: float = 3.5) -> np.ndarray:
    """Mean offset (x, y) [px] of light within a circle `away` px from the lamp at a turn."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([ROW, COLUMN])[:, None, None]
    cx, cy = away * math.cos(turn), -away * math.sin(turn)
    inside = np.hypot(x - cx, y - cy) <= radius
    weight = light * inside
    return np.array([(x * weight).sum(), (y * weight).sum()]) / weight.sum()


def light_along(light: np.ndarray, away: float, turn: float, half: float) -> float:
    """Light within `half` px of a place."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([ROW, COLUMN])[:, None, None]
    near = np.hypot(x - away * math.cos(turn), y + away * math.sin(turn)) <= half
    return float(light[near].sum())


@pytest.mark.parametrize("angle_deg", [0.0, 20.0])
@pytest.mark.source("Goodman2005", "sec. 4.4: orders of a grating at m lambda / p")
def test_first_orders_lie_at_lambda_over_pitch_on_the_nets_axes(angle_deg):
    net = Net(pitch_mm=0.5, thread_mm=0.03, angle_deg=angle_deg)
    got = pattern(net)
    for channel, wavelength in enumerate(WAVELENGTHS_M):
        away = wavelength / 0.5e-3 * SCALE
        for turn in np.radians(angle_deg + np.array([0, 90, 180, 270])):
            place = mean_place(got[..., channel], away, turn, radius=7.0)
            # The second order's streak starts beyond 7 px.
            want = (away * math.cos(turn), -away * math.sin(turn))
            np.testing.assert_allclose(place, want, atol=0.1)


@pytest.mark.source("Goodman2005", "sec. 4.4, of a honeycomb: orders 2 / sqrt(3) p apart")
def test_tulle_makes_six_dots_60_degrees_apart():
    got = pattern(Net(pitch_mm=0.5, thread_mm=0.04, weave="tulle"))
    for channel, wavelength in enumerate(WAVELENGTHS_M):
        away = 2 / math.sqrt(3) * wavelength / 0.5e-3 * SCALE
        for turn in np.radians([30, 90, 150, 210, 270, 330]):
            place = mean_place(got[..., channel], away, turn, radius=6.0)
            np.testing.assert_allclose(
                place, (away * math.cos(turn), -away * math.sin(turn)), atol=0.1
            )
        # And none between.
        dot = light_along(got[..., channel], away, math.radians(30), 6.0)
        assert light_along(got[..., channel], away, 0.0, 6.0) < 0.02 * dot


def test_red_lands_farther_than_green_than_blue():
    got = pattern(WOVEN)
    peaks = [np.argmax(got[ROW, COLUMN + 12 : COLUMN + 34, c]) + 12 for c in (RED, GREEN, BLUE)]
    assert peaks == [24, pytest.approx(21.6, abs=0.6), pytest.approx(18.6, abs=0.6)]


@pytest.mark.source("Goodman2005", "sec. 4.4: efficiency of an order, (w/p)^2 sinc^2(m w/p)")
def test_orders_hold_their_share():
    got = pattern(WOVEN)
    q, b = 0.06, 0.94
    for channel, wavelength in enumerate(WAVELENGTHS_M):
        away = wavelength / 0.5e-3 * SCALE
        for order in (1, 2):
            # Of all that leaves: the other set of threads leaves b of it in its own zero order.
            share = q**2 * np.sinc(order * q) ** 2 / b * b
            at = slice(COLUMN + round((order - 0.5) * away), COLUMN + round((order + 0.5) * away))
            # One pixel across the arm; streaks reach over the middle between orders from the
            # third on.
            assert got[ROW, at, channel].sum() == pytest.approx(share, rel=0.03)


@pytest.mark.source("Prysm0.21", "focus of a pupil with a net on it")
def test_orders_hold_what_a_simulated_pupil_sends_there():
    propagation = pytest.importorskip("prysm.propagation")
    # 16 periods across, 32 samples each: thread 2 of 32.
    n, period, thread = 512, 32, 2
    free = (np.arange(n) % period) >= thread
    pupil = np.outer(free, free).astype(complex)
    power = np.abs(propagation.focus(pupil, Q=1)) ** 2
    power /= power.sum()
    middle = n // 2
    net = Net(pitch_mm=0.5, thread_mm=0.5 * thread / period)
    got = pattern(net)
    away = WAVELENGTHS_M[GREEN] / 0.5e-3 * SCALE
    for i, j in ((1, 0), (1, 1), (2, 0)):
        # Sampled threads: sinc(m q) / sinc(m / 32), under 0.7 % at the second order.
        order = power[middle + 16 * j, middle + 16 * i]
        turn, r = math.atan2(j, i), away * math.hypot(i, j)
        assert light_along(got[..., GREEN], r, turn, 9.0) == pytest.approx(order, rel=0.05)
    assert got[ROW, COLUMN, GREEN] == pytest.approx(power[middle, middle], rel=2e-3)


@pytest.mark.source("BornWolf1999", "sec. 8.5.1: a slit's pattern is dark at lambda / w")
def test_rays_go_dark_at_lambda_over_the_threads_width():
    net = Net(pitch_mm=0.5, thread_mm=0.18, unevenness=0.1)
    row = pattern(net)[ROW, COLUMN:, GREEN]
    zero = WAVELENGTHS_M[GREEN] / 0.18e-3 * SCALE
    around = row[round(zero) - 4 : round(zero) + 5].mean()
    # The band of a channel fills it to 2 % or so of the ripple beyond, 1 / (1.43 pi)^2.
    assert around < 0.25 * row[round(1.43 * zero) - 4 : round(1.43 * zero) + 5].mean()
    assert around < 0.05 * row[round(0.5 * zero)]


@pytest.mark.parametrize("weave", ["woven", "knitted", "tulle"])
@pytest.mark.parametrize("strength", [0.5, 2.0])
def test_direct_light_is_t_and_all_of_it_1(weave, strength):
    net = Net(pitch_mm=0.5, thread_mm=0.03, weave=weave, unevenness=0.02).at(strength)
    got = pattern(net, surround=Surround.MIRROR)
    through = 0.94 ** (2 * strength)
    assert net.transmittance == pytest.approx(through, rel=1e-9)
    # What irregular threads lay on the lamp itself is 1e-3 of it at most.
    alone = pattern(net)
    assert alone[ROW, COLUMN, GREEN] == pytest.approx(through, rel=1e-3)
    np.testing.assert_allclose(got.sum((0, 1)), 1, rtol=1e-5)
    # With the stop left as it was, T of the lamp's light arrives and T^2 is where it was.
    dark = pattern(net, compensate=False, surround=Surround.MIRROR)
    np.testing.assert_allclose(dark.sum((0, 1)), through, rtol=1e-5)
    np.testing.assert_allclose(dark, through * got, rtol=1e-6, atol=1e-12)


@pytest.mark.source("Guinier1963", "displacements of the first kind: a factor exp(-(q sigma)^2)")
def test_uneven_threads_take_orders_down():
    still = pattern(Net(pitch_mm=0.5, thread_mm=0.03))[..., GREEN]
    uneven = Net(pitch_mm=0.5, thread_mm=0.03, unevenness=0.04)
    moved = pattern(uneven)[..., GREEN]
    away = WAVELENGTHS_M[GREEN] / 0.5e-3 * SCALE
    for order in (1, 2):
        kept = math.exp(-((2 * math.pi * order * 0.04) ** 2))
        # What the orders lose is spread along the arm, evenly by and large: taken off.
        spread = (1 - kept) * 0.06**2 * np.sinc(order * 0.06) ** 2
        at = slice(COLUMN + round((order - 0.5) * away), COLUMN + round((order + 0.5) * away))
        halo = moved[ROW, at].sum() - kept * still[ROW, at].sum()
        assert halo == pytest.approx(spread, rel=0.15)
        peak = COLUMN + round(order * away)
        got = moved[ROW, peak] - halo / (at.stop - at.start)
        assert got / still[ROW, peak] == pytest.approx(kept, abs=0.02)


def test_a_knit_keeps_its_first_orders_and_melts_the_rest():
    row = pattern(Net(pitch_mm=0.5, thread_mm=0.03, weave="knitted", unevenness=0.06))[ROW, :, 1]
    still = pattern(WOVEN)[ROW, :, 1]
    at = [COLUMN + round(m * 21.6) for m in (1, 3)]
    between = [COLUMN + round((m + 0.5) * 21.6) for m in (0, 3)]
    # Peak over valley: clear at the first order, a third of what it was at the third.
    assert row[at[0]] > 5 * row[between[0]]
    assert row[at[1]] / row[between[1]] < 0.5 * still[at[1]] / still[between[1]]


@pytest.mark.parametrize("families", [1, 2, 3, 4])
@pytest.mark.parametrize("groove", [None, 120.0])
def test_lines_make_two_rays_each_at_the_right_angles(families, groove):
    lines = Lines(
        pitch_mm=0.5, line_mm=0.03, families=families, angle_deg=12.0, groove_phase_deg=groove
    )
    got = pattern(lines, SCALE / 4)[..., GREEN]
    wanted = 12 + np.arange(2 * families) * 180 / families
    for turn in wanted:
        on = light_along(got, 10.8, math.radians(turn), 1.5)
        off = light_along(got, 10.8, math.radians(turn + 90 / families), 1.5)
        assert on > 20 * off


def test_grooves_draw_spectra_blue_inside_red_outside():
    row = pattern(Lines(pitch_mm=0.5, line_mm=0.03, families=1, groove_phase_deg=120.0))[ROW]
    first = row[COLUMN + 12 : COLUMN + 34]
    reach = np.arange(12, 34)
    centres = [(reach * first[:, c]).sum() / first[:, c].sum() for c in (RED, GREEN, BLUE)]
    assert centres[RED] > centres[GREEN] + 1.5 > centres[BLUE] + 3


def test_anticlockwise_is_anticlockwise_as_seen():
    # Rows count down: a ray turned by +20 degrees goes right and up.
    got = pattern(Lines(pitch_mm=0.5, line_mm=0.03, families=1, angle_deg=20.0))[..., GREEN]
    up, down = (light_along(got, 43.2, math.radians(turn), 6.0) for turn in (20, -20))
    assert up > 50 * down


def test_dots_lie_twice_as_far_on_twice_the_lens_and_twice_the_pixels():
    short = pattern(WOVEN)[ROW, COLUMN:, GREEN]
    long = seen(lamp(SHAPE, ROW, COLUMN), WOVEN, camera=camera(SHAPE[1], 2 * SCALE))[
        ROW, COLUMN:, GREEN
    ]
    peak = np.argmax(short[14:32]) + 14
    assert np.argmax(long[30:60]) + 30 == pytest.approx(2 * peak, abs=1)
    wide = np.zeros((2 * SHAPE[0], 2 * SHAPE[1], 3), np.float32)
    wide[2 * ROW : 2 * ROW + 2, 2 * COLUMN : 2 * COLUMN + 2] = 1
    big = seen(wide, WOVEN, camera=camera(2 * SHAPE[1], 2 * SCALE), surround=Surround.DARK)
    halved = (
        big.astype(float).reshape(SHAPE[0], 2, SHAPE[1], 2, 3).mean((1, 3))[ROW, COLUMN:, GREEN]
    )
    # A dot across the arm is narrower than a pixel; along it the streak is 3 px wide.
    for order in (1, 2):
        at = slice(round((order - 0.5) * 21.6), round((order + 0.5) * 21.6))
        assert halved[at].sum() == pytest.approx(short[at].sum(), rel=0.02)


@pytest.mark.source("Goodman2005", "sec. 4.4: plateau (1 - 2q) / (1 - q) of each axis")
def test_fine_detail_falls_to_the_plateau():
    # 64 px to a shift of many pitches: revivals have died down, but every axis keeps its mean b.
    x = np.arange(256)
    for period in (4, 8):
        sine = 1 + 0.5 * np.sin(2 * np.pi * (x + 0.5) / period)
        light = np.broadcast_to(sine[None, :, None], (64, 256, 3)).astype(np.float32)
        got = seen(light, WOVEN, camera=camera(256, SCALE)).astype(float)
        amplitude = 2 * np.abs(np.fft.fft(got[30, :, GREEN])[256 // period]) / 256
        f_per_rad = SCALE / period
        grating = WOVEN.mask().crossed.gratings[0]
        otf = float(grating.band_transfer(f_per_rad, CHANNEL_BANDS[GREEN]))
        # The dots are averaged over two pixels, the direct light is not.
        seen_by_pixels = 0.94 + (otf - 0.94) * np.sinc(1 / period) ** 2
        assert amplitude / 0.5 == pytest.approx(seen_by_pixels, abs=6e-3)
        assert 0.93 < amplitude / 0.5 < 0.95


UNEVEN_TULLE = Net(pitch_mm=0.5, thread_mm=0.04, weave="tulle", unevenness=0.02)


@pytest.mark.parametrize(
    ("net", "surround"),
    [
        (WOVEN, Surround.MIRROR),
        (WOVEN, Surround.DARK),
        (UNEVEN_TULLE, Surround.MIRROR),
        (UNEVEN_TULLE, Surround.DARK),
    ],
)
def test_nothing_is_darker_than_dark(net, surround):
    got = seen(
        lamp(SHAPE, ROW, COLUMN, 1e5), net, camera=camera(SHAPE[1], SCALE), surround=surround
    )
    # Up to 1e-8 of a lamp below nothing is rounding, which the light path takes away.
    assert got.min() > -1e-6


def test_pale_threads_veil_the_frame_evenly():
    black, pale = (pattern(Net(pitch_mm=0.5, thread_mm=0.03, pale_share=s)) for s in (0, 0.5))
    share = Net(pitch_mm=0.5, thread_mm=0.03, pale_share=0.5).veil_share
    veil = pale - (1 - share) * black
    # 1e-7: single precision on the lamp itself.
    np.testing.assert_allclose(veil, share / (SHAPE[0] * SHAPE[1]), rtol=0.01, atol=1e-7)


def test_the_reference_knows_a_net_when_it_sees_one():
    # Of the slow reference itself: energy, and the zero order's share.
    reference = level_net_reference(lamp((40, 60), 20, 30), WOVEN, 9000.0)
    np.testing.assert_allclose(reference.sum((0, 1)), 1, rtol=1e-9)
    # The zero order, and 2e-3 that the mirrors throw back on the lamp.
    assert 0 < reference[20, 30, GREEN] - 0.94**2 < 3e-3
