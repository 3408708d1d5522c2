"""Tulle as a filter: its orders one by one near a lamp, its arms farther out."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.convolution.filters import Filter, Planes
from frontglass.convolution.nets import streaks_of
from frontglass.convolution.splat import Pixels, Points, planes_of, splat
from frontglass.optics.bands import Band
from frontglass.optics.masks import Orders
from frontglass.optics.tulle import HexagonalNet

Float64 = NDArray[np.float64]

_NORMALS = np.radians([0.0, 60.0, 120.0])
_GOLDEN = (1 + math.sqrt(5)) / 2
_ROWS = np.arange(-12, 13)
"""Of orders beside an arm; 97 % of its light."""
_ROW_WAVELENGTHS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class TulleFilter(Filter):
    """A net of hexagonal holes before the lens, in one channel.

    Parameters
    ----------
    mask : HexagonalNet
        What the pupil sees.
    band : Band
        The channel's light.
    px_per_rad : float
        Scale of the picture, > 0.
    pale_share : float
        Share of all that leaves that pale threads scatter into a veil. [1], in [0, 1].
    """

    mask: HexagonalNet
    band: Band
    px_per_rad: float
    pale_share: float = 0.0

    @property
    def direct(self) -> float:
        """See `Filter`."""
        return (1 - self.pale_share) * self.mask.direct

    @property
    def veil(self) -> float:
        """See `Filter`."""
        return self.pale_share

    @property
    def is_even(self) -> bool:
        """See `Filter`."""
        return self.mask.is_even

    @property
    def is_laid(self) -> bool:
        """See `Filter`."""
        return True

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
        """See `Filter`."""
        share = 1 - self.pale_share
        parts = [
            splat(Points(x, y, share * light))
            for x, y, light in star(self.mask, self.band, self.px_per_rad)
        ]
        if not parts:
            parts = [splat(Points(*3 * (np.zeros(0),)))]
        return planes_of(Pixels.joined(parts), shape, dtype, is_even=self.is_even)


def star(mask: HexagonalNet, band: Band, px_per_rad: float) -> Iterator[Points]:
    """Light that tulle deviates, as points to one side of the lamp."""
    if not mask.width_m:
        return
    px = px_per_rad * band.centre_m
    orders = mask.orders(ACCURACY.tulle_orders)
    kept = mask.kept(orders.x_per_m, orders.y_per_m)
    near = Orders(orders.x_per_m, orders.y_per_m, orders.shares * kept)
    yield from streaks_of(near, band, px_per_rad)
    # Half of all there is lies to one side.
    beyond = (1 - mask.direct) / 2 - float(orders.shares.sum())
    farther = np.array([1.5 * ACCURACY.tulle_orders / mask.pitch_m])
    still = float(mask.kept(farther, np.zeros(1))[0])
    lost = float(np.sum(orders.shares * (1 - kept))) + beyond * (1 - still)
    start = ACCURACY.tulle_orders * px / mask.pitch_m
    yield from _arms(mask, band, px_per_rad, start, beyond * still)
    if mask.jitter_m:
        yield from _halo(mask, band, px_per_rad, lost)


def _arms(
    mask: HexagonalNet, band: Band, px_per_rad: float, start_px: float, light: float
) -> Iterator[Points]:
    """Light beyond some distance: rows of orders along three arms, each the tail of an edge."""
    count = math.ceil(math.log(ACCURACY.streak_reach_px / start_px) * ACCURACY.arm_steps)
    if count <= 0 or light <= 0:
        return
    edges = start_px * np.exp(np.arange(count + 1) / ACCURACY.arm_steps)
    tail = -np.diff(1 / edges)
    tail /= tail.sum()
    rows = np.sinc(mask.hole_side_m * _ROWS / (math.sqrt(3) * mask.pitch_m)) ** 2
    wavelengths, weights = band.wavelengths(8 * band.sigma_m / (_ROW_WAVELENGTHS - 1))
    aside = np.outer(_ROWS, wavelengths).ravel() * px_per_rad / (math.sqrt(3) * mask.pitch_m)
    shares = np.outer(rows / rows.sum(), weights).ravel() * light / len(_NORMALS)
    # No two rows have points side by side: their steps are longer than a pixel.
    shift = (np.arange(aside.size) * _GOLDEN) % 1.0
    along = edges[:-1] + np.outer(shift, np.diff(edges))
    yield from _on_arms(
        mask, along, np.broadcast_to(aside[:, np.newaxis], along.shape), np.outer(shares, tail)
    )


def _halo(mask: HexagonalNet, band: Band, px_per_rad: float, light: float) -> Iterator[Points]:
    """What jitter takes from the orders: patterns of pieces of thread that move each on its own."""
    wavelengths, weights = band.wavelengths(band.sigma_m / 2)
    lobe = band.centre_m * px_per_rad / mask.width_m
    aside_lobe = band.centre_m * px_per_rad / mask.thread_length_m
    along, wide = _steps(ACCURACY.halo_lobes * lobe, lobe)
    aside, narrow = _steps(ACCURACY.halo_lobes * aside_lobe, aside_lobe)
    aside = np.concatenate([-aside[::-1], aside])
    narrow = np.concatenate([narrow[::-1], narrow])
    shares = np.zeros((along.size, aside.size))
    nothing = np.zeros(1)
    for wavelength, weight in zip(wavelengths, weights, strict=True):
        u, v = (at / (wavelength * px_per_rad) for at in (along, aside))
        across = np.sinc(mask.width_m * u) ** 2 * wide
        beside = np.sinc(mask.thread_length_m * v) ** 2 * narrow
        shares += weight / wavelength**2 * np.outer(across, beside)
        left, own = mask.kept(u, nothing), mask.kept(v, nothing)
        shares -= weight / wavelength**2 * np.outer(across * left, beside * own)
    # A lobe's tail beyond these: 1 / (pi^2 lobes) of one that nothing takes from.
    beyond = float(shares[-along.size // ACCURACY.halo_lobes :].sum()) * ACCURACY.halo_lobes
    shares *= light / (float(shares.sum()) + beyond)
    y, x = np.broadcast_arrays(aside, along[:, np.newaxis])
    lit = shares > ACCURACY.darkest_halo
    yield from _on_arms(mask, x[lit], y[lit], shares[lit] / len(_NORMALS))
    left_over = light - float(shares[lit].sum())
    yield from _arms(mask, band, px_per_rad, ACCURACY.halo_lobes * lobe, left_over)


def _steps(end_px: float, lobe_px: float) -> tuple[Float64, Float64]:
    """Middles of steps from 0, and their lengths: half a pixel or an eighth of a lobe."""
    count = math.ceil(end_px / min(ACCURACY.halo_step_px, lobe_px / 8))
    step = end_px / count
    return (np.arange(count) + 0.5) * step, np.full(count, step)


def _on_arms(
    mask: HexagonalNet, along: Float64, aside: Float64, shares: Float64
) -> Iterator[Points]:
    """Points in directions along and beside the six arms, three of them to one side of the lamp."""
    for a in _NORMALS:
        c, s = math.cos(a), math.sin(a)
        x, y = mask.turned(c * along - s * aside, s * along + c * aside)
        yield Points(x.ravel(), y.ravel(), shares.ravel())
