"""Gratings: closed forms against masks laid out and transformed, perfect and irregular."""

from __future__ import annotations

import math

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.optics.bands import CHANNEL_BANDS, Band
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings
from tests.reference.transfer_functions import correlation

PITCH = 1e-3
GREEN = 540e-9


def grating(
    cover: float = 0.1,
    *,
    jitter: float = 0.0,
    drift: float = 0.0,
    phase_rad: float | None = None,
) -> Grating:
    """Grating of a pitch of 1 mm; lengths in units of it."""
    return Grating(
        pitch_m=PITCH,
        width_m=cover * PITCH,
        jitter_m=jitter * PITCH,
        drift_m=drift * PITCH,
        phase_rad=phase_rad,
    )


GRATINGS = {
    "perfect": grating(),
    "jitter": grating(jitter=0.05),
    "drift": grating(drift=0.05),
    "both": grating(jitter=0.03, drift=0.05),
    "grooves": grating(0.04, phase_rad=2.0),
    "rough-grooves": grating(0.2, phase_rad=1.0, jitter=0.04),
}
every_grating = pytest.mark.parametrize("mask", GRATINGS.values(), ids=GRATINGS.keys())


@pytest.mark.source("Goodman2005", "sec. 6.3: a transfer function is a pupil's autocorrelation")
@pytest.mark.parametrize("phase_rad", [None, 0.7, math.pi])
@pytest.mark.parametrize("width", [4, 8, 20])
def test_transfer_function_is_the_autocorrelation_of_a_mask(
    width: int, phase_rad: float | None
) -> None:
    pitch = 64
    thread = 0.0 if phase_rad is None else np.exp(1j * phase_rad)
    field = np.where(np.arange(pitch * 4) % pitch < width, thread, 1.0)
    spectrum = np.abs(np.fft.fft(field)) ** 2
    expected = np.fft.ifft(spectrum).real / np.mean(np.abs(field) ** 2) / field.size
    mask = Grating(pitch_m=pitch, width_m=width, phase_rad=phase_rad)
    np.testing.assert_allclose(correlation(mask, np.arange(field.size)), expected, atol=1e-12)


@pytest.mark.source("Goodman2005", "sec. 4.4: Fraunhofer orders of a grating")
def test_orders_are_the_power_spectrum_of_a_mask() -> None:
    pitch, width = 4096, 512
    field = np.where(np.arange(pitch) < width, 0.0, 1.0)
    spectrum = np.abs(np.fft.fft(field) / pitch) ** 2 / np.mean(field)
    mask = Grating(pitch_m=pitch, width_m=width)
    shares = mask.orders(20).shares
    # The steps of the mask add (pi m / pitch)**2 / 3 to order m: 8e-5 at m = 20.
    np.testing.assert_allclose(shares, spectrum[1:21], rtol=1e-4, atol=1e-12)


@pytest.mark.source("Goodman2005", "sec. 4.4: order m at sin(angle) = m wavelength / pitch")
def test_orders_stand_at_multiples_of_wavelength_over_pitch() -> None:
    lines = Grating(pitch_m=0.25e-3, width_m=0.04e-3)
    orders = CrossedGratings(gratings=(lines,), across_rad=(0.0,)).joint_orders((0,), 3)
    # 50 mm lens, 6 um pixels: 18.0 px from order to order.
    np.testing.assert_allclose(orders.x_per_m * GREEN / 6e-6 * 50e-3, [18, 36, 54])


@pytest.mark.parametrize(
    ("nanometres", "pitch_mm", "px"),
    [
        (465, 0.25, 15.5), (540, 0.25, 18.0), (600, 0.25, 20.0),
        (465, 0.4, 9.7), (540, 0.4, 11.3), (600, 0.4, 12.5),
        (465, 0.6, 6.5), (540, 0.6, 7.5), (600, 0.6, 8.3),
        (465, 1.0, 3.9), (540, 1.0, 4.5), (600, 1.0, 5.0),
        (465, 1.5, 2.6), (540, 1.5, 3.0), (600, 1.5, 3.3),
    ],
)  # fmt: skip
@pytest.mark.source("BornWolf1999", "sec. 8.6.1: the grating equation")
def test_spacing_of_orders_in_pixels(nanometres: int, pitch_mm: float, px: float) -> None:
    mask = Grating(pitch_m=pitch_mm * 1e-3, width_m=0.1 * pitch_mm * 1e-3)
    crossed = CrossedGratings(gratings=(mask,), across_rad=(0.0,))
    spacing = float(crossed.joint_orders((0,), 1).x_per_m[0]) * nanometres * 1e-9
    assert spacing * 50e-3 / 6e-6 == pytest.approx(px, abs=0.05001)  # digits of the table


