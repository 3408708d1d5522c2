"""Tulle far from a lamp: its orders laid one by one, and what ends of threads scatter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.elements import Net
from tests.elements.test_nets_accuracy import assert_no_one_sees_a_difference
from tests.reference.front_optics import GREEN, camera, lamp, seen
from tests.reference.real_masks import Orders, kernel_of

Array = NDArray[np.float64]

PITCH_MM, THREAD_MM = 1.2, 0.07
PX_PER_RAD = 656.0
DIRECT = (1 - THREAD_MM / PITCH_MM) ** 2
FARTHEST, LONE = 225, 25
"""Cycles to a pitch: the shortest wavelengths bring these orders to the frame's edge; and out to
where their streaks lie alone."""


def hole(u_per_m: Array, v_per_m: Array) -> Array:
    """Transform of a regular hexagon by its six corners, 1 at the origin.

    The divergence theorem turns the integral over it into one over its sides.
    """
    flat_m = (PITCH_MM - THREAD_MM) * 1e-3
    corners = [
        flat_m / math.sqrt(3) * np.exp(1j * (math.pi / 6 + k * math.pi / 3)) for k in range(6)
    ]
    square = u_per_m**2 + v_per_m**2
    total = np.zeros(u_per_m.shape, complex)
    for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
        side, middle = b - a, (a + b) / 2
        phase = np.exp(-2j * math.pi * (u_per_m * middle.real + v_per_m * middle.imag))
        along = np.sinc(u_per_m * side.real + v_per_m * side.imag)
        total += (u_per_m * side.imag - v_per_m * side.real) * along * phase
    area = math.sqrt(3) / 2 * flat_m**2
    return (1j * total / (2 * math.pi * square * area)).real


def orders_within(farthest: float) -> Orders:
    """All orders but the zero order."""
    numbers = np.arange(-2.0 * farthest, 2.0 * farthest + 1)
    i, j = np.meshgrid(numbers, numbers)
    u, v = i, (2 * j - i) / math.sqrt(3)
    radius = np.hypot(u, v)
    near = (radius <= farthest) & (radius > 0)
    u, v = u[near] / (PITCH_MM * 1e-3), v[near] / (PITCH_MM * 1e-3)
    return Orders(u, v, DIRECT * hole(u, v) ** 2)


def some(orders: Orders, chosen: NDArray[np.bool_]) -> Orders:
    return Orders(orders.x_per_m[chosen], orders.y_per_m[chosen], orders.shares[chosen])


@pytest.mark.source("Goodman2005", "sec. 4.4: orders of a mask, here with a hexagon's transform")
def test_a_large_lamp_behind_tulle_against_its_orders_laid_one_by_one():
    side = 81
    light = np.full((side, side, 3), 0.01, np.float32)
    y, x = np.indices((side, side)) - side // 2
    light[np.hypot(y, x) < 6] = 600.0
    net = Net(pitch_mm=PITCH_MM, thread_mm=THREAD_MM, weave="tulle", unevenness=0)
    how = {"camera": camera(side, PX_PER_RAD), "surround": Surround.DARK}
    got = seen(light, net, **how)[..., GREEN]

    orders, shape = orders_within(FARTHEST), (4 * side, 4 * side)
    lone = np.hypot(orders.x_per_m, orders.y_per_m) * PITCH_MM * 1e-3 <= LONE
    kernel = kernel_of(some(orders, lone), GREEN, PX_PER_RAD, shape, step_px=1 / 32, far_px=250)
    kernel += kernel_of(some(orders, ~lone), GREEN, PX_PER_RAD, shape)
    kernel[0, 0] += DIRECT
    padded = np.zeros(shape)
    padded[:side, :side] = light[..., GREEN]
    want = np.fft.irfft2(np.fft.rfft2(padded) * np.fft.rfft2(kernel), s=shape)[:side, :side]
    assert_no_one_sees_a_difference(got, want)


@pytest.mark.parametrize("unevenness", [0.01, 0.03])
@pytest.mark.source(
    "BornWolf1999", "sec. 8.5.1: far from its middle a slit's pattern falls as 1/r^2"
)
def test_between_the_arms_the_light_of_uneven_threads_has_no_edge(unevenness):
    # Ends of straight pieces scatter straight along them, ever less, and nowhere suddenly.
    net = Net(pitch_mm=PITCH_MM, thread_mm=THREAD_MM, weave="tulle", unevenness=unevenness)
    point = lamp((101, 61), 100, 30, 1e6)
    got = seen(point, net, camera=camera(61, PX_PER_RAD), surround=Surround.DARK)[..., GREEN]
    r = np.arange(20, 100)
    between = got[100 - r, 26:35].sum(axis=1, dtype=float) * r**2
    assert between.min() > 0.93 * between.mean()
    assert between.max() < 1.07 * between.mean()
