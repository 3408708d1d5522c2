"""Masks over the pupil that repeat: what they let through, and the dots they make of a lamp."""

from __future__ import annotations

import itertools
import math
from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.bands import Band
from frontglass.optics.crossings import NO_LIGHT, Crossings, crossings
from frontglass.optics.gratings import Grating, Streak
from frontglass.optics.psf import FloatArray
from frontglass.optics.triples import Triples, triples

STEPS_PER_STEP = 4
"""A lone streak is much brighter than the plane between two, and costs much less."""


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
        two arms (`crossings`), light deviated by three around them (`triples`). What four deviate,
        a share below (1 - direct)**4 of a grating, is laid where three put it.
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
        planes: dict[tuple[Grating, ...], list[Crossings]] = {}
        for pair in itertools.combinations(range(len(self.gratings)), 2):
            one, other = (self.gratings[i] for i in pair)
            if (one, other) not in planes:
                planes[one, other] = crossings(
                    one, other, band, step_rad=step_rad, reach_rad=reach_rad
                )
            share = self._others(*pair)
            parts += [
                self._laid(pair, (plane.one_rad, plane.other_rad), share * plane.shares)
                for plane in planes[one, other]
            ]
        volumes: dict[tuple[Grating, ...], Triples] = {}
        scale = self._more_than_thrice()
        for three in itertools.combinations(range(len(self.gratings)), 3):
            one, other, third = (self.gratings[i] for i in three)
            if (one, other, third) not in volumes:
                volumes[one, other, third] = triples(
                    (one, other, third), band, step_rad=step_rad, reach_rad=reach_rad
                )
            at, shares = volumes[one, other, third]
            parts.append(self._laid(three, at, scale * self._others(*three) * shares))
        return Dots.joined(parts)

    def _laid(
        self, members: tuple[int, ...], at_rad: Iterable[FloatArray], shares: FloatArray
    ) -> Dots:
        """Angles along some gratings' own directions as directions in the frame."""
        x, y = np.zeros_like(shares), np.zeros_like(shares)
        for index, angles in zip(members, at_rad, strict=True):
            x += math.cos(self.across_rad[index]) * angles
            y += math.sin(self.across_rad[index]) * angles
        return Dots(x, y, shares)

    def _others(self, *indices: int) -> float:
        kept = (g.direct for i, g in enumerate(self.gratings) if i not in indices)
        return math.prod(kept)

    def _more_than_thrice(self) -> float:
        """Light deviated three times or more over light deviated three times."""
        bent = [1 - grating.direct for grating in self.gratings]
        light = [
            sum(
                math.prod(bent[i] for i in members) * self._others(*members)
                for members in itertools.combinations(range(len(bent)), times)
            )
            for times in range(4)
        ]
        return (1 - sum(light[:3])) / light[3] if light[3] > 0 else 1.0
