"""Stand-ins: which other looks come closest to one, at which strength, and what stays different."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from frontglass.elements import Place
from frontglass.errors import ParameterError
from frontglass.looks import Look
from frontglass.measurement.character import Character, Characters
from frontglass.measurement.match import (
    SINGLE,
    Criterion,
    Effects,
    Meter,
    nearest_stock,
)
from frontglass.optics.camera import Camera
from frontglass.optics.psf import FloatArray

OCTAVES = np.linspace(-4.0, 4.0, 17)
"""Strengths tried in closed form, as powers of two; between them straight lines are drawn."""
FINE = np.linspace(-4.0, 4.0, 257)
LEAST = {Criterion.HALO: 5e-4, Criterion.BLACK: 0.1, Criterion.TEXTURE: 3e-3}
"""Effects so small do not tell looks apart: added to both before they are compared."""
FLOOR_SHARE = 0.05
"""The same as a share of what is wanted."""
WIDTH_WEIGHT = 0.5
"""What an octave of a halo's width counts against one of its light. Common practice, no source."""
MISSING_WIDTH = 2.0
"""Octaves that stand for a halo where one of the two has none."""
MEASURED = 3
"""How many of the best are measured; the rest stays as closed forms have it."""
SAME_OCTAVES = 0.1
HUE = 1.15
WIDER = 1.25

IN_THE_AIR = "stands in the room, not before the lens"

Progress = Callable[[Sequence[Look]], Iterable[Look]]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandIn:
    """A look that may stand in for another.

    Parameters
    ----------
    look : Look
        It, at the strength that comes closest.
    effects : Effects
        What it does there.
    half_deg : float
        Radius that holds half of the light it deviates. [degree]
    apart : float
        How different it stays: root mean square of the octaves between both looks' halo, black
        lift, texture and half the octaves between their halos' widths. [octave]
    stock : Look
        It, at the nearest strength that can be rented.
    stock_apart : float
        How different that is. [octave]
    stock_effects : Effects
        What it does there, as closed forms have it.
    is_measured : bool
        Whether the engine measured it; else closed forms tell.
    words : tuple of str
        What stays different and no number above says.
    """

    look: Look
    effects: Effects
    half_deg: float
    apart: float
    stock: Look
    stock_apart: float
    stock_effects: Effects
    is_measured: bool
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Ranking:
    """Looks in the order in which they come close to one.

    Parameters
    ----------
    reference : Look
        The look that they would stand in for.
    wanted : Effects
        What it does.
    half_deg : float
        Radius that holds half of the light it deviates. [degree]
    stand_ins : tuple of StandIn
        The closest first.
    left_out : tuple of (str, str)
        Looks that are none, and why.
    """

    reference: Look
    wanted: Effects
    half_deg: float
    stand_ins: tuple[StandIn, ...]
    left_out: tuple[tuple[str, str], ...] = ()


def ranked_stand_ins(
    reference: Look,
    candidates: Sequence[Look],
    camera: Camera,
    height_of_width: float,
    *,
    meter: Meter | None = None,
    criterion: Criterion | str = Criterion.MIX,
    measured: int = MEASURED,
    progress: Progress = iter,
    known: dict[str, Curve] | None = None,
) -> Ranking:
    """Rank looks by how close they come to another.

    Parameters
    ----------
    reference : Look
        The look to stand in for, at its strength, above 0.
    candidates : sequence of Look
        The others; their strengths play no part. Haze, and the look itself, are left out.
    camera, height_of_width : Camera, float
        Lens, stop and sensor; height of the frame over its width [1], > 0.
    meter : callable or None
        Measures the best `measured`: `meter_on_targets`, `meter_on_still`; None measures none.
    criterion : str
        In what the strength is to come closest; ranks always go by all, "mix".
    progress : callable
        Hands on looks one by one, and may show meanwhile how far it is.
    known : dict or None
        What is known of candidates by their names; what is found out is added.

    Raises
    ------
    ParameterError
        If the reference does nothing to speak of, or is haze.

    Examples
    --------
    >>> import frontglass as fg
    >>> camera = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.9)
    >>> looks = [fg.read_look("slate-roof"), fg.read_look("late-tram")]
    >>> ranked_stand_ins(looks[1], looks, camera, 9 / 16).stand_ins[0].look.name
    'slate-roof'
    """
    criterion = Criterion.of("criterion", criterion)
    own = Characters(reference, camera, height_of_width)
    at_wanted = _checked(own)
    others = [look for look in candidates if look.elements != reference.elements]
    fits = [look for look in others if not _is_haze(look)]
    known = {} if known is None else known
    _learn(known, fits, lambda look: Characters(look, camera, height_of_width), progress)
    aim = _Aim.at(at_wanted.effects, at_wanted.half_deg, criterion)
    curves = aim.sorted([known[look.name] for look in fits])
    wanted = at_wanted.effects if meter is None else meter(reference)
    exact = _Aim.at(wanted, at_wanted.half_deg, criterion)
    best = [] if meter is None else curves[:measured]
    told = _measured(best, aim, exact, meter=meter, own=own, show=progress)
    stand_ins = (*told, *(aim.stand_in(curve, own) for curve in curves[len(told) :]))
    left_out = tuple((look.name, IN_THE_AIR) for look in others if _is_haze(look))
    return Ranking(reference, wanted, at_wanted.half_deg, stand_ins, left_out)


