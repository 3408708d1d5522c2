"""What large frames do to hold less memory changes no light."""

import numpy as np
import pytest

from frontglass.convolution import blocks, nets
from frontglass.convolution.cosines import filtered
from frontglass.convolution.filters import Planes
from frontglass.convolution.over_pixels import lamps_within
from frontglass.convolution.sines import LampRows, Twins, filtered_without_twins
from frontglass.elements import Net
from frontglass.elements.net import Weave

SHAPE, DOUBLE = (60, 91), np.dtype(np.float64)


def net(weave: Weave, angle_deg: float):
    whole = Net(pitch_mm=0.5, thread_mm=0.06, weave=weave, angle_deg=angle_deg)
    return whole.filters(500.0)[1]


def copied(planes: Planes) -> Planes:
    return Planes(*(None if plane is None else plane.copy() for plane in planes))


@pytest.mark.parametrize(
    ("weave", "angle_deg"), [(Weave.WOVEN, 0.0), (Weave.WOVEN, 20.0), (Weave.KNITTED, 0.0)]
)
def test_planes_laid_in_parts_are_those_laid_at_once(weave, angle_deg, monkeypatch):
    at_once = net(weave, angle_deg).cosine_planes(SHAPE, DOUBLE)
    monkeypatch.setattr(nets, "is_small", lambda _shape: False)
    in_parts = net(weave, angle_deg).cosine_planes(SHAPE, DOUBLE)
    for got, want in zip(in_parts, at_once, strict=True):
        assert (got is None) == (want is None)
        if want is not None:
            np.testing.assert_allclose(got, want, atol=1e-15)


def test_light_laid_over_planes_that_are_lost_is_the_same():
    planes = net(Weave.WOVEN, 20.0).cosine_planes(SHAPE, DOUBLE)
    assert planes.odd is not None
    rng = np.random.default_rng(7)
    light = rng.random(SHAPE)
    lamps = LampRows(np.array([8, 40]), np.where(rng.random((2, SHAPE[1])) < 0.1, 50.0, 0.0))
    light[lamps.rows] += lamps.light
    lost = copied(planes)
    got = filtered(light.copy(), lost, are_lost=True)
    np.testing.assert_array_equal(got, filtered(light.copy(), planes))
    assert not np.array_equal(lost.odd, planes.odd)
    for twins in (Twins(beside=True, above=True), Twins(beside=False, above=True)):
        want = filtered_without_twins(light, lamps, planes, twins, are_lost=False)
        got = filtered_without_twins(light, lamps, copied(planes), twins, are_lost=True)
        np.testing.assert_array_equal(got, want)


def test_planes_that_are_kept_are_not_written_over():
    own = net(Weave.WOVEN, 20.0)
    lamps = LampRows(np.array([8]), np.full((1, SHAPE[1]), 3.0, np.float32))
    first, second = (lamps_within(lamps, own, SHAPE, DOUBLE) for _ in range(2))
    np.testing.assert_array_equal(first, second)


def test_products_in_pieces_are_those_of_numpy(monkeypatch):
    rng = np.random.default_rng(7)
    left, right, before = rng.random((37, 5)), rng.random((5, 11)), rng.random((37, 11))
    monkeypatch.setattr(blocks, "ALONE_IN_BLAS", 200)
    got = blocks.add_product(before.copy(), left, right)
    np.testing.assert_allclose(got, before + np.matmul(left, right), rtol=1e-13)
