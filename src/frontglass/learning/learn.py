"""A look learned from stills without and with a piece of glass."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from frontglass.arrays import Float32, Float64, Mask
from frontglass.choices import Surround
from frontglass.elements import Glow
from frontglass.errors import ParameterError
from frontglass.learning.fitting import Fitted, fitted, in_stops, rings_for
from frontglass.learning.glass import GREEN, elements_of, glass_of, mean_glass
from frontglass.learning.judging import (
    Told,
    check_not_swapped,
    told_of_left,
    told_of_rings,
    told_of_strengths,
)
from frontglass.learning.lobes import Form, RingLight, glows_of_lobes, ring_light
from frontglass.learning.pairs import Compared, StillPair, check_exposed_alike, compared
from frontglass.looks import LearnedFrom, Look
from frontglass.optics.camera import Camera
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import Conditions

NO_WORSE, LEAST_WORSE_STOPS = 1.02, 1e-4
"""What lobes may leave of the pairs, over what a table leaves."""
NAME = "learned-glass"
SUMMARY = "Learned from stills without and with the glass."
WATCH = "It is as good as its stills: try it on a still that it was not learned from."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LearnedPair:
    """One pair, and what the learned look makes of it, on the pixels of the fit: linear light."""

    name: str
    strength: float
    bare: Float32
    with_glass: Float32
    predicted: Float32
    """The bare still behind the look, as its file would show it: what clipped lamps lost is in it
    as far as it spreads."""
    held: Mask
    """What was compared: neither clipped, nor moved, nor beyond an edge."""
    difference_stops: Float32
    """Predicted against the still with glass."""
    residual_stops: float
    """Its root mean square where it was compared."""
    moved_share: float
    """Pixels that were left out because something moved."""
    right_px: float
    down_px: float
    turn_deg: float
    scale: float
    """How the still with glass lay over the bare one."""
    exposure_stops: float
    """Green light behind the glass over that before it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learned:
    """What came of learning a glass.

    Parameters
    ----------
    look : Look
        The glass at strength 1, with what it was learned from.
    angles_deg : ndarray, shape (rings,)
        Middle of each ring.
    shares, deviations : ndarray, shape (3, rings)
        Scattered light in each ring, of the light that leaves the piece of the first strength, for
        red, green and blue; and the standard deviation of each. [1]
    veil_share, veil_deviation : float
        Of the piece of the first strength. [1]
    near_deg : float
        Angle up to which scattered light is not told from other blur. [degree]
    scattered_share, scattered_deviation : float
        Green light that is scattered farther than that, veil apart. [1]
    pairs : tuple of LearnedPair
        The pairs behind the look.
    is_nothing : bool
        Whether the pairs show no more than their noise.
    told : tuple of str
        What is well known, what is not, and what to doubt.
    notices : tuple of str
        What was assumed.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> rng = np.random.default_rng(3)
    >>> bare = rng.uniform(0.05, 0.2, (96, 128, 3))
    >>> bare[40:44, 60:64] = 300
    >>> glass = fg.Glow(optical_depth=0.2, lobes=(fg.MoffatLobe(core_deg=1.5, beta=3),))
    >>> camera = fg.Camera.from_field(30)
    >>> seen = fg.render(bare, glass, camera=camera)
    >>> learned = fg.learn_look([(bare, seen)], camera=camera)
    >>> bool(abs(learned.scattered_share - (1 - np.exp(-0.2))) < 0.03)
    True
    """

    look: Look
    angles_deg: Float64
    shares: Float64
    deviations: Float64
    veil_share: float
    veil_deviation: float
    near_deg: float
    scattered_share: float
    scattered_deviation: float
    pairs: tuple[LearnedPair, ...]
    is_nothing: bool
    told: tuple[str, ...]
    notices: tuple[str, ...]