@pytest.mark.parametrize(("cover", "plateau"), [(0.1, 0.8889), (0.2, 0.75)])
@pytest.mark.source("Goodman2005", "sec. 6.3")
def test_plateau_between_the_revivals(cover: float, plateau: float) -> None:
    assert correlation(grating(cover), PITCH / 2) == pytest.approx(plateau, abs=5e-5)
    assert correlation(grating(cover), 7 * PITCH) == pytest.approx(1.0, abs=1e-12)


@given(cover=st.floats(0.001, 0.5), phase=st.none() | st.floats(-10.0, 10.0))
def test_mean_of_the_transfer_function_is_the_direct_share(
    cover: float, phase: float | None
) -> None:
    mask = grating(cover, phase_rad=phase)
    shifts = (np.arange(20000) + 0.5) / 20000 * PITCH
    assert np.mean(correlation(mask, shifts)) == pytest.approx(mask.direct, abs=1e-7)


@pytest.mark.parametrize(
    ("order", "left"), [(1, 0.948), (2, 0.922), (3, 0.912), (5, 0.903), (10, 0.900)]
)
def test_a_band_of_80_nm_smears_the_revivals(order: int, left: float) -> None:
    band = Band(centre_m=GREEN, fwhm_m=80e-9)
    frequency = order * PITCH / GREEN
    closed = float(grating().band_transfer(frequency, band))
    assert closed == pytest.approx(left, abs=5e-4)
    wavelengths, shares = band.wavelengths(0.25e-9)
    summed = sum(
        share * float(correlation(grating(), frequency * wavelength))
        for wavelength, share in zip(wavelengths, shares, strict=True)
    )
    assert closed == pytest.approx(summed, abs=2e-5)  # what is beyond four sigma


def simulated_correlation(shifts: np.ndarray, *, jitter: float, drift: float) -> np.ndarray:
    """Autocorrelation of light behind opaque threads of width 0.1 at random places, pitch 1."""
    rng = np.random.default_rng(5)
    threads, fine = 400_000, 100
    spacings = 1 + drift * rng.standard_normal(threads)
    places = np.cumsum(spacings) + jitter * rng.standard_normal(threads)
    field = np.ones(fine * threads, dtype=np.float32)
    middles = np.rint(fine * places).astype(int)
    for offset in range(-5, 5):
        field[(middles + offset) % field.size] = 0
    steps = np.rint(fine * shifts).astype(int)
    return np.array([np.mean(field * np.roll(field, step)) for step in steps]) / field.mean()


@pytest.mark.source("Guinier1963", "sec. 9.1: disorder of the first kind")
@pytest.mark.parametrize("jitter", [0.0312, 0.05])
def test_jitter_factor_of_a_simulated_pupil(jitter: float) -> None:
    # Each thread adds its phase; a million of them leave a scatter below 8e-4.
    threads = 1_000_000
    shifts = jitter * np.random.default_rng(3).standard_normal(threads)
    orders = np.arange(1.0, 8.0)
    powers = [abs(np.exp(2j * np.pi * m * shifts).sum()) ** 2 / threads for m in orders]
    got = (np.array(powers) - 1) / (threads - 1)
    rough, perfect = (grating(jitter=j).orders(7).shares for j in (jitter, 0.0))
    np.testing.assert_allclose(rough / perfect, got, atol=3e-3)
    first = math.exp(-((2 * math.pi * jitter) ** 2))
    np.testing.assert_allclose(rough / perfect, first ** (orders**2), rtol=1e-12)


@pytest.mark.source("Hosemann1962", "ch. VIII: disorder of the second kind")
@pytest.mark.parametrize(("jitter", "drift"), [(0.05, 0.0), (0.0, 0.08), (0.04, 0.06)])
def test_autocorrelation_of_simulated_pupils(jitter: float, drift: float) -> None:
    shifts = np.array([0.04, 0.5, 0.93, 1.0, 1.06, 2.0, 3.04])
    got = simulated_correlation(shifts, jitter=jitter, drift=drift)
    want = correlation(grating(0.1, jitter=jitter, drift=drift), shifts * PITCH)
    # 0.3 / sqrt(4e5) = 5e-4 of scatter; threads laid on a grid of a hundredth of the pitch.
    np.testing.assert_allclose(got, want, atol=2e-3)


@pytest.mark.source("Hosemann1962", "ch. VIII: disorder of the second kind")
@pytest.mark.parametrize("drift", [0.02, 0.05, 0.1])
def test_peaks_that_a_drift_widens_hold_what_lies_between_half_orders(drift: float) -> None:
    at, shares = grating(0.2, drift=drift).orders(6)
    fine = np.linspace(0, 6.5, 2**21 + 1)[1:-1]
    left = np.exp(-2 * (np.pi * fine * drift) ** 2)  # Of the field, from one thread to the next.
    peaks = (1 - left**2) / (1 + left**2 - 2 * left * np.cos(2 * np.pi * fine))
    density = 0.2**2 / 0.8 * np.sinc(0.2 * fine) ** 2 * peaks
    edges = np.arange(0, 7) + 0.5
    got = np.histogram(at, np.r_[0, edges], weights=shares)[0]
    want = np.histogram(fine, np.r_[0, edges], weights=density * (fine[1] - fine[0]))[0]
    # Where a thread leaves nothing of an order, three parts are few.
    np.testing.assert_allclose(got, want, rtol=0.02, atol=3e-5)


