"""Masks over the pupil that repeat: what they let through, and the dots they make of a lamp."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.bands import Band
from frontglass.optics.gratings import Grating, Streak
from frontglass.optics.psf import FloatArray

LARGEST_CROSS_COUNT = 600
LARGEST_CROSS_REACH = 2.5
LONE_ORDERS = 12
LARGEST_FINE_COUNT = 60
STEPS_PER_STEP = 4
"""A lone streak is much brighter than the plane between two, and costs much less."""
FINE_STEPS = 5
MOST_WAVELENGTHS = 401
NO_LIGHT = 1e-12


class Dots(NamedTuple):
    """Light of a lamp as points: directions [rad] and shares of all that leaves."""

    x_rad: FloatArray
    y_rad: FloatArray
    shares: FloatArray

    @staticmethod
    def joined(parts: list[Dots]) -> Dots:
        """All the points of several lists, dark ones left out."""
        x, y, shares = (np.concatenate(column) for column in zip(*parts, strict=True))
        lit = shares > NO_LIGHT
        return Dots(x[lit], y[lit], shares[lit])


class PupilMask(ABC):
    """A mask on the front of the lens, seen through a pupil much larger than its pitch.

    Shares are of the light that leaves; `transmittance` says how much that is.
    """

    __slots__ = ()

    @property
    @abstractmethod
    def transmittance(self) -> float:
        """Light that leaves over light that enters. [1], in (0, 1]."""

    @property
    @abstractmethod
    def direct(self) -> float:
        """Zero order over all light that leaves. [1], in [0, 1]."""

    @abstractmethod
    def otf(self, fx: ArrayLike, fy: ArrayLike, wavelength_m: float) -> FloatArray:
        """Transfer function at (fx, fy) [cycles/rad], 1 at the origin; real."""

    @abstractmethod
    def finest_detail_m(self) -> float:
        """Width of the narrowest thread or line [m]; 0 if there is none."""

    @abstractmethod
    def dots(self, band: Band, *, step_rad: float, reach_rad: float) -> Dots:
        """Deviated light within a reach of a lamp, as points.

        Parameters
        ----------
        band : Band
            The channel's light; orders become streaks of points.
        step_rad : float
            Neighbouring points of a streak or halo are about this far apart. [rad], > 0;
            half a pixel serves.
        reach_rad : float
            Points lie within this angle along every axis of the mask. [rad], > 0.

        Returns
        -------
        Dots
            Their shares sum to ``1 - direct`` less what goes beyond the reach.
        """

    def band_otf(self, fx: ArrayLike, fy: ArrayLike, band: Band) -> FloatArray:
        """Transfer function at (fx, fy) [cycles/rad], mean over a band; exact and slow.

        Notes
        -----
        From one wavelength to the next the shifted mask moves by a quarter of its narrowest
        thread at most, at the highest frequency asked for.
        """
        x, y = np.broadcast_arrays(*(np.asarray(f, dtype=np.float64) for f in (fx, fy)))
        highest = float(np.hypot(x, y).max(initial=0.0))
        detail = self.finest_detail_m() / 4
        step = min(detail / highest, band.sigma_m) if highest and detail else band.sigma_m
        wavelengths, shares = band.wavelengths(step)
        total = np.zeros(x.shape)
        for wavelength, share in zip(wavelengths, shares, strict=True):
            total += share * self.otf(x, y, float(wavelength))
        return total


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedGratings(PupilMask):
    """Gratings one over the other, each spreading light across its own threads.

    Parameters
    ----------
    gratings : tuple of Grating
        At least one.
    across_rad : tuple of float
        For each, the direction across its threads: angle from x towards y. [rad]

    Raises
    ------
    ParameterError
        If numbers differ, or there is no grating.

    Notes
    -----
    The mean over all places of one grating on another: the transfer functions multiply. Exact
    for two; three or more with a common period would depend on how they lie.
    """

    gratings: tuple[Grating, ...]
    across_rad: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.gratings or len(self.gratings) != len(self.across_rad):
            rule = f"one for each of the {len(self.gratings)} gratings, at least one"
            raise ParameterError("across_rad", rule, self.across_rad)
        for angle in self.across_rad:
            check_number("across_rad", angle)

    @property
    def transmittance(self) -> float:
        """Light that leaves over light that enters."""
        return math.prod(grating.transmittance for grating in self.gratings)

    @property
    def direct(self) -> float:
        """Zero order over all light that leaves."""
        return math.prod(grating.direct for grating in self.gratings)

    def finest_detail_m(self) -> float:
        """Width of the narrowest thread or line [m]."""
        return min(grating.width_m for grating in self.gratings)

    def otf(self, fx: ArrayLike, fy: ArrayLike, wavelength_m: float) -> FloatArray:
        """Transfer function at (fx, fy) [cycles/rad], 1 at the origin."""
        check_positive("wavelength_m", wavelength_m)
        total = np.ones(np.broadcast_shapes(np.shape(fx), np.shape(fy)))
        for grating, angle in zip(self.gratings, self.across_rad, strict=True):
            across = math.cos(angle) * np.asarray(fx) + math.sin(angle) * np.asarray(fy)
            total *= grating.correlation(wavelength_m * across)
        return total

    def dots(self, band: Band, *, step_rad: float, reach_rad: float) -> Dots:
        """Deviated light within a reach of a lamp, as points; see `PupilMask`.

        Notes
        -----
        Light deviated by one grating lies on its arm, light deviated by two on the plane between
        two arms. What three or four deviate, a share below (1 - direct)**3 of a grating, is laid
        where two put it. What two deviate beyond 2.5 times the width of a thread's own pattern, or
        beyond 600 steps, is left out, as light beyond the reach is.
        """
        check_positive("step_rad", step_rad)
        if not check_positive("reach_rad", reach_rad) >= step_rad:
            raise ParameterError("reach_rad", f"at least the step of {step_rad:g}", reach_rad)
        streaks: dict[Grating, Streak] = {}
        parts = []
        for index, grating in enumerate(self.gratings):
            if grating not in streaks:
                fine = step_rad / STEPS_PER_STEP
                streaks[grating] = grating.streak(band, step_rad=fine, reach_rad=reach_rad)
            at, shares = streaks[grating]
            c, s = math.cos(self.across_rad[index]), math.sin(self.across_rad[index])
            parts.append(Dots(c * at, s * at, shares * self._others(index)))
        scale = self._more_than_twice()
        planes: dict[tuple[Grating, Grating], list[Dots]] = {}
        for first in range(len(self.gratings)):
            for second in range(first):
                pair = (self.gratings[first], self.gratings[second])
                if pair not in planes:
                    planes[pair] = _planes(*pair, band, step_rad, reach_rad)
                share = scale * self._others(first, second)
                parts += [
                    self._laid(first, second, plane._replace(shares=plane.shares * share))
                    for plane in planes[pair]
                ]
        return Dots.joined(parts)

    def _laid(self, first: int, second: int, plane: Dots) -> Dots:
        """Angles along two gratings' own directions as directions in the frame."""
        one, other = self.across_rad[first], self.across_rad[second]
        x = math.cos(one) * plane.x_rad + math.cos(other) * plane.y_rad
        y = math.sin(one) * plane.x_rad + math.sin(other) * plane.y_rad
        return Dots(x, y, plane.shares)

    def _others(self, *indices: int) -> float:
        kept = (g.direct for i, g in enumerate(self.gratings) if i not in indices)
        return math.prod(kept)

    def _more_than_twice(self) -> float:
        """Light deviated twice or more over light deviated twice."""
        count = len(self.gratings)
        bent = [1 - grating.direct for grating in self.gratings]
        once = sum(bent[i] * self._others(i) for i in range(count))
        twice = sum(bent[i] * bent[j] * self._others(i, j) for i in range(count) for j in range(i))
        return (1 - self.direct - once) / twice if twice > 0 else 1.0


