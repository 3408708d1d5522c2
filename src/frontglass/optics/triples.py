"""Light that three gratings deviate one after the other, laid out as points."""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple

import numpy as np

from frontglass.optics.bands import REACH_SIGMAS, Band
from frontglass.optics.crossings import GOLDEN, NO_LIGHT
from frontglass.optics.gratings import Grating, both_ways
from frontglass.optics.psf import FloatArray

LONE_ORDERS = 8
MUCH_LIGHT = 0.001
"""Of what three deviate; more of it, behind grooves say, must be laid finer."""
MORE_LONE_ORDERS = 16
BRIGHT_ENVELOPES = 2.5
FAINT_ENVELOPES = 8.0
STEPS_IN_AN_ENVELOPE = 5
WAVELENGTHS = 40


class Triples(NamedTuple):
    """Points of light: angles [rad] across each of three gratings, shape (3, N), and shares."""

    at_rad: FloatArray
    shares: FloatArray

    @staticmethod
    def joined(parts: list[Triples]) -> Triples:
        """All the points of several."""
        at, shares = zip(*parts, strict=True)
        return Triples(np.concatenate(at, axis=1), np.concatenate(shares))


def triples(
    gratings: tuple[Grating, Grating, Grating], band: Band, *, step_rad: float, reach_rad: float
) -> Triples:
    """Light that all of three gratings deviate, as points.

    Parameters
    ----------
    gratings : tuple of Grating
        Across different directions.
    band : Band
        The channel's light.
    step_rad : float
        Half a pixel. [rad], > 0.
    reach_rad : float
        Points lie within it along each direction. [rad], > 0.

    Notes
    -----
    The first eight orders of each are laid at their exact angles, as streaks of points a pixel
    apart; sixteen where three deviate much. The rest, which the band smears over its neighbours,
    is laid on products of nodes: orders of the middle wavelength, then a few to the width of a
    thread's own pattern, up to eight times that width.
    """
    if not all(grating.width_m for grating in gratings):
        return Triples(np.zeros((3, 0)), np.zeros(0))
    drifts = any(grating.drift_m for grating in gratings)
    much = math.prod(1 - grating.direct for grating in gratings) > MUCH_LIGHT
    sharp = MORE_LONE_ORDERS if much else LONE_ORDERS
    lone = 0 if drifts else sharp
    wavelengths, weights = band.wavelengths(2 * REACH_SIGMAS * band.sigma_m / WAVELENGTHS)
    nodes = {grating: _nodes(grating, band, reach_rad, sharp + 1) for grating in set(gratings)}
    whole = {grating: grating.masses(at, wavelengths) for grating, at in nodes.items()}
    shares = _products(whole, gratings, weights)
    if lone:
        rest = {
            grating: light - grating.masses(nodes[grating], wavelengths, orders_above=lone)
            for grating, light in whole.items()
        }
        shares -= _products(rest, gratings, weights)
    places = np.nonzero(shares > NO_LIGHT)
    at = [nodes[grating][1:-1][place] for grating, place in zip(gratings, places, strict=True)]
    parts = [Triples(np.stack(at), shares[places])]
    if lone:
        parts.append(_lone_triples(gratings, band, 2 * step_rad, lone))
    return Triples.joined(parts)


def _nodes(grating: Grating, band: Band, reach_rad: float, peaks: int) -> FloatArray:
    """Angles, rising: of the first orders, then ever farther apart."""
    spacing, envelope = band.centre_m / grating.pitch_m, band.centre_m / grating.width_m
    orders = spacing * np.arange(1.0, peaks + 1)
    # Steps that no whole number of orders makes up: the points of three directions never meet.
    step = GOLDEN / 3 * max(spacing, envelope / STEPS_IN_AN_ENVELOPE)
    bright = np.arange(orders[-1] + step, BRIGHT_ENVELOPES * envelope, step)
    last = bright[-1] if bright.size else orders[-1]
    step *= GOLDEN**4
    faint = np.arange(last + step, FAINT_ENVELOPES * envelope, step)
    at = np.concatenate([orders, bright, faint])
    within = at[at <= reach_rad]
    end = within[-1] if within.size else 0.0
    return both_ways(within, np.array([end + spacing]))


def _products(
    light: dict[Grating, FloatArray], gratings: tuple[Grating, ...], weights: FloatArray
) -> FloatArray:
    """Mean over the band of the product of three lights: (wavelengths, nodes) each."""
    one, other, third = (light[grating] for grating in gratings)
    pairs = (one[:, :, np.newaxis] * other[:, np.newaxis, :]).reshape(len(weights), -1)
    product = (pairs * np.c_[weights]).T @ third
    return np.asarray(product.reshape(one.shape[1], other.shape[1], third.shape[1]))


def _lone_triples(
    gratings: tuple[Grating, Grating, Grating], band: Band, step_rad: float, highest: int
) -> Triples:
    """Return the first orders of each, as streaks towards the lamp."""
    orders = [grating.orders(band.centre_m, highest=highest) for grating in gratings]
    numbers = [n for n in range(-highest, highest + 1) if n]
    chosen = np.array(list(itertools.product(numbers, repeat=3))).T + highest
    at = np.stack([line.angles_rad[n] for line, n in zip(orders, chosen, strict=True)])
    shares = math.prod(line.shares[n] for line, n in zip(orders, chosen, strict=True))
    # A streak is no longer than that of an order whose angles all point the same way.
    length = np.abs(at).sum(axis=0)
    parts = []
    # Mirror images belong to one ring, whatever their rounding.
    rings = np.ceil(np.log2(length / length.min()) * 4 - 1e-9)
    for ring in np.unique(rings):
        member = rings == ring
        farthest = float(length[member].max())
        wavelengths, weights = band.wavelengths(band.centre_m * step_rad / farthest)
        ratio = wavelengths / band.centre_m
        parts.append(
            Triples(
                (at[:, member, np.newaxis] * ratio).reshape(3, -1),
                np.outer(shares[member], weights).ravel(),
            )
        )
    return Triples.joined(parts)
