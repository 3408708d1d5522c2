"""Nets and lines from the mask itself, drawn in two dimensions and transformed in float64.

Nothing here comes from the engine or from its optics. A piece of the mask that repeats is drawn
thread by thread on a fine grid, opaque or as phase grooves, and transformed: the squared moduli are
its orders. Every order is moved through the wavelengths of a channel's band in steps much finer
than a pixel, divided among the four pixels round it, which is what averaging over the sending and
the receiving pixel does to a point, and folded into the frame's mirror images.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CENTRES_M = (600e-9, 540e-9, 465e-9)
FWHM_M = 90e-9
SIGMA_M = FWHM_M / math.sqrt(8 * math.log(2))
STEP_PX = 1 / 16
"""Between wavelengths, of an order's place; ten times finer changes a pixel by a third of 0.1 %."""
FAR_PX = 20.0
"""From here on, where streaks of hundreds of orders lie over one another, steps may be longer."""
REACH_SIGMAS = 4.5
_CHUNK = 1 << 20


@dataclass(frozen=True)
class Orders:
    """Orders of a mask: places [cycles/m] in x and y, and shares of all that leaves."""

    x_per_m: Array
    y_per_m: Array
    shares: Array

    def turned(self, angle_rad: float) -> Orders:
        """Turn the mask, from x towards y."""
        c, s = math.cos(angle_rad), math.sin(angle_rad)
        x, y = self.x_per_m, self.y_per_m
        return Orders(c * x - s * y, s * x + c * y, self.shares)


def orders_of(
    mask: NDArray[np.complex128],
    cell_m: tuple[float, float],
    *,
    tiles: int = 0,
    least: float = 1e-10,
) -> Orders:
    """Orders of a mask drawn on (rows, columns) of a cell of (height, width) [m].

    The grid's own spectrum repeats for ever under the pattern of a sample, and so on for the whole
    mask: `tiles` repetitions to either side of the first are counted, and of them orders that
    hold `least` of the light.
    """
    rows, columns = mask.shape
    amplitude = np.fft.fft2(mask) / mask.size
    power = np.abs(amplitude) ** 2 / np.mean(np.abs(mask) ** 2)
    j = np.fft.fftfreq(rows, 1 / rows)
    i = np.fft.fftfreq(columns, 1 / columns)
    parts = []
    for down in range(-tiles, tiles + 1):
        for right in range(-tiles, tiles + 1):
            y, x = j + down * rows, i + right * columns
            seen = np.outer(np.sinc(y / rows) ** 2, np.sinc(x / columns) ** 2) * power
            row, column = np.nonzero(seen > least)
            parts.append((x[column] / cell_m[1], y[row] / cell_m[0], seen[row, column]))
    return Orders(*(np.concatenate(c) for c in zip(*parts, strict=True)))


def light_through(plane: Array, orders: Orders, channel: int, px_per_rad: float) -> Array:
    """One channel's light behind a mask, mirrored for ever at the frame's edges.

    What the drawn orders do not hold lies beyond the finest of them, and is laid evenly over the
    frame.
    """
    height, width = plane.shape
    kernel = kernel_of(orders, channel, px_per_rad, (2 * height, 2 * width))
    kernel += (1 - kernel.sum()) / kernel.size
    big = np.block([[plane, plane[:, ::-1]], [plane[::-1], plane[::-1, ::-1]]])
    transfer = np.fft.rfft2(kernel)
    return np.fft.irfft2(np.fft.rfft2(big) * transfer, s=big.shape)[:height, :width]


def kernel_of(
    orders: Orders,
    channel: int,
    px_per_rad: float,
    shape: tuple[int, int],
    *,
    step_px: float = STEP_PX,
    far_px: float = FAR_PX,
) -> Array:
    """Light of a lamp at (0, 0) on a grid that repeats."""
    centre = CENTRES_M[channel]
    x, y = (at * centre * px_per_rad for at in (orders.x_per_m, orders.y_per_m))
    kernel = np.zeros(shape[0] * shape[1])
    radius = np.hypot(x, y)
    middle = radius < 1e-9
    kernel[0] = orders.shares[middle].sum()
    rings = np.where(middle, -99, np.ceil(4 * np.log2(np.maximum(radius, 1e-6))))
    for ring in np.unique(rings[~middle]):
        (member,) = np.nonzero(rings == ring)
        outer = radius[member].max()
        step = step_px * max(1.0, outer / far_px)
        half = max(24, math.ceil(REACH_SIGMAS * SIGMA_M / centre * outer / step))
        z = np.linspace(-REACH_SIGMAS, REACH_SIGMAS, 2 * half + 1)
        weights = np.exp(-(z**2) / 2)
        weights /= weights.sum()
        ratio = 1 + z * SIGMA_M / centre
        for start in range(0, member.size, max(_CHUNK // z.size, 1)):
            some = member[start : start + max(_CHUNK // z.size, 1)]
            light = np.outer(orders.shares[some], weights).ravel()
            _splat(
                kernel,
                np.outer(x[some], ratio).ravel(),
                np.outer(y[some], ratio).ravel(),
                light,
                shape,
            )
    return kernel.reshape(shape)


def _splat(kernel: Array, x: Array, y: Array, light: Array, shape: tuple[int, int]) -> None:
    left, top = np.floor(x), np.floor(y)
    right, low = x - left, y - top
    column, row = left.astype(np.intp) % shape[1], top.astype(np.intp) % shape[0]
    for rows, down in ((row, 1 - low), ((row + 1) % shape[0], low)):
        for columns, across in ((column, 1 - right), ((column + 1) % shape[1], right)):
            kernel += np.bincount(rows * shape[1] + columns, light * down * across, kernel.size)


def drawn_lines(
    shape: tuple[int, int],
    cell: tuple[float, float],
    directions: list[tuple[float, float]],
    *,
    cover: float,
    phase_rad: float | None,
    shifts: list[float] | None = None,
    fine: int = 4,
) -> NDArray[np.complex128]:
    """Mask of families of lines on a cell; `directions` are cycles per unit of length (x, y).

    Each sample is the mean of `fine` by `fine` places in it.
    """
    rows, columns = shape
    passed = 0.0 if phase_rad is None else np.exp(1j * phase_rad)
    mask = np.zeros(shape, dtype=np.complex128)
    for v in range(fine):
        for u in range(fine):
            y = ((np.arange(rows) + (v + 0.5) / fine) / rows * cell[0])[:, np.newaxis]
            x = (np.arange(columns) + (u + 0.5) / fine) / columns * cell[1]
            here = np.ones(shape, dtype=np.complex128)
            for number, (fx, fy) in enumerate(directions):
                shift = shifts[number] if shifts else 0.0
                on = np.mod(fx * x + fy * y + shift, 1.0) < cover
                here = np.where(on, passed * here, here)
            mask += here
    return mask / fine**2
