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
ROUGH_OCTAVES = 0.01
"""How near a rough meter leads."""
FAR_OCTAVES, NEAR_OCTAVES = 0.1, 1e-3
"""Steps that tell a slope well, and those so short that what they lead to needs no look: effects
change by less than a thousandth, and by the slope of the step before the match is told to 1e-5."""
FARTHEST_OCTAVES, MOST_STEPS = 3.0, 6
"""Steps from there to the match: longer ones, or more of them, say that it led astray."""


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
        What the other does at that strength, or within a thousandth of it.
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
    reference: Look,
    other: Look,
    meter: Meter,
    criterion: Criterion | str = Criterion.MIX,
    *,
    rough: Meter | None = None,
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
    rough : callable or None
        Another meter that says nearly the same and is fast: the strength is sought by it, and then
        mended by `meter`.

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
    found = Match(reference=reference, matched=None, criterion=criterion, wanted=meter(reference))
    return _filled_in(found, _Tried(other, meter), rough and _Tried(other, rough))


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


def _filled_in(found: Match, tried: _Tried, rough: _Tried | None) -> Match:
    """Return a match with the strength that is sought, or with why there is none."""
    other, reference, wanted = tried.look, found.reference, found.wanted
    criteria, left_out = _weighed(found.criterion, wanted, (rough or tried).at(1.0))
    if left_out:  # What does nothing to speak of must do so by the meter itself.
        criteria, left_out = _weighed(found.criterion, wanted, tried.at(1.0))
    if not criteria:
        return replace(found, reason=_nothing_in_common(reference, other, found.criterion, wanted))

    def excess(octave: float) -> float:
        return tried.excess(2.0**octave, wanted, criteria)

    near = None if rough is None else _mended(excess, rough, rough.meter(reference), criteria)
    if near is None:
        sought = _sought(excess)
        if isinstance(sought, str):
            said = f"{other.name} {sought} {reference} in {_named(criteria)}"
            return replace(found, reason=said)
        near = sought, sought
    strength, seen = (2.0**octave for octave in near)
    stock = nearest_stock(strength)
    return replace(
        found,
        matched=other.at(strength),
        got=tried.at(seen),
        stock=other.at(stock),
        at_stock=tried.at(stock),
        left_out=left_out,
    )


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


Excess = Callable[[float], float]
"""Of a strength, as a power of two."""


def _mended(
    excess: Excess, rough: _Tried, wanted: Effects, criteria: Sequence[Criterion]
) -> tuple[float, float] | None:
    """Return where the excess is none, from where it is none by a rough meter; None if not near.

    It begins at the stock strength next to that, which is measured in any case. One step goes by
    the slope that the rough meter tells, the others by what they found. The second of what is
    returned is where the last look was taken: the effects there are those of the match.
    """

    def roughly(octave: float) -> float:
        return rough.excess(2.0**octave, wanted, criteria)

    if any(wanted.of(one) <= NO_EFFECT for one in criteria):
        return None
    bracket = _bracket(roughly, step=2)
    if isinstance(bracket, str):
        return None
    guess = _root(roughly, bracket, ROUGH_OCTAVES)
    before = math.log2(nearest_stock(2.0**guess))
    farther = guess
    if abs(guess - before) < FAR_OCTAVES:
        farther = max(bracket, key=lambda octave: abs(octave - before))
    try:
        slope = (roughly(farther) - roughly(before)) / (farther - before)
        off = excess(before)
    except ParameterError:  # Threads cannot become wider than their spacing lets them.
        return None
    for _ in range(MOST_STEPS):
        octave = before - off / slope if slope > 0 else math.inf
        if abs(octave - before) < NEAR_OCTAVES:
            return octave, before
        is_near = abs(octave - before) <= FARTHEST_OCTAVES
        if not (is_near and WEAKEST <= 2.0**octave <= STRONGEST):
            break
        try:
            now = excess(octave)
        except ParameterError:  # Threads cannot become wider than their spacing lets them.
            break
        before, off, slope = octave, now, (now - off) / (octave - before)
    return None


def _sought(excess: Excess) -> float | str:
    """Return where the excess is none, or why that is nowhere."""
    bracket = _bracket(excess)
    return bracket if isinstance(bracket, str) else _root(excess, bracket, ACCURACY.match_tolerance)


def _bracket(excess: Excess, step: int = 1) -> tuple[float, float] | str:
    """Two octaves between which the excess changes sign, the lowest such; or why none."""
    before = octave = math.log2(WEAKEST)
    if excess(octave) > 0:
        return f"already at 1/{round(1 / WEAKEST)} outdoes"
    while octave < math.log2(STRONGEST):
        octave += step
        try:
            enough = excess(octave) >= 0
        except ParameterError:  # Threads cannot become wider than their spacing lets them.
            break
        if enough:
            return before, octave
        before = octave
    return f"even at {2.0**before:g} stays short of"


def _root(excess: Excess, bracket: tuple[float, float], tolerance: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(excess, *bracket, xtol=tolerance))
