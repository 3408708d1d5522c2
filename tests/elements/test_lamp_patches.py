"""Lamps as patches and points hold what `lamp_pixels` has, and no more."""

from __future__ import annotations

import numpy as np
import pytest

from frontglass.convolution.lamps import lamp_pixels
from frontglass.elements.lamp_patches import FoundLamps, LampPatch, lamps_found

SIZE = (512, 768)


def quay() -> np.ndarray:
    """Glitter, a bent tube, a window behind which another stands, a wall brighter than white."""
    rng = np.random.default_rng(8)
    light = rng.uniform(0.01, 0.05, (*SIZE, 3)).astype(np.float32)
    light[:200, 400:][rng.random((200, 368)) > 0.999] = (30, 20, 10)
    light[10:16, 10:200] = light[10:180, 10:16] = (0, 90, 8)
    light[60:100, 60:120] = 14
    light[120:126, 100:106] = 2.5
    light[280:500, 560:] += 1.2
    light[SIZE[0] - 1, 100:160] = 60
    light[400:440, 300:330] = (5, 9, 7)
    return light


def over(found: FoundLamps) -> np.ndarray:
    whole, count = np.zeros((*SIZE, 3), np.float32), np.zeros(SIZE)
    for patch in found.patches:
        rows = slice(patch.top, patch.top + patch.light.shape[0])
        columns = slice(patch.left, patch.left + patch.light.shape[1])
        whole[rows, columns] += patch.light
        count[rows, columns] += 1
        assert patch.light.max() <= patch.brightest
    rows, columns, light = found.points
    at = rows.astype(int), columns.astype(int)
    whole[at] += light
    np.add.at(count, at, 1)
    assert count.max() == 1
    return whole


def test_patches_and_points_are_the_lamps_of_a_frame():
    light = quay()
    found, lamps = lamps_found(light), lamp_pixels(light)
    assert found is not None
    assert lamps is not None
    assert len(found.patches) > 1
    assert len(found.points.light) > 20
    np.testing.assert_allclose(over(found), np.asarray(lamps), rtol=1e-5, atol=1e-6)
    squares = found.squares(4)
    assert squares.flux.sum() == pytest.approx(np.asarray(lamps).sum(), rel=1e-4)
    assert squares.area.sum() == np.count_nonzero(np.asarray(lamps)[..., 1])


def test_what_is_dark_or_even_has_none():
    assert lamps_found(np.full((*SIZE, 3), 0.9, np.float32)) is None
    assert lamps_found(np.full((*SIZE, 3), 40, np.float32)) is None


def test_pieces_of_a_patch_and_points_near_by_are_all_of_it():
    light = np.random.default_rng(1).uniform(2, 3, (90, 130, 3)).astype(np.float32)
    patch = LampPatch(7, 11, light, 3.0, 130.0)
    found = np.zeros((100, 150, 3))
    pieces = list(patch.pieces(40, 24))
    for piece in pieces:
        rows, columns = (
            slice(start, start + side)
            for start, side in zip((piece.top, piece.left), piece.light.shape[:2], strict=True)
        )
        found[rows, columns] += piece.light
        assert max(piece.light.shape) <= 40 + 24
    assert len(pieces) == 12
    np.testing.assert_allclose(found[7:97, 11:141], light, rtol=1e-5)
    points = patch.points(3)
    assert points.light.sum() == pytest.approx(light.sum(), rel=1e-5)
    squares = list(points.near_by(32))
    assert sum(len(one.rows) for one in squares) == len(points.rows)
    assert all(np.ptp(one.rows) < 32 and np.ptp(one.columns) < 32 for one in squares)