def _learn(
    known: dict[str, Curve],
    looks: Sequence[Look],
    characters: Callable[[Look], Characters],
    progress: Progress,
) -> None:
    """Add what looks do to what is known."""
    for look in progress([look for look in looks if look.name not in known]):
        known[look.name] = Curve.of(characters(look))


def _measured(
    curves: Sequence[Curve],
    aim: _Aim,
    exact: _Aim,
    *,
    meter: Meter | None,
    own: Characters,
    show: Progress,
) -> list[StandIn]:
    """Return looks measured, the closest first."""
    if meter is None:
        return []
    by_name = {curve.look.name: curve for curve in curves}
    looks = show([curve.look for curve in curves])
    chosen = (by_name[look.name] for look in looks)
    told = [exact.measured(one, aim.closest(one), meter, own) for one in chosen]
    return sorted(told, key=lambda one: one.apart)


def _checked(own: Characters) -> Character:
    """Return what a reference does, if it is something that another look may do."""
    if _is_haze(own.look):
        raise ParameterError("look", "before the lens: haze has no stand-in", str(own.look))
    found = own.at(own.look.strength)
    if all(found.effects.of(one) <= LEAST[one] / 10 for one in SINGLE):
        raise ParameterError("look", "one that does something", str(own.look))
    return found


