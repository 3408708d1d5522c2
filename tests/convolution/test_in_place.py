"""What large frames do to hold less memory changes no light."""

from functools import partial

import numpy as np

from frontglass.convolution import blocks
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


def test_planes_of_single_precision_keep_light_of_double_precision():
    own = net(Weave.WOVEN, 20.0)
    double, single = (own.cosine_planes(SHAPE, np.dtype(kind)) for kind in "df")
    light = np.zeros(SHAPE)
    light[8, 40] = 1e4
    lamps = LampRows(np.array([8]), light[8:9])
    twins = Twins(beside=True, above=True)
    without = partial(filtered_without_twins, lamps=lamps, twins=twins, are_lost=True)
    for spread in (filtered, without):
        want = spread(light.copy(), planes=copied(double))
        got = spread(light.copy(), planes=copied(single))
        assert got.dtype == np.float64
        # A fifth of the bound. With light of single precision too it is 3.4e-5 and more.
        np.testing.assert_allclose(got, want, rtol=0, atol=2e-5)


def test_products_in_pieces_are_those_of_numpy(monkeypatch):
    rng = np.random.default_rng(7)
    left, right, before = rng.random((37, 5)), rng.random((5, 11)), rng.random((37, 11))
    monkeypatch.setattr(blocks, "ALONE_IN_BLAS", 200)
    got = blocks.add_product(before.copy(), left, right)
    np.testing.assert_allclose(got, before + np.matmul(left, right), rtol=1e-13)
