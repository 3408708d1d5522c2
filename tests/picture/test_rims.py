"""How light falls beside a clipped area, where it is known to: an exponential round a disc."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.picture.clipped import outline
from frontglass.picture.lamp_rim import Rims, Seen

Light = NDArray[np.float32]


def falling(slope: float, edge: float, radius: float = 10, at: tuple[int, int] = (60, 80)) -> Light:
    """A white disc, and round it light that falls by e for each 1 / slope pixels."""
    rows, columns = np.mgrid[:120, :160]
    away = np.hypot(rows - at[0], columns - at[1]) - radius
    light = np.where(away <= 0, 1.0, edge * np.exp(-slope * np.maximum(away, 0)))
    return np.repeat(light[..., np.newaxis], 3, axis=2).astype(np.float32)


def seen(light: Light, index: int = 0, white: float = 1.0) -> Seen:
    return Rims(light, outline(light, white), 100.0).seen(index)


@pytest.mark.parametrize(("slope", "edge"), [(0.05, 0.7), (0.15, 0.8), (0.3, 0.5)])
@pytest.mark.parametrize("radius", [4, 10, 25])
def test_slope_and_light_at_the_edge_are_read_off_the_rings(slope, edge, radius):
    found = seen(falling(slope, edge, radius))
    # Half a pixel of where the edge is said to be is up to a third of it at the steepest.
    assert found.slope == pytest.approx(slope, rel=0.12)
    assert found.edge == pytest.approx(edge, rel=0.12 + 0.5 * slope)
    assert found.depth.max() == pytest.approx(radius, abs=1.5)


@pytest.mark.parametrize("at", [(0, 80), (60, 0), (119, 159), (4, 4)])
def test_a_lamp_cut_by_the_frame_falls_as_it_would(at):
    whole, cut = seen(falling(0.15, 0.7)), seen(falling(0.15, 0.7, at=at))
    assert cut.slope == pytest.approx(whole.slope, rel=0.12)
    assert cut.edge == pytest.approx(whole.edge, rel=0.2)


def test_light_over_another_white_falls_alike():
    light = falling(0.15, 0.7)
    one, other = seen(light), seen(light * np.float32(4), white=4.0)
    assert (other.slope, other.edge) == pytest.approx((one.slope, one.edge))


def test_what_clips_beside_a_lamp_is_not_its_rim():
    alone = falling(0.15, 0.7)
    beside = alone.copy()
    beside[40:80, 96:120] = 1.0
    numbers = outline(beside).labels[60, 80], outline(beside).labels[60, 100]
    assert numbers[0] != numbers[1]
    found, wanted = seen(beside, numbers[0] - 1), seen(alone)
    assert (found.slope, found.edge) == pytest.approx((wanted.slope, wanted.edge), rel=0.1)


def test_where_nothing_falls_no_slope_is_seen():
    even = falling(0.0, 0.4)
    assert seen(even).slope == 0
    assert seen(even).edge == pytest.approx(0.4, rel=1e-3)
    rising = falling(-0.02, 0.1)
    found = seen(np.minimum(rising, np.maximum(rising * 0 + 0.8, rising >= 1)).astype(np.float32))
    assert found.slope == 0
    assert found.edge > 0.1


def test_where_there_is_no_rim_none_is_seen():
    light = np.ones((30, 40, 3), np.float32)
    light[0, :3] = 0.2
    assert seen(light)[1:] == (0.0, 0.0)
    # Black all round: no light that could fall.
    dark = falling(9.0, 0.0)
    assert seen(dark)[1] == 0
    assert seen(dark)[2] == pytest.approx(1e-4)
