"""Tulle as a filter: its orders one by one near a lamp, its arms farther out."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from frontglass.accuracy import ACCURACY
from frontglass.convolution.filters import Planes
from frontglass.convolution.nets import streaks_of
from frontglass.convolution.splat import MaskFilter, Points, planes_of, splat
from frontglass.optics.bands import REACH_SIGMAS, Band
from frontglass.optics.masks import Orders
from frontglass.optics.tulle import HexagonalNet

Float64 = NDArray[np.float64]

_NORMALS = np.radians([0.0, 60.0, 120.0])
_GOLDEN = (1 + math.sqrt(5)) / 2
_ROWS = np.arange(-15, 16)
"""Of orders beside an arm; 98 % of its light."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TulleFilter(MaskFilter):
    """A net of hexagonal holes before the lens, in one channel.

    Parameters
    ----------
    mask : HexagonalNet
        What the pupil sees.
    """

    mask: HexagonalNet

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
        """See `Filter`."""
        share = 1 - self.pale_share
        parts = (
            splat(Points(x, y, share * light))
            for x, y, light in star(self.mask, self.band, self.px_per_rad)
        )
        return planes_of(parts, shape, dtype, is_even=self.is_even, has_mirrors=self.has_mirrors)


def star(mask: HexagonalNet, band: Band, px_per_rad: float) -> Iterator[Points]:
    """Light that tulle deviates, as points to one side of the lamp."""
    if not mask.width_m:
        return
    px = px_per_rad * band.centre_m
    farthest = min(ACCURACY.tulle_px * mask.pitch_m / px, ACCURACY.most_tulle_orders)
    farthest = max(farthest, ACCURACY.tulle_orders)
    orders = mask.orders(farthest)
    damping = mask.debye_waller(orders.x_per_m, orders.y_per_m)
    near = Orders(orders.x_per_m, orders.y_per_m, orders.shares * damping)
    first, spacing = 0.0, 2 / math.sqrt(3) * px / mask.pitch_m
    radius = np.hypot(near.x_per_m, near.y_per_m) * mask.pitch_m
    for last, step in ACCURACY.tulle_steps_px:
        some = (radius <= last) & (radius > first)
        chosen = Orders(*(column[some] for column in near))
        # Where so many lie over one another, a part of their distance serves.
        widest = spacing / 8 if first >= ACCURACY.lone_tulle_orders else step
        yield from streaks_of(chosen, band, px_per_rad, max(step, widest))
        first = last
    # Half of all there is lies to one side.
    beyond = (1 - mask.direct) / 2 - float(orders.shares.sum())
    farther = np.array([1.5 * farthest / mask.pitch_m])
    still = float(mask.debye_waller(farther, np.zeros(1))[0])
    lost = float(np.sum(orders.shares * (1 - damping))) + beyond * (1 - still)
    start = farthest * px / mask.pitch_m, band.sigma_m / band.centre_m
    yield from _arms(mask, band, px_per_rad, start, beyond * still)
    if mask.jitter_m:
        yield from _halo(mask, band, px_per_rad, lost)


def _arms(
    mask: HexagonalNet, band: Band, px_per_rad: float, start: tuple[float, float], light: float
) -> Iterator[Points]:
    """Light beyond some distance: rows of orders along three arms, each the tail of an edge.

    They start at a distance [px] that is blurred by a share of it.
    """
    start_px, blur = start
    if light <= 0 or start_px >= ACCURACY.streak_reach_px:
        return
    relative = band.sigma_m / band.centre_m
    first, coarse = (1 - REACH_SIGMAS * blur) * start_px, ACCURACY.fine_arms * start_px
    fine_px, coarse_px = ACCURACY.arm_steps_px
    edges = np.concatenate(
        [np.arange(first, coarse, fine_px), np.arange(coarse, ACCURACY.streak_reach_px, coarse_px)]
    )
    along = (edges[1:] + edges[:-1]) / 2
    # The band blurs where they begin, and each row aside: every point has a wavelength.
    tail = -np.diff(1 / edges) * (special.ndtr((along / start_px - 1) / blur) if blur else 1.0)
    rows = np.sinc(mask.hole_side_m * _ROWS / (math.sqrt(3) * mask.pitch_m)) ** 2
    quantiles = (
        np.add.outer(np.abs(_ROWS) * _GOLDEN**2, np.arange(along.size) * _GOLDEN + 0.5) % 1.0
    )
    ratio = 1 + relative * special.ndtri(np.clip(quantiles, 1e-4, 1 - 1e-4))
    aside = np.c_[_ROWS] * ratio * band.centre_m * px_per_rad / (math.sqrt(3) * mask.pitch_m)
    shares = np.outer(rows / rows.sum(), tail / tail.sum()) * light / len(_NORMALS)
    yield from _on_arms(mask, np.broadcast_to(along, aside.shape), aside, shares)


