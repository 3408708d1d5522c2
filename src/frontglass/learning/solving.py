"""Shares of rings by least squares: none below zero, and none that jumps without need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from frontglass.arrays import Float32, Float64, Mask
from frontglass.learning.laid import Columns, Laid

ROUNDS = 6
SMOOTHNESS = 0.35
"""How much a ring's share may differ from what its neighbours say, as a share of them."""
LEAST_SHARE = 2e-4
"""Of a ring: below that none is told from its neighbours."""
MODEL_SHARE = 0.016
"""Errors that no disagreement shows, as a share of a ring's light and its neighbours'; read from
some pairs with known glass."""
NEAR_RINGS = 4
"""Up to 1.5 px of the finest pair."""
FALLS_INWARDS = 0.6
"""Share of a near ring over that of the next: 0.48 for an even core, 0.69 for a density that falls
as the distance does."""
STEADY_PX2, CODED_PX2 = 0.01, 0.5
"""How much blur may differ between stills that a tripod holds [px^2 per axis, halved], and between
stills of codes, where nothing tells it: they are solved with either."""
TILES = (4, 6)
"""A frame's errors are read from how its parts disagree."""


@dataclass(frozen=True, kw_only=True)
class Products:
    """Weighed sums of products over the pixels of a pair, in one channel.

    Columns are the changes by rings and veil, by blur, the bare still, and the still with glass.
    """

    tiles: Float64
    """Of each part of the frame: shape (tiles, columns, columns)."""
    is_coded: bool
    """Whether a still held whole codes."""
    blur_px2: float = STEADY_PX2
    """How much blur may differ. [px^2]"""

    @property
    def sums(self) -> Float64:
        """Of the whole frame."""
        return np.asarray(self.tiles.sum(axis=0))


@dataclass(frozen=True, kw_only=True)
class Shares:
    """Shares of rings and veil in one channel, with their covariance, and each pair's gain."""

    shares: Float64
    covariance: Float64
    gains: Float64


def products(pair: Laid, columns: Columns, variance: Float32, use: Mask) -> list[Products]:
    """Weighed products of all columns, one for each channel."""
    height, width = use.shape
    y, x = np.mgrid[:height, :width]
    tile = y * TILES[0] // height * TILES[1] + x * TILES[1] // width
    count = len(columns.changes) + 3
    found = []
    for channel in range(3):
        tiles = np.zeros((TILES[0] * TILES[1], count, count))
        own = [c[..., channel] for c in (columns.blur, pair.bare, pair.other)]
        weight = 1 / np.sqrt(variance[..., channel])
        for number in range(len(tiles)):
            at = use & (tile == number)
            table = np.stack([one[at] for one in (*columns.changes[..., channel], *own)])
            table = table.astype(np.float64) * weight[at]
            tiles[number] = table @ table.T
        found.append(Products(tiles=tiles, is_coded=pair.is_coded))
    return found


def solved(pairs: Sequence[Products]) -> Shares:
    """Shares that fit all pairs of one channel.

    Blur that coding makes is unknown: with little of it free, near rings take it, with much of it
    free, it takes a tight halo. The middle of both is nearest, and how far they are apart is in
    the errors.
    """
    steady = _solved(pairs)
    if not any(one.is_coded for one in pairs):
        return steady
    loose = _solved([replace(one, blur_px2=CODED_PX2) if one.is_coded else one for one in pairs])
    apart = (steady.shares - loose.shares) / 2
    return Shares(
        shares=(steady.shares + loose.shares) / 2,
        covariance=(steady.covariance + loose.covariance) / 2 + np.outer(apart, apart),
        gains=(steady.gains + loose.gains) / 2,
    )


