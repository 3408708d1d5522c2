"""Dots under mirrors against shifted copies of the frame laid out with its mirror images."""

from __future__ import annotations

import numpy as np
import pytest
from frontglass.convolution.kernels import NEAR_PX, MirrorKernel
from frontglass.convolution.mirrors import spread_among_mirrors
from frontglass.convolution.transfers import Besides, MirrorTransfer, Mix, with_glow
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.convolution import kernels
from frontglass.convolution.blocks import MOST_IN_SINGLE, precision_for
from frontglass.convolution.halo import ScatterHalo
from frontglass.convolution.spread import spread
from frontglass.optics.masks import Dots
from frontglass.optics.profiles import Gaussian

Array = NDArray[np.float64]
SINGLE, DOUBLE = np.dtype(np.float32), np.dtype(np.float64)
MIX = Mix(direct=0.5, share=0.9, veil=0.01)


def with_opposites(x: list[float], y: list[float], shares: list[float]) -> Dots:
    both = np.array([1.0, -1.0])
    return Dots(np.outer(both, x).ravel(), np.outer(both, y).ravel(), np.tile(shares, 2))


ASKEW = with_opposites([3.3, 0.0, 11.7, 40.2], [0.0, 2.5, 4.1, -3.4], [0.05, 0.03, 0.02, 0.01])
EVEN = with_opposites(
    [3.3, 3.3, 0.0, 40.2], [NEAR_PX + 76.4, -NEAR_PX - 76.4, NEAR_PX + 270.0, 0.0], [0.05] * 4
)


def shifted_copies(light: Array, dots: Dots) -> Array:
    """The same sum, dot by dot and pixel by pixel."""
    height, width = light.shape[:2]
    y_reach, x_reach = (int(np.abs(at).max()) + 2 for at in (dots.y_rad, dots.x_rad))
    margins = ((y_reach, y_reach), (x_reach, x_reach), (0, 0))
    around = np.pad(light.astype(float), margins, mode="symmetric")
    total = np.zeros(light.shape)
    for x, y, share in zip(*dots, strict=True):
        left, top = int(np.floor(x)), int(np.floor(y))
        for column, wide in ((left, left + 1 - x), (left + 1, x - left)):
            for row, high in ((top, top + 1 - y), (top + 1, y - top)):
                if wide * high:
                    down, right = y_reach - row, x_reach - column
                    part = around[down : down + height, right : right + width]
                    total += share * wide * high * part
    return total


@pytest.mark.parametrize(
    ("shape", "dots", "is_even", "is_single"),
    [
        ((1, 200), ASKEW, False, False),
        ((40, 1), ASKEW, False, False),
        ((7, 200), ASKEW, False, False),
        ((30, 97), ASKEW, False, False),
        ((NEAR_PX + 276, NEAR_PX + 76), EVEN, True, False),
        ((1001, 1003), ASKEW, False, True),
    ],
    ids=str,
)
def test_every_pixel_gets_the_light_of_every_dot(shape, dots, is_even, is_single):
    light = np.random.default_rng(1).random((*shape, 3)).astype(np.float32)
    kernel = MirrorKernel.of(dots, shape)
    assert kernel.is_even == is_even
    kind = SINGLE if is_single else DOUBLE
    got = spread_among_mirrors(light, [MirrorTransfer.of(kernel, shape, kind, MIX)] * 3)
    want = MIX.direct * light + MIX.share * shifted_copies(light, dots)
    want += MIX.veil * light.mean(axis=(0, 1))
    np.testing.assert_allclose(got, want, atol=1e-6 if is_single else 1e-7)


def test_light_far_below_a_lamp_is_kept_apart_if_it_is_narrow():
    shape = (NEAR_PX + 276, NEAR_PX + 76)
    assert MirrorKernel.of(EVEN, shape).below.shape[1] == 5
    wide = with_opposites([300.0, -300.0], [NEAR_PX + 9.0] * 2, [0.1] * 2)
    kernel = MirrorKernel.of(wide, shape)
    assert kernel.is_even
    assert not kernel.below.size
    assert kernel.far.light.sum() == pytest.approx(0.2)


def test_channels_keep_to_themselves():
    light = np.random.default_rng(2).random((40, 50, 3)).astype(np.float32)
    mixes = [Mix(0.5, 1.0, 0.0), Mix(0.4, 1.0, 0.1), Mix(0.3, 2.0, 0.2)]
    transfers = [
        MirrorTransfer.of(MirrorKernel.of(dots, (40, 50)), (40, 50), DOUBLE, mix)
        for dots, mix in zip((ASKEW, EVEN, ASKEW), mixes, strict=True)
    ]
    got = spread_among_mirrors(light, transfers)
    for channel in range(3):
        one = np.repeat(light[..., channel : channel + 1], 3, axis=2)
        alone = spread_among_mirrors(one, [transfers[channel]] * 3)
        np.testing.assert_allclose(got[..., channel], alone[..., channel], atol=1e-7)