def _halo(mask: HexagonalNet, band: Band, px_per_rad: float, light: float) -> Iterator[Points]:
    """Return what jitter takes from the orders: patterns of threads' pieces, each moved alone."""
    wavelengths, weights = band.wavelengths(band.sigma_m / 2)
    lobe = band.centre_m * px_per_rad / mask.width_m
    aside_lobe = band.centre_m * px_per_rad / mask.thread_length_m
    along, wide = _steps(lobe, ACCURACY.halo_lobes)
    aside, narrow = _steps(aside_lobe, ACCURACY.faint_halo_lobes)
    aside, narrow = (np.concatenate([way[::-1], way]) for way in (aside, narrow))
    aside[: len(aside) // 2] *= -1
    shares = np.zeros((along.size, aside.size))
    nothing, whole = np.zeros(1), 0.0
    for wavelength, weight in zip(wavelengths, weights, strict=True):
        u, v = (at / (wavelength * px_per_rad) for at in (along, aside))
        across = _lobes(mask.width_m * u) * wide
        beside = _lobes(mask.thread_length_m * v) * narrow
        shares += weight / wavelength**2 * np.outer(across, beside)
        whole += weight / wavelength**2 * float(across.sum() * beside.sum())
        left, own = mask.debye_waller(u, nothing), mask.debye_waller(v, nothing)
        shares -= weight / wavelength**2 * np.outer(across * left, beside * own)
    # Beyond n lobes a slit's pattern holds 1 / (pi^2 n) of its light, and jitter takes it all.
    beyond = whole / (np.pi**2 * ACCURACY.halo_lobes)
    shares *= light / (float(shares.sum()) + beyond)
    lit = shares > ACCURACY.darkest_halo
    left_over = light - float(shares[lit].sum())
    yield from _arms(mask, band, px_per_rad, (ACCURACY.halo_lobes * lobe, 0.0), left_over)
    y, x = np.broadcast_arrays(aside, along[:, np.newaxis])
    yield from _on_arms(mask, x[lit], y[lit], shares[lit] / len(_NORMALS))


def _lobes(at: Float64) -> Float64:
    """Pattern of a slit; far out, where a band has blurred its ripples, their mean."""
    far = np.maximum(np.abs(at), ACCURACY.halo_lobes)
    return np.where(np.abs(at) < far, np.sinc(at) ** 2, 1 / (2 * (np.pi * far) ** 2))


def _steps(lobe_px: float, lobes: float) -> tuple[Float64, Float64]:
    """Middles of steps from 0, and their lengths: equal ones, then ever longer ones."""
    end = ACCURACY.halo_lobes * lobe_px
    longest = max(ACCURACY.halo_step_px, lobe_px / ACCURACY.halo_steps_per_lobe)
    near = np.linspace(0, end, math.ceil(end / min(longest, lobe_px / 8)) + 1)
    longer = math.ceil(math.log(lobes / ACCURACY.halo_lobes) * 40)
    edges = np.concatenate([near, end * np.exp(np.arange(1, longer + 1) / 40)])
    return (edges[1:] + edges[:-1]) / 2, np.diff(edges)


def _on_arms(
    mask: HexagonalNet, along: Float64, aside: Float64, shares: Float64
) -> Iterator[Points]:
    """Points in directions along and beside the six arms, three of them to one side of the lamp."""
    for a in _NORMALS:
        c, s = math.cos(a), math.sin(a)
        x, y = mask.turned(c * along - s * aside, s * along + c * aside)
        yield Points(x.ravel(), y.ravel(), shares.ravel())
