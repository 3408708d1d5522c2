"""Pairs of one strength fitted together: what goes to each ring, and what is left over."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np

from frontglass.arrays import Float32, Float64, Mask
from frontglass.choices import Surround
from frontglass.errors import ParameterError
from frontglass.learning.laid import (
    Columns,
    Laid,
    columns_of,
    evened,
    first_variance,
    laid,
    moved,
    predicted,
    read_variance,
)
from frontglass.learning.pairs import Compared
from frontglass.learning.registration import Similarity, registered
from frontglass.learning.rings import FARTHEST_FRAMES, FINEST_PX, Rings
from frontglass.learning.solving import Products, Shares, products, solved

WEIGHINGS = 3
"""Errors are read from what the last fit left so many times."""
WIDEST_RING_DEG = 19.0
"""Where the middle of the last ring may be: rings go on for up to three steps, and a lobe ends at
60 degrees."""
OWN_COLOUR = 0.1
"""By how much the light that glass scatters differs among red, green and blue [ln]; common
practice, no source."""
MOVED_AGAIN_PX = 0.02
LEAST_HELD = 0.02
BLOCK_PX = 8


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """Pairs of one strength, fitted: where light goes, and what the fit makes of each pair."""

    rings: Rings
    shares: Float64
    """Of the light in each ring, and of the veil, in red, green and blue: shape (3, rings + 1)."""
    covariances: Float64
    """Of these: shape (3, rings + 1, rings + 1)."""
    gains: Float64
    """Light behind the glass over light before it: shape (pairs, 3)."""
    pairs: list[Laid]
    models: list[Float32]
    """What the fit makes of each bare still."""
    wheres: list[Similarity]
    moved: list[Mask]
    """What was left out because it moved."""
    lamp_stops: float
    """How well the light of lamps that clip is known; 0 where none does. [stop]"""


def rings_for(pairs: Sequence[Compared]) -> Rings:
    """Rings from below a pixel of the finest pair to beyond the widest frame."""
    finest = FINEST_PX / max(pair.px_per_rad for pair in pairs)
    widest = max(
        FARTHEST_FRAMES * math.hypot(*pair.bare.shape[:2]) / pair.px_per_rad for pair in pairs
    )
    return Rings.between(finest, min(widest, math.radians(WIDEST_RING_DEG)))


def fitted(
    pairs: Sequence[Compared],
    rings: Rings,
    surround: Surround,
    step: Callable[[str], None] = lambda _: None,
) -> Fitted:
    """Fit of pairs of one strength; `step` is told what is being done.

    Notes
    -----
    Glow shifts what stills are registered by. So the pair is laid once by the stills themselves,
    and again by what the first fit makes of the bare one.
    """
    wheres = []
    for pair in pairs:
        step("laying the stills over each other")
        wheres.append(registered(pair.bare, pair.other, without=pair.clipped))
    for again in (True, False):
        lain = [laid(pair, where) for pair, where in zip(pairs, wheres, strict=True)]
        step("spreading light to rings")
        columns = [columns_of(pair, rings, surround) for pair in lain]
        step("finding the share of each ring")
        found = _weighed(lain, columns)
        if not again:
            break
        moves = _moves(found.models, lain)
        if all(
            move.farthest_px(*pair.bare.shape[1::-1]) < MOVED_AGAIN_PX
            for move, pair in zip(moves, lain, strict=True)
        ):
            break
        # The model lies half way: what is left to do comes between the halves.
        halves = [where.half() for where in wheres]
        wheres = [half.then(move).then(half) for half, move in zip(halves, moves, strict=True)]
    doubt = min(pair.lamp_stops for pair in pairs)
    table, covariances = _together(found.shares, doubt)
    if any(pair.lost is not None for pair in pairs):
        covariances += _if_even(pairs, wheres, rings, surround, found)
    return Fitted(
        rings=rings,
        shares=table,
        covariances=covariances,
        gains=np.stack([one.gains for one in found.shares], axis=1),
        pairs=lain,
        models=found.models,
        wheres=wheres,
        moved=found.moved,
        lamp_stops=doubt,
    )


def _if_even(
    pairs: Sequence[Compared],
    wheres: Sequence[Similarity],
    rings: Rings,
    surround: Surround,
    found: _Weighed,
) -> Float64:
    """Covariance by which shares are others where light lies evenly within each clipped area.

    How it lies there is an estimate. Another one says what rests on it.
    """
    evenly = [
        laid(pair._replace(lost=None if pair.lost is None else evened(pair.lost)), where)
        for pair, where in zip(pairs, wheres, strict=True)
    ]
    columns = [columns_of(pair, rings, surround) for pair in evenly]
    others = _solved(evenly, columns, found.variances, found.moved)
    off = np.stack([a.shares - b.shares for a, b in zip(found.shares, others, strict=True)])
    return np.asarray(off[:, :, np.newaxis] * off[:, np.newaxis, :])


def _together(shares: Sequence[Shares], lamp_stops: float) -> tuple[Float64, Float64]:
    """Shares and covariances of all channels, with what is not known of lamps that clip."""
    table = np.stack([one.shares for one in shares])
    covariances = np.stack([one.covariance for one in shares])
    doubt = lamp_stops * math.log(2)
    if doubt > 0:
        table = _of_one_colour(table, covariances, doubt)
        covariances += doubt**2 * table[:, :, np.newaxis] * table[:, np.newaxis, :]
    return table, covariances


def _of_one_colour(shares: Float64, covariances: Float64, doubt: float) -> Float64:
    """Shares of rings that are as alike in red, green and blue as glass makes them.

    Where lamps clip, their colour is an estimate, and a halo of another colour is theirs sooner
    than the glass's: what both may be off by says how much of the difference is the glass's. Of
    coded stills a channel alone tells fine rings badly, so that all have one shape.
    """
    rings = np.maximum(shares[:, :-1], 0)
    variance = np.maximum(np.diagonal(covariances, axis1=1, axis2=2)[:, :-1], 1e-12)
    middle = rings.mean(axis=0) + 1e-12
    weight = 1 / variance.sum(axis=0)
    ratios = np.maximum((rings * middle * weight).sum(axis=1) / (middle**2 * weight).sum(), 0.05)
    each = ratios[:, np.newaxis] ** 2 / variance
    shape = (rings / ratios[:, np.newaxis] * each).sum(axis=0) / each.sum(axis=0)
    off = np.log(ratios) - np.log(ratios).mean()
    kept = OWN_COLOUR**2 / (OWN_COLOUR**2 + doubt**2)
    out = shares.copy()
    out[:, :-1] = shape * np.exp(np.log(ratios).mean() + kept * off)[:, np.newaxis]
    return out


def _moves(models: Sequence[Float32], pairs: Sequence[Laid]) -> list[Similarity]:
    """How far the stills with glass still are from what a fit makes of the bare ones."""
    return [
        registered(model, pair.other, coarse=False, without=~pair.held)
        for model, pair in zip(models, pairs, strict=True)
    ]


class _Weighed(NamedTuple):
    """Shares for red, green and blue, what they make of the bare stills, and with which weights."""

    shares: list[Shares]
    models: list[Float32]
    variances: list[Float32]
    moved: list[Mask]


def _weighed(pairs: Sequence[Laid], columns: Sequence[Columns]) -> _Weighed:
    """Shares with weights that are read from what they leave."""
    variances = [first_variance(pair) for pair in pairs]
    away = [np.zeros(pair.held.shape, dtype=np.bool_) for pair in pairs]
    for turn in range(WEIGHINGS):
        for pair, gone in zip(pairs, away, strict=True):
            _check_left(pair, gone)
        shares = _solved(pairs, columns, variances, away)
        table = np.stack([one.shares for one in shares])
        models = [
            predicted(pair, column, table, np.array([one.gains[number] for one in shares]))
            for number, (pair, column) in enumerate(zip(pairs, columns, strict=True))
        ]
        if turn == WEIGHINGS - 1:
            break
        variances = [
            read_variance(pair, model, pair.held & ~gone)
            for pair, model, gone in zip(pairs, models, away, strict=True)
        ]
        away = [
            moved(pair, model, variance)
            for pair, model, variance in zip(pairs, models, variances, strict=True)
        ]
    return _Weighed(shares, models, variances, away)


def _solved(
    pairs: Sequence[Laid],
    columns: Sequence[Columns],
    variances: Sequence[Float32],
    away: Sequence[Mask],
) -> list[Shares]:
    """Shares for red, green and blue."""
    each: list[list[Products]] = [
        products(pair, column, variance, pair.held & ~gone)
        for pair, column, variance, gone in zip(pairs, columns, variances, away, strict=True)
    ]
    return [solved([own[channel] for own in each]) for channel in range(3)]


def _check_left(pair: Laid, gone: Mask) -> None:
    """Refuse a pair of which nothing is left, or whose stills are black."""
    use = pair.held & ~gone
    if use.mean() < LEAST_HELD or not min(pair.bare[use].mean(), pair.other[use].mean()) > 0:
        rule = "stills of one view with something bright beside something dark"
        hint = "Next to nothing of them clips not, moved not, and is not black."
        raise ParameterError("pairs", rule, "stills that share no light", hint)


def in_stops(one: Float32, other: Float32) -> Float32:
    """Difference of two stills in stops, by their light, a thousandth of the mean as the floor."""
    a, b = one.mean(axis=2), other.mean(axis=2)
    floor = 1e-3 * float(b.mean()) + 1e-9
    return np.asarray(np.log2(np.maximum(a, floor) / np.maximum(b, floor)), dtype=np.float32)


def smoothed(stops: Float32, held: Mask) -> tuple[Float32, Mask]:
    """Means over blocks, where most of a block holds light: noise falls, rays and ghosts stay."""
    size = (max(1, stops.shape[1] // BLOCK_PX), max(1, stops.shape[0] // BLOCK_PX))
    weight = held.astype(np.float32)
    sums = cv2.resize(stops * weight, size, interpolation=cv2.INTER_AREA)
    share = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
    means = np.asarray(sums / np.maximum(share, 1e-6), dtype=np.float32)
    return means, share > 0.5