def _solved(pairs: Sequence[Products]) -> Shares:
    """Shares where it is known how much blur may differ.

    Notes
    -----
    Each pair's gain and blur are free, and are projected out; shares are found by non-negative
    least squares [LawsonHanson1974] with a penalty on second differences that is read from the
    last round. Errors are those by which parts of the frames disagree [White1980].
    """
    from scipy.optimize import nnls

    count = len(pairs[0].sums) - 3
    gains = np.array([float(one.sums[-1, -2] / one.sums[-2, -2]) for one in pairs])
    penalty = _penalty(np.full(count, 0.02))
    for turn in range(ROUNDS):
        system, wanted = penalty.copy(), np.zeros(count)
        for one, gain in zip(pairs, gains, strict=True):
            left = _projection(one, gain) @ one.sums
            system += gain**2 * left[:count, :count]
            wanted += gain * left[:count, -1]
        # Columns of one length: without that, nnls stops early and far off.
        unit = 1 / np.sqrt(np.diag(system))
        root = np.linalg.cholesky(system * np.outer(unit, unit) + 1e-12 * np.eye(count))
        shares, _ = nnls(root.T, np.linalg.solve(root, wanted * unit), maxiter=50 * count)
        shares *= unit
        shares *= min(1.0, 0.98 / max(shares.sum(), 1e-12))
        after = np.array([_gain(one, shares, gain) for one, gain in zip(pairs, gains, strict=True)])
        shares *= float(np.mean(gains / after))
        gains = after
        if turn < ROUNDS - 2:
            penalty = _penalty(shares)
    covariance = _covariance(pairs, shares, gains, system)
    return Shares(shares=shares, covariance=covariance, gains=gains)


def _covariance(
    pairs: Sequence[Products], shares: Float64, gains: Float64, system: Float64
) -> Float64:
    """Covariance from the penalty and the noise, and from how much parts of frames disagree."""
    inverse = np.linalg.inv(system)
    spread = np.zeros_like(system)
    for one, gain in zip(pairs, gains, strict=True):
        project = _projection(one, gain)
        # What is left, as a combination of the columns: the free ones explain what they can.
        vector = project.T @ np.concatenate([-gain * shares, [0.0, 0.0, 1.0]])
        pulls = gain * (one.tiles @ vector) @ project.T
        pulls = pulls[:, : len(shares)]
        spread += pulls.T @ pulls
    # Rings follow a halo, and splines a still, to about that; all parts of a frame agree in it.
    near = np.max([np.roll(np.pad(shares, 1), k)[1:-1] for k in (-1, 0, 1)], axis=0)
    floor = np.diag((MODEL_SHARE * near) ** 2)
    return np.asarray(inverse + inverse @ spread @ inverse + floor, dtype=np.float64)


def _free(one: Products, gain: float) -> tuple[Float64, Float64]:
    """Return columns whose factors are free, still and blur, and the inverse of their products."""
    sums = one.sums
    count = len(sums)
    free = np.zeros((count, 2))
    free[-2, 0] = 1.0
    free[-3, 1] = gain
    within = free.T @ sums @ free
    within[1, 1] += 1 / one.blur_px2**2
    return free, np.asarray(np.linalg.inv(within), dtype=np.float64)


def _projection(one: Products, gain: float) -> Float64:
    """Return what takes out of products what the free columns explain."""
    free, inverse = _free(one, gain)
    return np.asarray(np.eye(len(free)) - (one.sums @ free) @ inverse @ free.T)


def _gain(one: Products, shares: Float64, gain: float) -> float:
    """Gain of a pair whose rings, at the gain before, have these shares."""
    free, inverse = _free(one, gain)
    rest = np.concatenate([-gain * shares, [0.0, 0.0, 1.0]])
    return float((inverse @ free.T @ one.sums @ rest)[0])


def _penalty(shares: Float64) -> Float64:
    """Inverse variance of second differences: rings are like their neighbours, the veil is free."""
    rings = shares[:-1]
    # The largest near by: a ring that came out small would otherwise hold its neighbours down.
    wide = np.max([np.roll(np.pad(rings, 2), k)[2:-2] for k in range(-2, 3)], axis=0)
    # The finest do not speak for themselves: a change of focus, and aliases, look like them.
    wide[:NEAR_RINGS] = np.max(rings[NEAR_RINGS : NEAR_RINGS + 2])
    count = len(shares)
    out = np.zeros((count, count))
    for middle in range(NEAR_RINGS + 1, len(rings)):
        row = np.zeros(count)
        row[middle - 1 : middle + 1] = 1.0, -2.0
        if middle < len(rings) - 1:
            row[middle + 1] = 1.0
        else:
            # Beyond the last there is as much again: no bend, and no end.
            row[middle] = -1.0
        allowed = SMOOTHNESS * float(wide[middle]) + LEAST_SHARE
        out += np.outer(row, row) / allowed**2
    for near in range(NEAR_RINGS):
        # Towards the middle less and less room is left in a ring. Without that, a still without
        # fine detail lets them grow at the cost of direct light.
        row = np.zeros(count)
        row[near], row[near + 1] = 1.0, -FALLS_INWARDS
        out += np.outer(row, row) / (FALLS_INWARDS * float(wide[near]) + LEAST_SHARE) ** 2
    out[-1, -1] += 1.0
    return out