@pytest.mark.parametrize("turn_deg", [0.0, 45.0, 90.0])
def test_a_cross_is_even_when_it_stands_straight_or_on_a_corner(turn_deg):
    along = np.linspace(2, 90, 200)
    for off, is_even in ((0.0, True), (1.0, False)):
        turns = np.radians(turn_deg + off + np.array([0.0, 90.0]))
        x = np.outer(np.cos(turns), along).ravel().tolist()
        y = np.outer(np.sin(turns), along).ravel().tolist()
        dots = with_opposites(x, y, [1e-3] * len(x))
        assert MirrorKernel.of(dots, (60, 80)).is_even == is_even


STRAIGHT = with_opposites([3.3, 3.3, 0.0, 14.2], [5.4, -5.4, 8.5, 0.0], [0.05, 0.05, 0.03, 0.02])


@pytest.mark.parametrize("dots", [ASKEW, STRAIGHT], ids=["askew", "straight"])
def test_a_glow_and_a_veil_in_the_same_pass_are_what_they_are_one_after_the_other(dots):
    light = np.random.default_rng(3).random((40, 60, 3)).astype(np.float32)
    shape, mean = light.shape[:2], light.mean(axis=(0, 1))
    halo = ScatterHalo(scatterers=((0.7, Gaussian(sigma_rad=2.0)),), px_per_rad=1.0)
    kernel = MirrorKernel.of(dots, shape)
    assert kernel.is_even == (dots is STRAIGHT)
    transfers = [MirrorTransfer.of(kernel, shape, DOUBLE, MIX) for _ in range(3)]
    got = spread_among_mirrors(light, with_glow(transfers, shape, Besides((halo,) * 3, kept=0.9)))
    # What a pattern askew to the frame makes of mirror images are no mirror images, so the glow
    # must see them all: a wide surrounding stands for the endless one.
    around = 80
    wide = np.pad(light, ((around, around), (around, around), (0, 0)), mode="symmetric")
    netted = MIX.direct * wide + MIX.share * shifted_copies(wide, dots) + MIX.veil * mean
    glowed = spread(netted.astype(np.float32), [halo] * 3, surround=Surround.MIRROR)
    want = 0.9 * glowed[around:-around, around:-around] + 0.1 * mean
    np.testing.assert_allclose(got, want, atol=1e-6)


def test_single_precision_keeps_well_within_the_engines_bound_as_long_as_it_is_trusted():
    rng = np.random.default_rng(4)
    shape = (1000, 1500)
    light = rng.uniform(0, 0.05, (*shape, 3)).astype(np.float32)
    for y, x in rng.random((8, 2)):
        light[int(y * 990) :, int(x * 1490) :][:9, :9] = 600.0
    halo = ScatterHalo(scatterers=((3.0, Gaussian(sigma_rad=2.0)),), px_per_rad=1.0)
    light *= np.float32(MOST_IN_SINGLE / np.sqrt(np.mean(light.astype(float) ** 2)))
    assert precision_for(light * np.float32(0.999), 1.0) == SINGLE
    assert precision_for(light * np.float32(1.001), 1.0) == DOUBLE
    single, double = (
        spread_among_mirrors(light, [MirrorTransfer.of_halo(halo, shape, kind, 1.0)] * 3)
        for kind in (SINGLE, DOUBLE)
    )
    np.testing.assert_allclose(single, double, rtol=4e-4, atol=4e-5)


@pytest.mark.parametrize("shape", [(30, 40), (NEAR_PX + 276, NEAR_PX + 976)], ids=str)
@pytest.mark.parametrize("dots", [ASKEW, EVEN], ids=["askew", "even"])
def test_dots_may_be_laid_a_few_at_a_time(monkeypatch, shape, dots):
    light = np.random.default_rng(5).random((*shape, 3)).astype(np.float32)
    seen = []
    for at_once in (1_000, 3):
        monkeypatch.setattr(kernels, "DOTS_AT_ONCE", at_once)
        kernel = MirrorKernel.of(dots, shape)
        seen.append(
            spread_among_mirrors(light, [MirrorTransfer.of(kernel, shape, DOUBLE, MIX)] * 3)
        )
    np.testing.assert_allclose(seen[0], seen[1], atol=1e-7)


def test_no_dots_leave_the_direct_light():
    light = np.random.default_rng(6).random((30, 40, 3)).astype(np.float32)
    kernel = MirrorKernel.of(with_opposites([], [], []), (30, 40))
    transfer = MirrorTransfer.of(kernel, (30, 40), DOUBLE, Mix(1.0, 1.0, 0.0))
    np.testing.assert_array_equal(spread_among_mirrors(light, [transfer] * 3), light)
