"""Masks over the pupil that repeat: what they let through, and where they send a lamp's light."""

from __future__ import annotations

import itertools
import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.checks import check_number
from frontglass.errors import ParameterError
from frontglass.optics.gratings import Grating
from frontglass.optics.psf import FloatArray

_SAME_TURN_RAD = 1e-9
# Few enough to be laid, and each too faint to be seen.
_TIMES_FAINTEST = 10


class Orders(NamedTuple):
    """One of each pair of opposite orders: places [cycles/m], shares of all that leaves.

    Light of a wavelength goes in the directions wavelength x place.
    """

    x_per_m: FloatArray
    y_per_m: FloatArray
    shares: FloatArray


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


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedGratings:
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
    Light behind them is the product of what each lets through, so at one wavelength their
    autocorrelations, and with them their transfer functions, multiply: exactly for two, and for
    three or more as the mean over all places of one grating on another. Three at 60 degrees that
    share a pitch depend on how they lie; no one knows how those of a glass do.
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

    @property
    def is_even(self) -> bool:
        """Whether every grating is its own mirror image or has one."""
        return all(self.mirror_image_of(index) is not None for index in range(len(self.gratings)))

    def mirror_image_of(self, index: int) -> int | None:
        """Which grating is the mirror image of one, itself perhaps; None if there is none."""
        return self._alike(index, -self.across_rad[index])

    def quarter_turn_of(self, members: tuple[int, ...]) -> tuple[int, ...] | None:
        """Which gratings lie as some would after a quarter turn, those perhaps; None if none do."""
        turned = [self._alike(index, self.across_rad[index] + math.pi / 2) for index in members]
        if any(index is None for index in turned):
            return None
        return tuple(sorted(index for index in turned if index is not None))

    def _alike(self, index: int, across_rad: float) -> int | None:
        """Find a grating like one that spreads light in some direction."""
        for other, (grating, angle) in enumerate(zip(self.gratings, self.across_rad, strict=True)):
            turns = (angle - across_rad) / math.pi
            if grating == self.gratings[index] and abs(turns - round(turns)) < _SAME_TURN_RAD:
                return other
        return None

    def joint_orders(
        self,
        members: tuple[int, ...],
        highest: int,
        parts_of_a_peak: tuple[float, ...] = ACCURACY.parts_of_a_peak,
        *,
        parts_between: int = 0,
        faintest: float = 0.0,
        one_quarter: bool = False,
        strewn_twice: bool = True,
    ) -> Orders:
        """Orders in which some gratings deviate light, whatever the others do.

        Parameters
        ----------
        members : tuple of int
            Which deviate it, at least one.
        highest : int
            Order of each up to which they are counted.
        parts_of_a_peak : tuple of float
            As in `Accuracy`, for orders that a drift has widened.
        parts_between : int
            As in `Grating.strewn_orders` for the first, one more for each other.
        faintest : float
            Share of the light from which on an order is one of them; of others a few stand for
            many, ten times as bright [1].
        one_quarter : bool
            Of two, those to one side of both alone: half of them.
        strewn_twice : bool
            Whether light that two have strewn between orders is among them.
        """
        x, y, shares, strewn = np.zeros(1), np.zeros(1), np.ones(1), np.zeros(1, bool)
        for member in members:
            grating, angle = self.gratings[member], self.across_rad[member]
            # As many of each would lie on a lattice, and three families' together on the same.
            parts = parts_between + member if parts_between else 0
            whole = grating.orders(highest, parts_of_a_peak)
            both = zip(whole, grating.strewn_orders(highest, parts), strict=True)
            number, light = (np.concatenate(columns) for columns in both)
            between = np.arange(light.size) >= whole.shares.size
            # Of the first, those to one side: the rest is opposite.
            if member != members[0] and not one_quarter:
                number, light = np.concatenate([-number, number]), np.tile(light, 2)
                between = np.tile(between, 2)
            place = number / grating.pitch_m
            joint = np.outer(shares, light)
            if not strewn_twice:
                joint[np.ix_(strewn, between)] = 0.0
            # Of what thin threads deviate all is faint.
            at, shares = _without_faint(joint.ravel(), min(faintest, 1e-3 * joint.max()))
            ones, others = np.divmod(at, light.size)
            strewn = strewn[ones] | between[others]
            x = x[ones] + math.cos(angle) * place[others]
            y = y[ones] + math.sin(angle) * place[others]
        return Orders(x, y, shares)

    def others_direct(self, members: tuple[int, ...]) -> float:
        """Direct share of all gratings but some."""
        return math.prod(g.direct for i, g in enumerate(self.gratings) if i not in members)

    def groups_of(self, size: int) -> list[tuple[int, ...]]:
        """All the ways of choosing so many gratings."""
        return list(itertools.combinations(range(len(self.gratings)), size))


def _without_faint(shares: FloatArray, least: float) -> tuple[NDArray[np.intp], FloatArray]:
    """Which orders to lay and with what light; of those below `least` some, for as much light.

    Evenly spaced in their running sum, as in systematic sampling [Cochran1977], so that what
    stands for faint ones lies where they do.
    """
    is_bright = shares > least
    (bright,), (faint,) = np.nonzero(is_bright), np.nonzero(~is_bright & (shares > 0))
    sums = np.cumsum(shares[faint])
    if not faint.size:
        return bright, shares[bright]
    count = math.ceil(sums[-1] / (_TIMES_FAINTEST * least))
    some = faint[np.searchsorted(sums, (np.arange(count) + 0.5) / count * sums[-1])]
    light = np.full(count, sums[-1] / count)
    return np.concatenate([bright, some]), np.concatenate([shares[bright], light])


class CrossedMask(PupilMask):
    """A mask made of gratings one over the other."""

    __slots__ = ()

    @property
    @abstractmethod
    def crossed(self) -> CrossedGratings:
        """The gratings."""

    @property
    def transmittance(self) -> float:
        """Light that leaves over light that enters."""
        return self.crossed.transmittance

    @property
    def direct(self) -> float:
        """Zero order over all light that leaves."""
        return self.crossed.direct
