"""The noise tile: every level once, no seam, little energy at low frequencies."""

from __future__ import annotations

import numpy as np

from frontglass.picture.dither import TILE_PX, noise_band, rank_tile, triangular_tile


def test_every_level_stands_once():
    count = TILE_PX**2
    ranks = np.sort(rank_tile().ravel()) * count - 0.5
    np.testing.assert_allclose(ranks, np.arange(count), atol=0.01)


def test_triangular_noise_has_the_triangles_moments():
    noise = triangular_tile().astype(float)
    assert abs(noise.mean()) < 1e-6
    # A triangle on (-1, 1) has variance 1/6 and fourth moment 1/15.
    assert abs((noise**2).mean() - 1 / 6) < 1e-4
    assert abs((noise**4).mean() - 1 / 15) < 1e-4
    assert np.abs(noise).max() < 1


def test_low_frequencies_are_quiet():
    spectrum = np.abs(np.fft.fft2(triangular_tile())) ** 2
    frequency = np.hypot(*np.meshgrid(np.fft.fftfreq(TILE_PX), np.fft.fftfreq(TILE_PX)))
    low = spectrum[(frequency > 0) & (frequency < 0.06)].mean()
    assert low < 0.05 * spectrum[frequency > 0].mean()


def test_the_tile_has_no_seam():
    noise = rank_tile().astype(float)
    inside = np.abs(np.diff(noise, axis=0)).mean()
    across = np.abs(noise[0] - noise[-1]).mean()
    assert abs(across / inside - 1) < 0.2


def test_channels_are_not_alike():
    band = noise_band(TILE_PX, 3).triangular
    for first, second in ((0, 1), (1, 2), (0, 2)):
        pair = np.corrcoef(band[..., first].ravel(), band[..., second].ravel())
        assert abs(pair[0, 1]) < 0.05