@pytest.mark.parametrize(
    ("jitter", "left"), [(0.0, 1.0), (0.025, 0.969), (0.05, 0.942), (0.1, 0.919)]
)
def test_jitter_takes_revivals_down(jitter: float, left: float) -> None:
    # 1e-3: the values were measured on simulated pupils.
    assert correlation(grating(jitter=jitter), PITCH) == pytest.approx(left, abs=1e-3)


@given(
    cover=st.floats(0.01, 0.3), strength=st.floats(0.0, 1.9), phase=st.none() | st.floats(0.5, 3.0)
)
def test_strength_is_a_power_of_the_direct_share(
    cover: float, strength: float, phase: float | None
) -> None:
    mask = grating(cover, phase_rad=phase)
    try:
        stronger = mask.at_strength(strength)
    except ParameterError:
        # No cover up to one half takes so much.
        assert mask.direct**strength < grating(0.5, phase_rad=phase).direct * (1 + 1e-9)
        return
    assert stronger.direct == pytest.approx(mask.direct**strength, rel=1e-9)
    assert stronger.pitch_m == mask.pitch_m


def test_no_threads_no_change() -> None:
    bare = grating().at_strength(0)
    assert bare.width_m == bare.cover == 0
    assert bare.direct == bare.transmittance == 1
    assert np.array_equal(correlation(bare, np.linspace(0, 1, 7)), np.ones(7))
    assert np.array_equal(bare.band_transfer(np.linspace(0, 1, 7), CHANNEL_BANDS[0]), np.ones(7))
    assert not bare.orders(5).shares.any()


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"pitch_m": 0.0}, "pitch_m"),
        ({"width_m": 0.6e-3}, "width_m"),
        ({"width_m": -1e-6}, "width_m"),
        ({"jitter_m": math.nan}, "jitter_m"),
        ({"drift_m": 0.5e-3}, "jitter_m and drift_m"),
        ({"phase_rad": math.inf}, "phase_rad"),
    ],
)
def test_a_grating_outside_the_model_is_refused(changes: dict[str, float], name: str) -> None:
    given_values: dict[str, float] = {"pitch_m": 1e-3, "width_m": 0.1e-3} | changes
    with pytest.raises(ParameterError) as caught:
        Grating(**given_values)
    assert caught.value.name == name


def test_a_band_is_checked_and_its_shares_sum_to_one() -> None:
    wavelengths, shares = CHANNEL_BANDS[1].wavelengths(5e-9)
    assert shares.sum() == pytest.approx(1.0, abs=1e-15)
    assert np.diff(wavelengths).max() <= 5e-9 * (1 + 1e-9)
    assert np.sum(wavelengths * shares) == pytest.approx(GREEN, rel=1e-12)
    half = np.interp(GREEN + 45e-9, wavelengths, shares) / shares.max()
    assert half == pytest.approx(0.5, abs=5e-3)  # between wavelengths a straight line
    with pytest.raises(ParameterError, match="fwhm_m"):
        Band(centre_m=GREEN, fwhm_m=400e-9)


@pytest.mark.source("Colour0.4", "MSDS_CAMERA_SENSITIVITIES, the sensor with colour filters")
def test_channels_are_those_of_a_measured_sensor():
    measured = next(iter(colour.MSDS_CAMERA_SENSITIVITIES.values()))
    nm = measured.wavelengths
    for band, seen in zip(CHANNEL_BANDS, measured.values.T, strict=True):
        middle = np.average(nm, weights=seen)
        spread = np.sqrt(np.average((nm - middle) ** 2, weights=seen))
        assert 1e9 * band.centre_m == pytest.approx(middle, abs=12)
        assert 1e9 * band.sigma_m == pytest.approx(spread, abs=12)


@pytest.mark.parametrize("width_m", [0.3e-6, 6e-6, 90e-6])
def test_a_table_of_many_frequencies_says_what_the_closed_form_says_of_few(width_m):
    grating, band = Grating(pitch_m=0.45e-3, width_m=width_m, jitter_m=5e-6), CHANNEL_BANDS[0]
    f = np.geomspace(0.1, 20, 6000) * grating.pitch_m / band.centre_m
    some = slice(None, None, 7)
    np.testing.assert_allclose(
        grating.band_transfer(f, band)[some], grating.band_transfer(f[some], band), atol=1e-7
    )
