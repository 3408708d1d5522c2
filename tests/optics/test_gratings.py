"""Gratings: closed forms against masks laid out and transformed, perfect and irregular."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.errors import ParameterError
from frontglass.optics.bands import CHANNEL_BANDS, Band
from frontglass.optics.gratings import Grating

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
    np.testing.assert_allclose(mask.correlation(np.arange(field.size)), expected, atol=1e-12)


@pytest.mark.source("Goodman2005", "sec. 4.4: Fraunhofer orders of a grating")
def test_orders_are_the_power_spectrum_of_a_mask() -> None:
    pitch, width = 4096, 512
    field = np.where(np.arange(pitch) < width, 0.0, 1.0)
    spectrum = np.abs(np.fft.fft(field) / pitch) ** 2 / np.mean(field)
    mask = Grating(pitch_m=pitch, width_m=width)
    shares = mask.orders(GREEN, highest=20).shares[20:]
    # The steps of the mask add (pi m / pitch)**2 / 3 to order m: 8e-5 at m = 20.
    np.testing.assert_allclose(shares, spectrum[:21], rtol=1e-4, atol=1e-12)


@pytest.mark.source("Goodman2005", "sec. 4.4: order m at sin(angle) = m wavelength / pitch")
def test_orders_stand_at_multiples_of_wavelength_over_pitch() -> None:
    orders = Grating(pitch_m=0.25e-3, width_m=0.04e-3).orders(GREEN, highest=3)
    # 50 mm lens, 6 um pixels: 18.0 px from order to order.
    np.testing.assert_allclose(orders.angles_rad / 6e-6 * 50e-3, [-54, -36, -18, 0, 18, 36, 54])


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
    spacing = mask.orders(nanometres * 1e-9, highest=1).angles_rad[2]
    assert spacing * 50e-3 / 6e-6 == pytest.approx(px, abs=0.05001)  # digits of the table


@pytest.mark.source("Goodman2005", "sec. 4.4: the envelope is the pattern of one thread")
def test_envelope_first_vanishes_at_wavelength_over_width() -> None:
    mask = grating(0.1, jitter=0.1)
    assert mask.diffuse(GREEN / mask.width_m, GREEN) == pytest.approx(0.0, abs=1e-12)
    # .773, .516 and .309 degrees for threads of 40, 60 and 100 um.
    zeros = np.degrees(GREEN / np.array([40e-6, 60e-6, 100e-6]))
    np.testing.assert_allclose(zeros, [0.773, 0.516, 0.309], atol=5e-4)


@pytest.mark.parametrize(("cover", "plateau"), [(0.1, 0.8889), (0.2, 0.75)])
@pytest.mark.source("Goodman2005", "sec. 6.3")
def test_plateau_between_the_revivals(cover: float, plateau: float) -> None:
    assert grating(cover).correlation(PITCH / 2) == pytest.approx(plateau, abs=5e-5)
    assert grating(cover).correlation(7 * PITCH) == pytest.approx(1.0, abs=1e-12)


@given(cover=st.floats(0.001, 0.5), phase=st.none() | st.floats(-10.0, 10.0))
def test_mean_of_the_transfer_function_is_the_direct_share(
    cover: float, phase: float | None
) -> None:
    mask = grating(cover, phase_rad=phase)
    shifts = (np.arange(20000) + 0.5) / 20000 * PITCH
    assert np.mean(mask.correlation(shifts)) == pytest.approx(mask.direct, abs=1e-7)


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
        share * float(grating().correlation(frequency * wavelength))
        for wavelength, share in zip(wavelengths, shares, strict=True)
    )
    assert closed == pytest.approx(summed, abs=2e-5)  # what is beyond four sigma


def simulated_powers(frequencies: np.ndarray, *, jitter: float, drift: float) -> np.ndarray:
    """Mean power per thread of threads at random places, pitch 1, as points."""
    rng = np.random.default_rng(5)
    threads, draws = 1024, 96
    spacings = 1 + drift * rng.standard_normal((draws, threads))
    places = np.cumsum(spacings, axis=1) + jitter * rng.standard_normal((draws, threads))
    powers = np.zeros(frequencies.size)
    for row in places:
        phases = np.exp(-2j * np.pi * frequencies[:, np.newaxis] * row)
        powers += np.abs(phases.sum(axis=1)) ** 2 / threads
    return powers / draws


@pytest.mark.source("Guinier1963", "sec. 9.1: disorder of the first kind")
@pytest.mark.parametrize("jitter", [0.0312, 0.05])
def test_jitter_factor_of_a_simulated_pupil(jitter: float) -> None:
    # Each thread adds its phase; a million of them leave a scatter below 8e-4.
    threads = 1_000_000
    shifts = jitter * np.random.default_rng(3).standard_normal(threads)
    orders = np.arange(1.0, 8.0)
    powers = [abs(np.exp(2j * np.pi * m * shifts).sum()) ** 2 / threads for m in orders]
    got = (np.array(powers) - 1) / (threads - 1)
    rough, perfect = (grating(jitter=j).orders(GREEN, highest=7).shares[8:] for j in (jitter, 0.0))
    np.testing.assert_allclose(rough / perfect, got, atol=3e-3)
    first = math.exp(-((2 * math.pi * jitter) ** 2))
    np.testing.assert_allclose(rough / perfect, first ** (orders**2), rtol=1e-12)


@pytest.mark.source("Hosemann1962", "ch. VIII: disorder of the second kind")
@pytest.mark.parametrize(("jitter", "drift"), [(0.05, 0.0), (0.0, 0.08), (0.04, 0.06)])
def test_continuous_halo_of_simulated_pupils(jitter: float, drift: float) -> None:
    # Off the orders; 96 draws of a power that scatters by its own size, over 9 neighbours.
    middles = np.array([0.5, 1.4, 2.6, 3.3])
    near = np.linspace(-0.02, 0.02, 9)
    got = simulated_powers((middles[:, np.newaxis] + near).ravel(), jitter=jitter, drift=drift)
    mask = grating(jitter=jitter, drift=drift)
    angles = (middles[:, np.newaxis] + near) * GREEN / PITCH
    one = (0.1 * np.sinc(0.1 * angles * PITCH / GREEN)) ** 2 / 0.9
    theory = mask.diffuse(angles, GREEN) * GREEN / PITCH / one
    np.testing.assert_allclose(theory.mean(axis=1), got.reshape(4, 9).mean(axis=1), rtol=0.12)


@pytest.mark.source("Hosemann1962", "ch. VIII: widths of paracrystalline orders")
@pytest.mark.parametrize(
    ("drift", "order", "width", "digits"),
    # The last by hand, H held at its value on the order, which varies over so wide a one: 0.2655.
    [(0.03, 1, 0.0057, 5e-5), (0.03, 4, 0.091, 5e-4), (0.1, 2, 0.2655, 3e-3)],
)
def test_drift_widens_orders(drift: float, order: int, width: float, digits: float) -> None:
    mask = grating(0.001, drift=drift)  # thin threads: the envelope stays out of it
    places = order + np.linspace(-0.4, 0.4, 400001)
    power = mask.diffuse(places * GREEN / PITCH, GREEN)
    above = places[power > power.max() / 2]
    assert above[-1] - above[0] == pytest.approx(width, abs=digits)


@pytest.mark.parametrize(
    ("jitter", "left"), [(0.0, 1.0), (0.025, 0.969), (0.05, 0.942), (0.1, 0.919)]
)
def test_jitter_takes_revivals_down(jitter: float, left: float) -> None:
    # 1e-3: the values were measured on simulated pupils.
    assert grating(jitter=jitter).correlation(PITCH) == pytest.approx(left, abs=1e-3)


def test_a_table_says_what_the_closed_form_says() -> None:
    shifts = np.linspace(0, 12.3 * PITCH, 5001)
    for mask in (grating(jitter=0.02), grating(drift=0.05)):
        one_by_one = [float(mask.correlation(shift)) for shift in shifts[::50]]
        np.testing.assert_allclose(mask.correlation(shifts)[::50], one_by_one, atol=2e-5)


@every_grating
def test_masses_are_the_transform_of_the_transfer_function(mask: Grating) -> None:
    step = GREEN / PITCH / 64
    nodes = np.arange(-120_001, 120_002) * step
    (masses,) = mask.masses(nodes, np.array([GREEN]))
    angles = nodes[1:-1]
    assert masses.min() >= 0
    for shift in (0.0, 0.03, 0.3, 0.98, 1.0, 1.5):
        frequency = shift * PITCH / GREEN
        got = mask.direct + np.sum(masses * np.cos(2 * np.pi * frequency * angles))
        # Light between two nodes may lie on either: of what oscillates (pi shift / 64)**2 / 3 is
        # lost at most. 1 / (1875 pi**2) of contrast over transmittance lies beyond 1875 orders.
        bound = 6e-5 * mask.contrast / mask.transmittance + 1e-3 * (1 - mask.direct) * shift**2
        assert got == pytest.approx(float(mask.correlation(shift * PITCH)), abs=bound)


def test_light_between_nodes_keeps_its_amount_and_its_mean_angle() -> None:
    mask = grating(0.2)
    spacing = GREEN / PITCH
    nodes = np.array([-0.4, 0.5, 1.2, 3.2, 3.9, 4.1]) * spacing
    wavelengths = np.array([GREEN, 1.1 * GREEN])
    masses = mask.masses(nodes, wavelengths)
    shares = mask.orders(GREEN, highest=4).shares[5:]
    at = np.outer([1.0, 1.1], [1.0, 2.0, 3.0, 4.0])
    for light, places in zip(masses, at, strict=True):
        for node in range(1, 5):
            left, here, right = nodes[node - 1 : node + 2] / spacing
            due = np.minimum((places - left) / (here - left), (right - places) / (right - here))
            assert light[node - 1] == pytest.approx(np.sum(shares * np.maximum(due, 0)), abs=1e-14)


@every_grating
def test_continuous_halo_and_orders_together_are_all_the_light(mask: Grating) -> None:
    orders = mask.orders(GREEN, highest=4000)
    # Fine enough for the narrowest peak of a drift of 1/20, the first order's.
    angles = np.linspace(0, 400 * GREEN / PITCH, 800001)
    halo = 2 * np.trapezoid(mask.diffuse(angles, GREEN), angles)
    # Beyond 400 orders each holds 1 / (pi m)**2 / 2 of a cover's worth, in all contrast / 2000.
    assert orders.shares.sum() + halo == pytest.approx(1.0, abs=6e-4 * mask.contrast)


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
    assert np.array_equal(bare.correlation(np.linspace(0, 1, 7)), np.ones(7))
    assert np.array_equal(bare.band_transfer(np.linspace(0, 1, 7), CHANNEL_BANDS[0]), np.ones(7))
    assert not bare.masses(np.linspace(-8e-4, 8e-4, 17), np.array([GREEN])).any()


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