def learn_look(
    pairs: Sequence[StillPair | tuple[object, object]],
    *,
    camera: Camera | None = None,
    name: str = NAME,
    surround: Surround | str = Surround.LAMPLESS,
    form: Form | str = Form.LOBES,
    step: Callable[[str], None] = lambda _: None,
) -> Learned:
    """Look that does to bare stills what a piece of glass did.

    Parameters
    ----------
    pairs : sequence of StillPair, or of (bare, with_glass)
        Stills of one view without and with the glass, of one or several strengths of a series.
    camera : Camera or None
        What took all of them; None goes by what each bare still's file says.
    name, surround
        Of the look; what lies outside the frames, as for `render`.
    form : "lobes" or "table"
        Up to three lobes of the catalogue if they fit, or a table at once.
    step : callable
        Told what is done.

    Returns
    -------
    Learned

    Raises
    ------
    ParameterError
        If a pair is none: sizes differ, both are the same or seem swapped, nothing shows a halo,
        exposures are unlike and not said, or no thin scatterer does that.

    Notes
    -----
    ``with = gain ((1 - S - V) bare + sum_j s_j R_j * bare + V mean)``, rings R_j in steps of 1.45
    in the angle, is solved for s_j and V, none below zero, and a gain in each channel. Their
    transform S(f) is that of a compound scatterer, ``exp(tau K(f)) - 1 = S(f) / (1 - S(0))``, so
    that its logarithm is what one deviation does, which strengths multiply.

    References
    ----------
    [Wells1969]; [LawsonHanson1974]; [LucasKanade1981]; [White1980].

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> bare = np.random.default_rng(3).uniform(0.05, 0.2, (96, 128, 3))
    >>> bare[40:44, 60:64] = 300
    >>> seen = fg.render(bare, fg.read_look("harbour-night"))
    >>> fg.learn_look([(bare, seen)]).look.learned.pairs
    1
    """
    given, kind = _pairs(pairs), Surround.of("surround", surround)
    taken = [compared(pair, camera) for pair in given]
    fits = _fits(given, taken, kind, step)
    step("looking through what was learned")
    learned = _learned(given, taken, fits, kind, Form.of("form", form))
    return replace(learned, look=replace(learned.look, name=name))


def _learned(
    given: Sequence[StillPair],
    taken: Sequence[Compared],
    fits: Mapping[float, Fitted],
    kind: Surround,
    form: Form,
) -> Learned:
    """Return the look behind fits, without a name, and what is to be said of it."""
    glasses = {strength: glass_of(fit, strength) for strength, fit in fits.items()}
    whole = mean_glass(list(glasses.values()), list(glasses))
    elements = elements_of(whole, is_exposed=all(take.is_exposed for take in taken))
    look = Look(name=NAME, summary=SUMMARY, watch=WATCH, elements=elements)
    ones = _all_of(given, taken, fits)
    seen = tuple(_seen(one, look, kind) for one in ones)
    first = next(iter(fits.values()))
    if form is Form.LOBES:
        rings = ring_light(whole, first, next(iter(fits)))
        look, seen = _shorter(
            look, seen, rings, lambda look: tuple(_seen(one, look, kind) for one in ones)
        )
    # What is no thin glass has rings that mean nothing: it is told first.
    doubts = [line for one in seen for line in _doubts(one)]
    ranges = told_of_rings(first)
    learned = _learned_from(taken[0].camera, tuple(fits), seen, ranges)
    deviations = np.sqrt(np.maximum(np.diagonal(first.covariances, axis1=1, axis2=2), 0))
    notices = [*(note for take in taken for note in take.notices)]
    notices += [note for pair in given for note in pair.bare.notices]
    return Learned(
        look=replace(look, learned=learned),
        angles_deg=np.degrees(first.rings.angles_rad),
        shares=first.shares[:, :-1],
        deviations=deviations[:, :-1],
        veil_share=float(first.shares[GREEN, -1]),
        veil_deviation=float(deviations[GREEN, -1]),
        near_deg=ranges.near_deg,
        scattered_share=ranges.scattered_share,
        scattered_deviation=ranges.scattered_deviation,
        pairs=seen,
        is_nothing=ranges.is_nothing,
        told=(*ranges.lines, *doubts, *told_of_strengths(glasses, ranges.known_from_deg)),
        notices=tuple(dict.fromkeys(notices)),
    )


def _shorter(
    look: Look,
    seen: tuple[LearnedPair, ...],
    rings: RingLight,
    through: Callable[[Look], tuple[LearnedPair, ...]],
) -> tuple[Look, tuple[LearnedPair, ...]]:
    """Return a look of few lobes and what it makes of the pairs, unless its table is better."""
    most = NO_WORSE * _residual_stops(seen) + LEAST_WORSE_STOPS
    for glow in glows_of_lobes(rings):
        elements = tuple(glow if isinstance(part, Glow) else part for part in look.elements)
        shorter = replace(look, elements=elements)
        shown = through(shorter)
        if _residual_stops(shown) <= most:
            return shorter, shown
    return look, seen


def _residual_stops(seen: Sequence[LearnedPair]) -> float:
    return float(np.sqrt(np.mean([pair.residual_stops**2 for pair in seen])))