@dataclass(frozen=True, slots=True)
class Curve:
    """What a look does at every strength that it can have, in closed form."""

    characters: Characters
    octaves: FloatArray
    effects: FloatArray
    half_deg: FloatArray

    @classmethod
    def of(cls, characters: Characters) -> Curve:
        """Try a look at each of `OCTAVES` that it can have."""
        known: list[tuple[float, Character]] = []
        for octave in OCTAVES:
            try:
                known.append((float(octave), characters.at(2.0**octave)))
            except ParameterError:  # Threads cannot become wider than their spacing lets them.
                break
        effects = [_row(one.effects) for _, one in known]
        return cls(
            characters,
            np.array([octave for octave, _ in known]),
            np.array(effects),
            np.array([one.half_deg for _, one in known]),
        )

    @property
    def look(self) -> Look:
        """The look itself."""
        return self.characters.look

    def at(self, octaves: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Effects, a row for each strength, and halves [degree]: straight between the tried."""
        rows = [np.interp(octaves, self.octaves, column) for column in self.effects.T]
        return np.stack(rows, axis=-1), np.interp(octaves, self.octaves, self.half_deg)


@dataclass(frozen=True, slots=True)
class _Aim:
    """What is to be reached, and how far from it something is."""

    wanted: FloatArray
    half_deg: float
    criterion: Criterion
    floors: FloatArray

    @classmethod
    def at(cls, wanted: Effects, half_deg: float, criterion: Criterion) -> _Aim:
        row = _row(wanted)
        least = np.array([LEAST[one] for one in SINGLE])
        return cls(row, half_deg, criterion, np.maximum(least, FLOOR_SHARE * row))

    def apart(self, effects: FloatArray, half_deg: FloatArray) -> FloatArray:
        """Octaves from what is wanted: halo, black, texture, half the halo's width."""
        steps = np.log2((np.maximum(effects, 0) + self.floors) / (self.wanted + self.floors))
        if self.half_deg == 0:
            width = np.where(half_deg > 0, MISSING_WIDTH, 0.0)
        else:
            ratio = np.maximum(half_deg, 1e-3) / self.half_deg
            width = np.where(half_deg > 0, np.log2(ratio), MISSING_WIDTH)
        return np.concatenate([steps, WIDTH_WEIGHT * width[..., np.newaxis]], axis=-1)

    def closest(self, curve: Curve, offset: FloatArray | float = 0.0) -> float:
        """Octave of the strength that comes closest by the criterion."""
        inside = FINE[(curve.octaves[0] <= FINE) & (curve.octaves[-1] >= FINE)]
        steps = self.apart(*curve.at(inside)) + offset
        if self.criterion is not Criterion.MIX:
            return float(inside[np.argmin(np.abs(steps[:, SINGLE.index(self.criterion)]))])
        return float(inside[np.argmin(_mean(steps))])

    def apart_at(self, curve: Curve, octave: float, offset: FloatArray | float = 0.0) -> float:
        """How different a look stays at a strength."""
        return float(_mean(self.apart(*curve.at(np.array([octave]))) + offset)[0])

    def sorted(self, curves: Sequence[Curve]) -> list[Curve]:
        """Return looks in the order in which they come close."""
        return sorted(curves, key=lambda curve: self.apart_at(curve, self.closest(curve)))

    def stand_in(self, curve: Curve, own: Characters) -> StandIn:
        """Return a look at the strength that comes closest, as closed forms have it."""
        octave = self.closest(curve)
        character = curve.characters.at(2.0**octave)
        stock = nearest_stock(2.0**octave)
        return StandIn(
            look=curve.look.at(2.0**octave),
            effects=character.effects,
            half_deg=character.half_deg,
            apart=self.apart_at(curve, octave),
            stock=curve.look.at(stock),
            stock_apart=self.apart_at(curve, math.log2(stock)),
            stock_effects=curve.characters.at(stock).effects,
            is_measured=False,
            words=_words(own, self.half_deg, curve.characters, character.half_deg),
        )

    def measured(self, curve: Curve, octave: float, meter: Meter, own: Characters) -> StandIn:
        """Return it measured: what the engine says at one strength mends the closed forms'."""
        effects = meter(curve.look.at(2.0**octave))
        coarse, half = curve.at(np.array([octave]))
        offset = self.apart(_row(effects)[np.newaxis], half) - self.apart(coarse, half)
        mended = self.closest(curve, offset)
        if abs(mended - octave) > SAME_OCTAVES:
            octave = mended
            effects = meter(curve.look.at(2.0**octave))
        _, half = curve.at(np.array([octave]))
        stock = nearest_stock(2.0**octave)
        return StandIn(
            look=curve.look.at(2.0**octave),
            effects=effects,
            half_deg=float(half[0]),
            apart=float(_mean(self.apart(_row(effects)[np.newaxis], half))[0]),
            stock=curve.look.at(stock),
            stock_apart=self.apart_at(curve, math.log2(stock), offset),
            stock_effects=curve.characters.at(stock).effects,
            is_measured=True,
            words=_words(own, self.half_deg, curve.characters, float(half[0])),
        )


def _row(effects: Effects) -> FloatArray:
    return np.array([max(0.0, effects.of(one)) for one in SINGLE])


def _mean(steps: FloatArray) -> FloatArray:
    """Root mean square of the steps of each row."""
    return np.asarray(np.sqrt((steps**2).mean(axis=-1)))


def _is_haze(look: Look) -> bool:
    return any(part.place is Place.AIR for part in look.elements)


def _words(own: Characters, own_deg: float, other: Characters, other_deg: float) -> tuple[str, ...]:
    """Return what stays different that is no number."""
    said = []
    if own.is_round != other.is_round:
        said.append("no rays or dots" if own.is_round is False else "rays or dots round lamps")
    if other.has_stray_lamp and not own.has_stray_lamp:
        said.append("needs a lamp beside the lens")
    if own.is_for_lamps_alone != other.is_for_lamps_alone:
        said.append("spreads lamps alone" if other.is_for_lamps_alone else "spreads all light")
    if own_deg and other_deg:
        hue = other.warmth / own.warmth
        if hue > HUE or hue < 1 / HUE:
            said.append("warmer halo" if hue > 1 else "cooler halo")
        width = other_deg / own_deg
        if width > WIDER or width < 1 / WIDER:
            said.append(f"{'wider' if width > 1 else 'narrower'} halo, {other_deg:.2g} degrees")
    elif own_deg or other_deg:
        said.append("no halo" if own_deg else f"a halo of {other_deg:.2g} degrees")
    return tuple(said)
