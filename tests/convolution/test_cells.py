"""Cells: what is gathered and spread back, on cells of whole and of broken pixels."""

import numpy as np
import pytest

from frontglass.convolution.cells import REACH, CellAxis, add_cells, axes_of, gathered

EVEN, UNEVEN = (64, 8), (61, 9)


@pytest.mark.parametrize("margin", [0, REACH])
@pytest.mark.parametrize("size", [EVEN, UNEVEN])
def test_light_of_few_places_is_gathered_as_that_of_a_row_with_darkness_between(size, margin):
    axis = CellAxis(length_px=size[0], count=size[1], margin=margin)
    at = np.array([0, 3, 4, 17, 18, 40, 60])
    light = np.random.default_rng(4).random((len(at), 5)).astype(np.float32)
    row = np.zeros((size[0], 5), np.float32)
    row[at] = light
    np.testing.assert_allclose(axis.gather(light, at), axis.gather(row), rtol=1e-6, atol=1e-7)


@pytest.mark.parametrize("margin", [0, REACH])
@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("size", [(64, 96), (64, 95), (61, 96), (61, 95), (512, 4096)])
def test_spreading_is_the_transpose_of_gathering(size, channels, margin):
    axes = axes_of(size[0], size[1], 8, margin)
    rng = np.random.default_rng(7)
    light = rng.random((*size, channels)).astype(np.float32)
    cells = gathered(light, axes)
    other = rng.random(cells.shape).astype(np.float32)
    spread = np.zeros_like(light)
    add_cells(spread, other, axes)
    area = axes[0].width_px * axes[1].width_px
    on_pixels = float(np.sum(spread * light, dtype=np.float64))
    on_cells = float(np.sum(other * cells, dtype=np.float64)) * area
    assert on_pixels == pytest.approx(on_cells, rel=1e-6)


@pytest.mark.parametrize("size", [(64, 96), (61, 95), (512, 4096)])
def test_an_even_field_stays_even_and_keeps_its_light(size):
    axes = axes_of(size[0], size[1], 8, 0)
    cells = gathered(np.ones((*size, 3), np.float32), axes)
    np.testing.assert_allclose(cells, 1, rtol=1e-6)
    spread = np.zeros((*size, 3), np.float32)
    add_cells(spread, cells, axes)
    np.testing.assert_allclose(spread, 1, rtol=1e-6)


def test_rows_are_begun_once_each_before_light_is_added():
    axes = axes_of(100, 90, 8, 0)
    cells = gathered(np.ones((100, 90, 3), np.float32), axes)
    out = np.full((100, 90, 3), 7, np.float32)
    begun = []

    def begin(rows):
        begun.append(rows)
        out[rows] *= 2

    add_cells(out, cells, axes, begin)
    assert sorted(row for rows in begun for row in range(rows.start, rows.stop)) == [*range(100)]
    np.testing.assert_allclose(out, 15, rtol=1e-6)
