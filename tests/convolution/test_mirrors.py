"""Kernels of any shape against shifted copies of the frame and of what lies round it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.choices import Surround
from frontglass.convolution.blocks import precision_for
from frontglass.convolution.convolve import convolve
from frontglass.convolution.cosines import filtered
from frontglass.convolution.filters import Filter, Planes, ScatterFilter, VeilFilter
from frontglass.convolution.product import Product
from frontglass.optics.profiles import Airy, Gaussian

Array = NDArray[np.float64]
SINGLE, DOUBLE = np.dtype(np.float32), np.dtype(np.float64)


@dataclass(frozen=True)
class Dots(Filter):
    """Light on a few pixels (row, column, share), and the same turned by half a turn."""

    dots: tuple[tuple[int, int, float], ...]
    reach_px: float = math.inf
    is_even: bool = False

    @property
    def direct(self) -> float:
        return 1 - 2 * sum(share for _, _, share in self.dots)

    def on_grid(self, fx_per_px: Array, fy_per_px: Array) -> Array:
        total = np.zeros((len(fy_per_px), len(fx_per_px)))
        for y, x, share in self.dots:
            total += 2 * share * np.cos(2 * np.pi * (fy_per_px[:, None] * y + fx_per_px * x))
        return total


class LaidDots(Dots):
    """The same, with planes of its own."""

    is_laid = True

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype) -> Planes:
        fy, fx = (2 * np.pi * np.arange(side + 1) / (2 * side) for side in shape)
        even, odd = np.zeros((2, len(fy), len(fx)))
        for y, x, share in self.dots:
            even += 2 * share * np.outer(np.cos(fy * y), np.cos(fx * x))
            odd += 2 * share * np.outer(np.sin(fy * y), np.sin(fx * x))
        return Planes(even.astype(dtype), None if self.is_even else odd.astype(dtype))


ASKEW = ((0, 3, 0.05), (2, 0, 0.03), (4, 11, 0.02), (-3, 40, 0.01))
STRAIGHT = ((5, 3, 0.05), (-5, 3, 0.05), (8, 0, 0.03), (0, 14, 0.02))


def shifted_copies(light: Array, dots: Dots, boundary: Surround = Surround.MIRROR) -> Array:
    """The same sum, dot by dot."""
    height, width = light.shape[:2]
    reach = 42
    around = np.pad(light.astype(float), ((reach,) * 2, (reach,) * 2, (0, 0)), mode="symmetric")
    if boundary is Surround.DARK:
        around[:reach] = around[-reach:] = around[:, :reach] = around[:, -reach:] = 0
    total = dots.direct * light
    for y, x, share in dots.dots:
        for row, column in ((y, x), (-y, -x)):
            down, right = reach - row, reach - column
            total = total + share * around[down : down + height, right : right + width]
    return total


@pytest.mark.parametrize("boundary", Surround)
@pytest.mark.parametrize("kind", [Dots, LaidDots])
@pytest.mark.parametrize(
    "shape", [(1, 200), (40, 1), (7, 200), (30, 97), (60, 80), (1001, 1003)], ids=str
)
@pytest.mark.parametrize("reach_px", [41.0, math.inf])
def test_every_pixel_gets_the_light_of_every_dot(shape, kind, boundary, reach_px):
    light = np.random.default_rng(1).random((*shape, 3)).astype(np.float32)
    dots = kind(ASKEW, reach_px)
    got = convolve(light, [dots] * 3, boundary)
    atol = 1e-6 if shape[0] > 1000 else 1e-7
    np.testing.assert_allclose(got, shifted_copies(light, dots, boundary), atol=atol)


@pytest.mark.parametrize("boundary", Surround)
def test_a_pattern_that_looks_the_same_in_a_mirror_needs_no_sines(boundary):
    light = np.random.default_rng(1).random((50, 70, 3)).astype(np.float32)
    dots = LaidDots(STRAIGHT, is_even=True)
    got = convolve(light, [dots] * 3, boundary)
    np.testing.assert_allclose(got, shifted_copies(light, dots, boundary), atol=1e-7)


def test_channels_keep_to_themselves():
    light = np.random.default_rng(2).random((40, 50, 3)).astype(np.float32)
    filters = [Dots(ASKEW), Dots(STRAIGHT), Product((Dots(ASKEW), VeilFilter(share=0.1)))]
    got = convolve(light, filters, Surround.MIRROR)
    for channel in range(3):
        one = np.repeat(light[..., channel : channel + 1], 3, axis=2)
        alone = convolve(one, [filters[channel]] * 3, Surround.MIRROR)
        np.testing.assert_allclose(got[..., channel], alone[..., channel], atol=1e-7)


@pytest.mark.parametrize("kind", [Dots, LaidDots])
@pytest.mark.parametrize("dots", [ASKEW, STRAIGHT], ids=["askew", "straight"])
def test_a_product_is_what_its_filters_are_one_after_the_other(dots, kind):
    light = np.random.default_rng(3).random((40, 60, 3)).astype(np.float32)
    mean = light.mean(axis=(0, 1))
    glow = ScatterFilter(scatterers=((0.7, Gaussian(sigma_rad=2.0)),), px_per_rad=1.0)
    once, twice = kind(dots), Dots(((2, 5, 0.1),))
    product = Product((once, glow, VeilFilter(share=0.1), twice))
    got = convolve(light, [product] * 3, Surround.MIRROR)
    # What a pattern askew to the frame makes of mirror images are no mirror images, so the others
    # must see them all: a wide surrounding stands for the endless one.
    around = 100
    wide = np.pad(light, ((around, around), (around, around), (0, 0)), mode="symmetric")
    dotted = shifted_copies(shifted_copies(wide, once), twice)
    # Light of dots has been averaged over pixels, and is not once more: the law itself.
    straight_on = once.direct * twice.direct
    glowed = straight_on * convolve(wide, [glow] * 3, Surround.MIRROR).astype(float)
    y, x = np.fft.fftfreq(wide.shape[0]), np.fft.rfftfreq(wide.shape[1])
    k = np.exp(-2 * (2 * np.pi * np.hypot(y[:, np.newaxis], x)) ** 2)
    waves = np.fft.rfft2(dotted - straight_on * wide, axes=(0, 1))
    waves *= np.exp(-0.7 * (1 - k))[..., np.newaxis]
    glowed += np.fft.irfft2(waves, s=wide.shape[:2], axes=(0, 1))
    want = 0.9 * glowed[around:-around, around:-around] + 0.1 * mean
    np.testing.assert_allclose(got, want, atol=1e-6)


@pytest.mark.parametrize("boundary", Surround)
@pytest.mark.parametrize("profile", [Gaussian(sigma_rad=2.0), Airy(lambda_over_d_rad=9.0)])
def test_a_product_of_scatterers_is_one_that_scatters_as_often(profile, boundary):
    light = np.full((90, 60, 3), 0.01, dtype=np.float32)
    light[20, 50] = 1e4
    once = ScatterFilter(scatterers=((0.3, profile),), px_per_rad=1.0)
    twice = ScatterFilter(scatterers=((0.6, profile),), px_per_rad=1.0)
    product = Product((once, once, VeilFilter(share=0.1)))
    got = convolve(light, [product] * 3, boundary)
    want = 0.9 * convolve(light, [twice] * 3, boundary) + 0.1 * light.mean(axis=(0, 1))
    np.testing.assert_allclose(got, want, rtol=3e-4, atol=3e-5)


def test_single_precision_keeps_well_within_the_engines_bound_as_long_as_it_is_trusted():
    rng = np.random.default_rng(4)
    shape = (1000, 1500)
    light = rng.uniform(0, 0.05, (*shape, 3)).astype(np.float32)
    for y, x in rng.random((8, 2)):
        light[int(y * 990) :, int(x * 1490) :][:9, :9] = 600.0
    glow = ScatterFilter(scatterers=((3.0, Gaussian(sigma_rad=2.0)),), px_per_rad=1.0)
    light *= np.float32(ACCURACY.single_rms / np.sqrt(np.mean(light.astype(float) ** 2)))
    squares = float(np.square(light, dtype=np.float64).mean())
    assert precision_for(0.999 * squares, light.shape, 1.0) == SINGLE
    assert precision_for(1.001 * squares, light.shape, 1.0) == DOUBLE
    single, double = (
        filtered(light[..., 0].copy(), glow.cosine_planes(shape, dtype))
        for dtype in (SINGLE, DOUBLE)
    )
    assert (single.dtype, double.dtype) == (SINGLE, DOUBLE)
    np.testing.assert_allclose(single, double, rtol=4e-4, atol=4e-5)


def test_no_deviated_light_leaves_every_bit():
    light = np.random.default_rng(6).random((30, 40, 3)).astype(np.float32)
    for boundary in Surround:
        got = convolve(light, [Dots(())] * 3, boundary)
        np.testing.assert_array_equal(got, light)


def test_planes_are_kept_for_the_next_still(monkeypatch):
    light = np.random.default_rng(7).random((30, 40, 3)).astype(np.float32)
    dots = LaidDots(((1, 7, 0.1),))
    first = convolve(light, [dots] * 3, Surround.MIRROR)
    monkeypatch.setattr(LaidDots, "cosine_planes", None)
    np.testing.assert_array_equal(convolve(light, [replace(dots)] * 3, Surround.MIRROR), first)
