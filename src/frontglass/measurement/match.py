"""Match: the strength of one look that equals another by one criterion, and what then differs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from frontglass.accuracy import ACCURACY
from frontglass.choices import Choice
from frontglass.errors import ParameterError
from frontglass.looks import Look
from frontglass.measurement.charts import (
    PORE_PERIOD_MM,
    WEDGE_STOPS,
    halo_share,
    texture_held,
    wedge_levels,
)
from frontglass.optics.camera import Camera
from frontglass.units import STOCK_STRENGTHS, stops_from_ratio

WEAKEST, STRONGEST = 1 / 64, 16.0
"""Strengths between which a match is looked for."""
NO_EFFECT = 2e-4
"""Effect below which a look does nothing by a criterion, in that criterion's unit."""


class Criterion(Choice):
    """In what two looks are to be equal.

    Examples
    --------
    >>> import frontglass as fg
    >>> [one.value for one in fg.Criterion]
    ['halo', 'black', 'texture', 'mix']
    """

    HALO = "halo"
    BLACK = "black"
    TEXTURE = "texture"
    MIX = "mix"


SINGLE = (Criterion.HALO, Criterion.BLACK, Criterion.TEXTURE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """What a look does, each 0 for nothing at all.

    Parameters
    ----------
    halo : float
        Light that lamps send into the dark round them: share of it on targets, mean light round
        the lamps of a still. [1]
    black_stops : float
        How far blacks rise. [stop]
    texture : float
        Share of fine contrast lost. [1]
    light_loss_stops : float
        Light to make up. [stop]
    """

    halo: float
    black_stops: float
    texture: float
    light_loss_stops: float

    def of(self, criterion: Criterion) -> float:
        """Return the effect by one criterion; a mix has none of its own."""
        effect = {
            Criterion.HALO: self.halo,
            Criterion.BLACK: self.black_stops,
            Criterion.TEXTURE: self.texture,
        }
        return effect[criterion]


Meter = Callable[[Look], Effects]


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """What came of it.

    Parameters
    ----------
    reference : Look
        The look to equal.
    matched : Look or None
        The other one at the strength that equals it; None if none does.
    criterion : Criterion
        In what.
    wanted : Effects
        What the reference does.
    got : Effects or None
        What the other does at that strength.
    stock : Look or None
        The other one at the nearest strength that can be rented.
    at_stock : Effects or None
        What it does there.
    reason : str
        Why there is no match; empty if there is one.
    left_out : tuple of Criterion
        What a mix could not weigh, since one of the looks does nothing there.
    """

    reference: Look
    matched: Look | None
    criterion: Criterion
    wanted: Effects
    got: Effects | None = None
    stock: Look | None = None
    at_stock: Effects | None = None
    reason: str = ""
    left_out: tuple[Criterion, ...] = ()


def meter_on_targets(camera: Camera, height_of_width: float) -> Meter:
    """Return what measures a look on standard targets.

    Parameters
    ----------
    camera : Camera
        Lens, stop and sensor.
    height_of_width : float
        Height of the frame over its width. [1], > 0.

    Examples
    --------
    >>> import frontglass as fg
    >>> camera = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.9)
    >>> meter = fg.meter_on_targets(camera, 9 / 16)
    >>> meter(fg.Look(elements=(fg.Veil(veil_share=0.01),))).black_stops > 1
    True
    """

    def effects(look: Look) -> Effects:
        levels = wedge_levels(look, camera)
        return Effects(
            halo=halo_share(look, camera),
            black_stops=stops_from_ratio(levels[-1]) - WEDGE_STOPS[-1],
            texture=1 - texture_held(look, camera, height_of_width, PORE_PERIOD_MM),
            light_loss_stops=look.light_loss_stops,
        )

    return effects


def match(
    reference: Look, other: Look, meter: Meter, criterion: Criterion | str = Criterion.MIX
) -> Match:
    """Strength of a look at which it equals another.

    Parameters
    ----------
    reference : Look
        The look to equal, at its strength, above 0.
    other : Look
        The look whose strength is sought; its own plays no part.
    meter : callable
        Says what a look does: `meter_on_targets`, `meter_on_still`.
    criterion : str
        In what they are to be equal, "halo", "black", "texture" or "mix"; a mix makes
        their ratios by all criteria 1 on geometric average, over those in which both do something.

    Raises
    ------
    ParameterError
        If the reference is at strength 0, or the criterion is none of these.

    Examples
    --------
    `meter_on_targets` makes a meter; so does any function of a look:

    >>> import frontglass as fg
    >>> from frontglass.measurement.match import Effects
    >>> def veil_alone(look):
    ...     (veil,) = look.light_path
    ...     return Effects(
    ...         halo=0.0, black_stops=9 * veil.veil_share, texture=0.0, light_loss_stops=0.0
    ...     )
    >>> veils = [fg.Look(elements=(fg.Veil(veil_share=share),)) for share in (0.02, 0.01)]
    >>> found = fg.match(*veils, veil_alone, "black")
    >>> round(found.matched.strength, 2)
    2.01
    """
    criterion = Criterion.of("criterion", criterion)
    if reference.strength == 0:
        raise ParameterError("strength", "above 0 for the look to match", 0)
    wanted, tried = meter(reference), _Tried(other, meter)
    found = Match(reference=reference, matched=None, criterion=criterion, wanted=wanted)
    criteria, left_out = _weighed(criterion, wanted, tried.at(1.0))
    if not criteria:
        return replace(found, reason=_nothing_in_common(reference, other, criterion, wanted))
    bracket = _bracket(lambda strength: tried.excess(strength, wanted, criteria))
    if isinstance(bracket, str):
        return replace(found, reason=f"{other.name} {bracket} {reference} in {_named(criteria)}")
    strength = _root(lambda strength: tried.excess(strength, wanted, criteria), *bracket)
    stock = nearest_stock(strength)
    return replace(
        found,
        matched=other.at(strength),
        got=tried.at(strength),
        stock=other.at(stock),
        at_stock=tried.at(stock),
        left_out=left_out,
    )


@dataclass(frozen=True, slots=True)
class _Tried:
    """What a look does at the strengths tried so far; none is measured twice."""

    look: Look
    meter: Meter
    known: dict[float, Effects] = field(default_factory=dict)

    def at(self, strength: float) -> Effects:
        """Return what the look does at a strength."""
        if strength not in self.known:
            self.known[strength] = self.meter(self.look.at(strength))
        return self.known[strength]

    def excess(self, strength: float, wanted: Effects, criteria: Sequence[Criterion]) -> float:
        """Mean of the logarithms of what it does over what is wanted."""
        got = self.at(strength)
        return math.fsum(
            math.log(max(got.of(one), NO_EFFECT / 100) / wanted.of(one)) for one in criteria
        ) / len(criteria)


def nearest_stock(strength: float) -> float:
    """Strength that can be rented, nearest by ratio."""
    return min(
        (float(step) for step in STOCK_STRENGTHS), key=lambda step: abs(math.log(step / strength))
    )


def _weighed(
    criterion: Criterion, wanted: Effects, got: Effects
) -> tuple[tuple[Criterion, ...], tuple[Criterion, ...]]:
    asked = SINGLE if criterion is Criterion.MIX else (criterion,)
    both = tuple(one for one in asked if min(wanted.of(one), got.of(one)) > NO_EFFECT)
    return both, tuple(one for one in asked if one not in both)


def _nothing_in_common(reference: Look, other: Look, criterion: Criterion, wanted: Effects) -> str:
    asked = SINGLE if criterion is Criterion.MIX else (criterion,)
    idle = reference if all(wanted.of(one) <= NO_EFFECT for one in asked) else other
    name = str(reference) if idle is reference else other.name
    return f"{name} does nothing to speak of in {_named(asked)}"


def _named(criteria: Sequence[Criterion]) -> str:
    return " and ".join(one.value for one in criteria)


def _bracket(excess: Callable[[float], float]) -> tuple[float, float] | str:
    """Two strengths between which the excess changes sign, the weakest such; or why none."""
    if excess(WEAKEST) > 0:
        return f"already at 1/{round(1 / WEAKEST)} outdoes"
    before = strength = WEAKEST
    while strength < STRONGEST:
        strength *= 2
        try:
            enough = excess(strength) >= 0
        except ParameterError:  # Threads cannot become wider than their spacing lets them.
            break
        if enough:
            return before, strength
        before = strength
    return f"even at {before:g} stays short of"


def _root(excess: Callable[[float], float], low: float, high: float) -> float:
    from scipy.optimize import brentq

    found = brentq(
        lambda octave: excess(2.0**octave),
        math.log2(low),
        math.log2(high),
        xtol=ACCURACY.match_tolerance,
    )
    return float(2.0**found)
