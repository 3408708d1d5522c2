"""Blocks of one level: when they are noise, when detail, when no more than rounding.

The rules are those that [Liu2008] and [Foi2008] rest on: noise varies alike in all flat blocks, and
least; the shares are as `noise_curve` says them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.noise_curve import (
    BELOW,
    FEWEST_BLOCKS,
    MOSTLY,
    PEAKED,
    QUIETEST,
    _median,
    _noise,
    _slope,
    level_index,
)

Values = NDArray[np.float64]
SPLIT = np.array([0.7, 0.2, 0.1])
"""Of noise without colour most is in the finest band."""


def found(total: Values, split: Values = SPLIT, *, least: float = 1e-3, most: float = 1e3):
    bands = split[:, np.newaxis] * total
    return _noise(bands, total, np.full(total.size, least), np.full(total.size, most))


def cluster(count: int, middle: float = 1.0, width: float = 1.1) -> Values:
    """Variances close to one value, evenly in their logarithm."""
    return np.asarray(middle * np.geomspace(1 / width, width, count))


def test_blocks_that_vary_alike_are_noise_of_their_mean_band_by_band():
    total = cluster(200)
    variance, count = found(total)
    assert count == 200
    np.testing.assert_allclose(variance, SPLIT * total.mean())
    # What varies more than three times as much is not asked.
    more = np.concatenate([total, cluster(50, 20.0, 2.0)])
    variance, count = found(more)
    assert count == 200
    np.testing.assert_allclose(variance, SPLIT * total.mean())


def test_a_few_blocks_tell_nothing():
    variance, used = found(cluster(FEWEST_BLOCKS - 1))
    assert np.isnan(variance).all()
    assert used == 0
    assert found(cluster(FEWEST_BLOCKS))[1] == FEWEST_BLOCKS


def test_blocks_that_vary_by_any_amount_are_detail():
    _, used = found(np.geomspace(0.1, 100, 400))
    assert used == 0
    # Of those within a factor of three more than three in five lie within one and a half.
    inner = cluster(100, 1.0, 1.4)
    outer = int(100 / PEAKED) - 100
    for extra, is_noise in ((outer - 2, True), (outer + 2, False)):
        _, used = found(np.concatenate([inner, np.full(extra, 2.5)]))
        assert (used > 0) == is_noise


def test_noise_has_a_lower_edge():
    """Fewer blocks vary less than noise does than there are in the cluster's lower half."""
    inner = cluster(200, 1.0, 1.3)
    # With b blocks below it, the middle of all is the cluster's (100 - b / 2)-th.
    most = BELOW * 100 / (1 + BELOW / 2)
    for below, is_noise in ((int(most) - 2, True), (int(most) + 3, False)):
        _, used = found(np.concatenate([inner, np.full(below, 0.55)]))
        assert (used > 0) == is_noise


def test_noise_is_finer_than_detail():
    total = cluster(100)
    assert found(total, np.array([0.5, 0.25, 0.25]))[1] == 100
    assert found(total, np.array([0.5, 0.24, 0.26]))[1] == 0


def test_what_is_louder_than_any_noise_is_detail():
    total = cluster(101)
    assert found(total, most=1.001)[1] == 101
    assert found(total, most=0.98)[1] == 0


def test_blocks_without_noise_are_rounding_if_there_are_enough_of_them():
    def mixed(quiet: int, noisy: int):
        total = np.concatenate([np.full(quiet, 0.2), cluster(noisy)])
        return found(total, least=0.5)

    variance, used = mixed(60, 100)
    assert used == 60
    np.testing.assert_allclose(variance, [0.5, 0, 0])  # as much at most as rounding makes
    # Too few to be sure, too many to be chance: nothing is told.
    quiet = int(MOSTLY * 200)
    assert mixed(quiet, 200 - quiet)[1] == 0
    assert mixed(quiet + 1, 200 - quiet - 1)[1] == quiet + 1
    quiet = int(QUIETEST * 200)
    assert mixed(quiet, 200 - quiet)[1] == 200 - quiet
    assert mixed(quiet + 1, 200 - quiet - 1)[1] == 0
    # However large their share, so few blocks are none.
    assert mixed(FEWEST_BLOCKS - 1, 10)[1] == 0
    assert mixed(FEWEST_BLOCKS, 10)[1] == FEWEST_BLOCKS


def test_a_median_counts_each_value_as_often_as_it_is_said():
    values = np.array([[3.0, 1.0], [np.nan, 2.0]])
    counts = np.array([[5, 2], [0, 2]])
    assert _median(values, counts) == 3  # 1 1 2 2 3 3 3 3 3
    assert _median(values, np.array([[3, 2], [0, 2]])) == 2
    assert _median(values, np.array([[1, 4], [0, 1]])) == 1


def test_light_rises_over_codes_as_the_display_curve_does():
    codes = np.array([0.001, 0.02, 0.0403, 0.0406, 0.2, 0.5, 1.0])
    rise = (SRGB_CURVE.decode(codes + 1e-6) - SRGB_CURVE.decode(codes - 1e-6)) / 2e-6
    np.testing.assert_allclose(_slope(SRGB_CURVE.decode(codes)), rise, rtol=1e-3)


def test_levels_are_told_by_their_root():
    light = np.array([[[-0.5, 0.0, 0.25], [1.0, 2.0, (100 / 255) ** 2]]], np.float32)
    np.testing.assert_array_equal(level_index(light), [[[0, 0, 128], [255, 255, 100]]])