def _planes(
    one: Grating, other: Grating, band: Band, step_rad: float, reach_rad: float
) -> list[Dots]:
    """Light that two gratings deviate both, x across the one and y across the other.

    Orders that may be told apart are laid at their exact angles, all else on steps. Peaks that a
    drift leaves have no exact angles: the first of them are laid on finer steps.
    """
    if not (one.width_m and other.width_m):
        return []
    envelope = band.centre_m / min(one.width_m, other.width_m)
    reach = min(reach_rad, LARGEST_CROSS_REACH * envelope)
    if not (one.drift_m or other.drift_m):
        half = min(max(1, int(reach / (2 * step_rad))), LARGEST_CROSS_COUNT // 2)
        crossings = _lone_crossings(one, other, band, step_rad / 2, half * 2 * step_rad)
        return [crossings, _plane(one, other, band, 2 * step_rad, half, lone=LONE_ORDERS)]
    half = min(max(1, int(reach / step_rad)), LARGEST_CROSS_COUNT)
    inner = min(half, LARGEST_FINE_COUNT)
    # The edge of the fine part is the edge of a coarse step.
    count = FINE_STEPS * inner + FINE_STEPS // 2
    parts = [_plane(one, other, band, step_rad / FINE_STEPS, count)]
    if half > inner:
        parts.append(_plane(one, other, band, step_rad, half, hole=inner))
    return parts


def _lone_crossings(
    one: Grating, other: Grating, band: Band, step_rad: float, reach_rad: float
) -> Dots:
    """Orders of both gratings, the first twelve of each, as streaks towards the lamp."""
    rows, columns = (grating.orders(band.centre_m, highest=LONE_ORDERS) for grating in (one, other))
    parts = [Dots(np.zeros(0), np.zeros(0), np.zeros(0))]
    first = slice(LONE_ORDERS + 1, None)  # the positive ones: the others are their mirror images
    for u, row_share in zip(rows.angles_rad[first], rows.shares[first], strict=True):
        for v, share in zip(columns.angles_rad[first], columns.shares[first], strict=True):
            wavelengths, weights = band.wavelengths(band.centre_m * step_rad / (u + v))
            ratio = wavelengths / band.centre_m
            inside = ratio * max(u, v) <= reach_rad
            x, y = ratio[inside] * u, ratio[inside] * v
            light = row_share * share * weights[inside]
            parts += [Dots(i * x, j * y, light) for i in (1, -1) for j in (1, -1)]
    return Dots.joined(parts)


def _plane(
    one: Grating,
    other: Grating,
    band: Band,
    step_rad: float,
    half: int,
    *,
    lone: int = 0,
    hole: int | None = None,
) -> Dots:
    """Light on steps, without crossings of the first `lone` orders, and with a hole left in it."""
    rows: list[FloatArray] = []
    columns: list[FloatArray] = []
    finest = min((one, other), key=lambda grating: grating.pitch_m)
    for wavelength, share in _spread_of(band, finest, step_rad, half):
        for sign, masses in _signed_masses(
            one, other, step_rad, half, wavelength_m=wavelength, lone=lone
        ):
            rows.append(sign * share * masses[0])
            columns.append(masses[1])
    shares = np.stack(rows).T @ np.stack(columns)
    if hole is not None:
        inside = slice(half - hole, half + hole + 1)
        shares[inside, inside] = 0.0
    i, j = np.nonzero(shares > NO_LIGHT)
    at = np.asarray(np.arange(-half, half + 1) * step_rad, dtype=np.float64)
    return Dots(at[i], at[j], shares[i, j])


def _signed_masses(
    one: Grating, other: Grating, step_rad: float, half: int, *, wavelength_m: float, lone: int
) -> list[tuple[int, list[FloatArray]]]:
    """Light of both gratings, to be multiplied; with -1, that of the first `lone` orders."""
    whole: dict[Grating, FloatArray] = {}
    orders: dict[Grating, FloatArray] = {}
    for grating in {one, other}:
        whole[grating], rest = (
            grating.masses(
                step_rad=step_rad,
                half_count=half,
                wavelength_m=wavelength_m,
                orders_above=above,
            )
            for above in (0, lone)
        )
        orders[grating] = whole[grating] - rest
    both = [(1, [whole[one], whole[other]])]
    return [*both, (-1, [orders[one], orders[other]])] if lone else both


def _spread_of(
    band: Band, grating: Grating, step_rad: float, half: int
) -> list[tuple[float, float]]:
    """Wavelengths close enough that an order at the reach moves by a step from each to the next.

    Far out, where the streaks of neighbouring orders overlap, an eighth of their distance serves.
    """
    spacing = band.centre_m / grating.pitch_m
    move = max(step_rad, spacing / 8)
    reach = half * step_rad
    near = min(reach, 20 * spacing)
    step = band.centre_m * min(step_rad / near, move / reach)
    least = 2 * 4 * band.sigma_m / (MOST_WAVELENGTHS - 1)
    wavelengths, shares = band.wavelengths(max(step, least))
    return list(zip(wavelengths.tolist(), shares.tolist(), strict=True))
