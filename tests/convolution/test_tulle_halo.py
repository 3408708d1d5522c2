"""The halo of tulle's threads: on coarse pixels, and beyond the edges of a frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import fft

from frontglass.convolution.filters import Planes
from frontglass.convolution.splat import planes_of, splat
from frontglass.convolution.tulle import TulleFilter, add_halo, halo_of_pieces
from frontglass.convolution.tulle_halo import halo_points
from frontglass.optics.bands import CHANNEL_BANDS
from frontglass.optics.tulle import HexagonalNet

SHAPE = (60, 90)
LEVEL = HexagonalNet(pitch_m=1.2e-3, width_m=0.07e-3, jitter_m=0.012e-3)
DOUBLE = np.dtype(np.float64)


def kernel(planes: Planes) -> np.ndarray:
    """Even part of the light round a lamp, within a frame."""
    height, width = (side - 1 for side in planes.even.shape)
    return fft.dctn(planes.even, type=1)[: SHAPE[0], : SHAPE[1]] / (4 * height * width)


def test_without_mirrors_no_halo_comes_back_from_beyond_the_frame():
    tulle = TulleFilter(mask=LEVEL, band=CHANNEL_BANDS[1], px_per_rad=300.0, has_mirrors=False)
    own = kernel(tulle.cosine_planes(SHAPE, DOUBLE))
    wide = kernel(tulle.cosine_planes((8 * SHAPE[0], 8 * SHAPE[1]), DOUBLE))
    folded = kernel(replace(tulle, has_mirrors=True).cosine_planes(SHAPE, DOUBLE))
    # In units of the engine's bound beside a lamp of 6000.
    off = [(np.abs(one - wide) * 6000 / (1e-4 + 6 * np.abs(wide))).max() for one in (own, folded)]
    assert off[0] < 1
    assert off[1] > 30


@pytest.mark.parametrize("angle_rad", [0.0, 0.3])
def test_points_of_the_halo_are_what_its_transfer_function_says(angle_rad):
    mask, band, scale = replace(LEVEL, angle_rad=angle_rad), CHANNEL_BANDS[1], 60.0
    points = halo_points(mask, band, scale, max(SHAPE))
    is_even = mask.is_even
    got = planes_of(map(splat, points), SHAPE, DOUBLE, is_even=is_even)
    want = planes_of([], SHAPE, DOUBLE, is_even=is_even)
    add_halo(want, halo_of_pieces(mask, band), scale, 1.0)
    np.testing.assert_allclose(got.even, want.even, atol=2e-3)
    if want.odd is not None and got.odd is not None:
        np.testing.assert_allclose(got.odd, want.odd, atol=2e-3)


@pytest.mark.parametrize("pitch_m", [5e-3, 0.1])
def test_a_coarse_tulle_on_few_pixels_is_no_more_points_than_a_fine_one(pitch_m):
    mask = HexagonalNet(pitch_m=pitch_m, width_m=0.06 * pitch_m, jitter_m=0.01 * pitch_m)
    points = list(halo_points(mask, CHANNEL_BANDS[1], 34.0, 33))
    assert sum(one.x_px.size for one in points) < 1_500_000
    assert sum(float(one.shares.sum()) for one in points) == pytest.approx(0.5, abs=1e-3)