def _learned_from(
    lens: Camera, strengths: tuple[float, ...], seen: Sequence[LearnedPair], ranges: Told
) -> LearnedFrom:
    return LearnedFrom(
        date=datetime.datetime.now(tz=datetime.UTC).date().isoformat(),
        pairs=len(seen),
        strengths=strengths,
        lens_mm=float(f"{lens.focal_length_mm:.6g}"),
        f_number=lens.f_number,
        image_width_mm=float(f"{lens.sensor_width_mm:.6g}"),
        residual_stops=round(_residual_stops(seen), 4),
        known_from_deg=ranges.known_from_deg,
        known_to_deg=ranges.known_to_deg,
    )


def _fits(
    given: Sequence[StillPair],
    taken: Sequence[Compared],
    surround: Surround,
    step: Callable[[str], None],
) -> dict[float, Fitted]:
    """Pairs fitted strength by strength."""
    rings = rings_for(taken)
    fits = {}
    for strength in dict.fromkeys(pair.strength for pair in given):
        both = [(p, t) for p, t in zip(given, taken, strict=True) if p.strength == strength]
        own = [take for _, take in both]
        fits[strength] = fitted(own, rings, surround, step)
        for (pair, take), gains in zip(both, fits[strength].gains, strict=True):
            if not take.is_exposed:
                check_exposed_alike(pair.name, float(np.log2(max(gains[GREEN], 1e-6))))
        check_not_swapped(own, both[0][0].name, fits[strength], surround)
    return fits


def _doubts(one: LearnedPair) -> list[str]:
    changed = in_stops(one.with_glass, one.bare)
    return told_of_left(one.name, one.held, one.difference_stops, changed, one.moved_share)


def _pairs(pairs: Sequence[StillPair | tuple[object, object]]) -> list[StillPair]:
    found = []
    for number, pair in enumerate(pairs, 1):
        if isinstance(pair, StillPair):
            found.append(pair)
            continue
        if not isinstance(pair, tuple) or len(pair) != 2:
            raise ParameterError("pairs", "pairs of stills, without and with the glass", pair)
        bare, other = pair
        name = "pair" if len(pairs) == 1 else f"pair {number}"
        found.append(StillPair(bare=bare, with_glass=other, name=name))  # type: ignore[arg-type]
    if not found:
        raise ParameterError("pairs", "one pair of stills at least", "none")
    return found


class _OneOf(NamedTuple):
    """One pair, the fit of its strength, and its number there."""

    pair: StillPair
    taken: Compared
    fit: Fitted
    number: int


def _all_of(
    given: Sequence[StillPair], taken: Sequence[Compared], fits: Mapping[float, Fitted]
) -> list[_OneOf]:
    numbers = {strength: itertools.count() for strength in fits}
    return [
        _OneOf(pair, take, fits[pair.strength], next(numbers[pair.strength]))
        for pair, take in zip(given, taken, strict=True)
    ]


def _seen(one: _OneOf, look: Look, surround: Surround) -> LearnedPair:
    """Return a pair with what the look, at its strength, makes of the bare still."""
    lain, where = one.fit.pairs[one.number], one.fit.wheres[one.number]
    gone = one.fit.moved[one.number]
    how = Conditions(camera=one.taken.camera, surround=surround, grain=False)
    seen = how.seen(Picture(radiance=lain.source), look.at(one.pair.strength)).radiance
    if lain.source is not lain.bare:
        # What lamps lost and sends straight on is nowhere in the still with glass.
        path = look.at(one.pair.strength).light_path
        direct = [math.prod(part.direct_share(channel) for part in path) for channel in range(3)]
        seen = seen - (lain.source - lain.bare) * np.array(direct, np.float32)
    held = lain.held & ~lain.rung & ~gone
    stops = in_stops(seen, lain.other)
    gain = float(np.median(stops[held])) if held.any() else 0.0
    stops -= np.float32(gain)
    kept = stops[held] if held.any() else stops
    return LearnedPair(
        name=one.pair.name,
        strength=one.pair.strength,
        bare=lain.bare,
        with_glass=lain.other,
        predicted=seen * np.float32(2.0**-gain),
        held=held,
        difference_stops=stops,
        residual_stops=float(np.sqrt(np.mean(kept**2))),
        moved_share=float(gone.mean()),
        right_px=where.shift.real,
        down_px=where.shift.imag,
        turn_deg=where.turn_deg,
        scale=where.scale,
        exposure_stops=float(np.log2(max(one.fit.gains[one.number, GREEN], 1e-6))),
    )
