"""Structure of a halo: how fast it changes, and how much of it there is."""

from __future__ import annotations

import numpy as np
import pytest

from frontglass.optics.speckle import (
    PATTERN_CELLS,
    PUPIL_CELLS,
    FleckedFilter,
    halo_correlation,
    needle_contrast,
)


@pytest.mark.source("Goodman2007", "sec. 5.2: field correlation is the overlap of the pupils")
@pytest.mark.parametrize(
    ("shift", "value"), [(0.0625, 0.847), (0.125, 0.708), (0.25, 0.469), (0.5, 0.153), (1, 0)]
)
def test_correlation_is_the_squared_overlap(shift, value):
    assert float(halo_correlation(shift)) == pytest.approx(value, abs=5e-4)


@pytest.mark.source("Goodman2007", "sec. 5.2: field correlation is the overlap of the pupils")
@pytest.mark.parametrize("shift", [0.125, 0.25, 0.5, 1.0])
def test_patterns_of_sliding_footprints_forget_each_other_at_that_rate(shift):
    # Some 16000 needles a pattern: the correlation scatters by about .02.
    got = []
    for seed in (1, 2, 3):
        filter_ = FleckedFilter(seed)
        first, second = filter_.pattern(0, 0), filter_.pattern(shift, 0)
        got.append(np.corrcoef(first.ravel(), second.ravel())[0, 1])
    assert np.mean(got) == pytest.approx(float(halo_correlation(shift)), abs=0.05)


@pytest.mark.source("Goodman2007", "sec. 3.2: contrast of fully developed speckle is 1")
def test_one_wavelength_and_a_point_give_full_contrast():
    pattern = FleckedFilter(4).pattern(0.3, -0.2)
    assert pattern.mean() == pytest.approx(1)
    assert pattern.std() == pytest.approx(1, abs=0.05)


def test_needles_are_as_wide_as_the_pupil_makes_them():
    # Correlation of intensity is the squared Airy amplitude: nothing left at 1.22 wavelength/pupil.
    pattern = FleckedFilter(5).pattern(0, 0) - 1
    spectrum = np.abs(np.fft.fft2(pattern)) ** 2
    correlation = np.fft.ifft2(spectrum).real[0] / spectrum.mean()
    zero = round(1.22 * PATTERN_CELLS / PUPIL_CELLS)
    assert abs(correlation[zero]) < 0.05
    assert correlation[1] > 0.5


@pytest.mark.parametrize(("f_number", "contrast"), [(2.0, 0.025), (8.0, 0.157), (16.0, 0.30)])
def test_contrast_falls_with_the_pupil(f_number, contrast):
    # 50 mm, 8 mrad out, 80 nm about 540 nm, 6 um pixels: worked by hand from its three factors.
    got = needle_contrast(
        8e-3,
        pupil_m=50e-3 / f_number,
        wavelength_m=540e-9,
        band_m=80e-9,
        pixel_rad=6e-6 / 50e-3,
    )
    assert float(got) == pytest.approx(contrast, rel=0.12)


def test_a_wide_lamp_boils_less():
    one = {"pupil_m": 3e-3, "wavelength_m": 540e-9, "band_m": 80e-9, "pixel_rad": 1e-4}
    small, wide = (float(needle_contrast(5e-3, source_rad=s, **one)) for s in (1e-4, 1e-2))
    assert wide < small / 10
