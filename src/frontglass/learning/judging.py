"""What a fit may be believed, what it cannot tell, and what is no thin glass at all."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from frontglass.arrays import Float32, Mask
from frontglass.choices import Surround
from frontglass.errors import ParameterError
from frontglass.learning.fitting import Fitted, fitted, in_stops, smoothed
from frontglass.learning.glass import GREEN, GlassAt1
from frontglass.learning.pairs import Compared
from frontglass.units import strength_text

WELL_KNOWN = 0.1
"""A ring is well known if its error is below this share of it, or of the rings' mean share."""
UNKNOWN_SHARE, TELLS_NOTHING = 0.15, 0.05
"""Where the scattered share is no better known than that, the stills show no halo at all, or do not
show that there is none."""
NOTHING_SIGMAS = 2.0
NOTHING_SHARE = 0.003
SUSPECT_SHARE, SUSPECT_STOPS = 0.02, 0.05
REFUSED_RATIO, FLAGGED_RATIO = 0.4, 0.12
REFUSED_STOPS, FLAGGED_STOPS = 0.03, 0.012
"""What is left, over what the glass changes, and in itself [stop rms over blocks of 8 px]: from
which on a pair is refused, or flagged. Pairs of one thin glass left 0.01 and 0.003, a fine net 0.5
and 0.04 or more, half a frame dimmed by a third of a stop 0.18 and 0.11."""
LAMPS_TOLD_STOPS = 0.2
NEAR_PX, CODED_NEAR_PX = 1.5, 4.0
"""Light that goes no farther is told from a change of focus by nobody; nor, in stills of codes,
from what coding takes of the bare one's fine detail."""
MOVED_TOLD, REFUSED_MOVED = 0.01, 0.25
"""Share of a pair that moved or changed, from which on it is said, or the pair refused."""
STRENGTHS_TOLD = 0.1


@dataclass(frozen=True, kw_only=True)
class Told:
    """What is said of a fit."""

    lines: tuple[str, ...] = ()
    known_from_deg: float = 0.0
    known_to_deg: float = 0.0
    """Angles between which rings are well known; both 0 if none is."""
    near_deg: float = 0.0
    """Angle up to which scattered light is not told from other blur."""
    scattered_share: float = 0.0
    scattered_deviation: float = 0.0
    """Green light that goes farther than that, veil apart."""
    is_nothing: bool = False
    """Whether there is no more than noise."""


def told_of_rings(fit: Fitted) -> Told:
    """Return what the pairs know of each ring; ParameterError if that is next to nothing."""
    shares, covariance = fit.shares[GREEN], fit.covariances[GREEN]
    # Light that stays within a pixel is none that anyone misses: it is left out of the sum.
    near_deg = math.degrees(_near_rad(fit))
    far = np.append(_is_far(fit), False)
    variance = float(far @ covariance @ far)
    # What nothing tells has a variance beyond all numbers, or below zero by rounding.
    deviation = math.sqrt(variance) if variance >= 0 else math.inf
    scattered = float(shares[far].sum())
    # What is not known of lamps makes a halo stronger or weaker: it hides none.
    of_lamps = fit.lamp_stops * math.log(2) * scattered
    noise = math.sqrt(max(deviation**2 - of_lamps**2, 0))
    if noise > UNKNOWN_SHARE:
        hint = "Shoot a small bright lamp in a dark room, or a bright wall with a black card on it."
        rule = "stills with something bright beside something dark"
        raise ParameterError("pairs", rule, "stills in which glass would hardly show", hint)
    all_told = Told(near_deg=near_deg, scattered_share=scattered, scattered_deviation=deviation)
    is_within_noise = scattered + shares[-1] < max(NOTHING_SHARE, NOTHING_SIGMAS * noise)
    if is_within_noise and noise < TELLS_NOTHING:
        line = (
            "nothing: the pair shows no more scatter than its noise"
            f" ({100 * (scattered + shares[-1]):.2f} %"
            f" +- {100 * noise:.2f} %); this look does nothing to speak of."
        )
        return replace(all_told, lines=(line,), is_nothing=True)
    return _told_of_each(fit, all_told)


def _told_of_each(fit: Fitted, all_told: Told) -> Told:
    """Return between which angles rings are well known, one strength for all of them apart."""
    rings = len(fit.rings)
    shares = fit.shares[GREEN, :rings]
    of_lamps = (fit.lamp_stops * math.log(2) * shares) ** 2
    variance = np.diag(fit.covariances[GREEN])[:rings] - of_lamps
    typical = np.maximum(shares, shares.sum() / rings)
    well = np.sqrt(np.maximum(variance, 0)) < WELL_KNOWN * typical
    degrees = np.degrees(fit.rings.angles_rad)
    if not well.any():
        line = "no ring is known to a tenth; shoot a small bright lamp in a dark room as well."
        return replace(all_told, lines=(line,))
    low, high = int(np.argmax(well)), int(rings - 1 - np.argmax(well[::-1]))
    px = math.radians(degrees[low]) * max(pair.px_per_rad for pair in fit.pairs)
    lines = [f"well known: from {degrees[low]:.2g} to {degrees[high]:.2g} degrees."]
    if px > 1:
        lines.append(
            f"hardly known: finer than {degrees[low]:.2g} degrees ({px:.1f} px of the fit);"
            " a page of print, or the same lamp on a longer lens, would tell it."
        )
    if high < rings - 1:
        lines.append(
            f"hardly known: farther out than {degrees[high]:.2g} degrees, where it is taken for a"
            " veil; a lamp in a dark room, or a black card before a bright wall, would tell it."
        )
    if fit.lamp_stops > LAMPS_TOLD_STOPS:
        lines.append(
            f"how strong it is, is known to {fit.lamp_stops:.1f} stops, as its lamps are: name them"
            " with --lamp X,Y,STOPS or X,Y,KIND, or shoot a bracket."
        )
    return replace(
        all_told,
        lines=tuple(lines),
        known_from_deg=float(f"{degrees[low]:.3g}"),
        known_to_deg=float(f"{degrees[high]:.3g}"),
    )


def told_of_strengths(glasses: Mapping[float, GlassAt1], known_from_deg: float) -> list[str]:
    """How well several strengths of one series are multiples of one depth, where it is known."""
    if len(glasses) < 2:
        return []
    angle = math.radians(known_from_deg)
    depths = [glass.depth_beyond(angle) for glass in glasses.values()]
    shown = ", ".join(
        f"{strength_text(strength)}: {depth:.3g}"
        for strength, depth in zip(glasses, depths, strict=True)
    )
    apart = max(depths) / max(min(depths), 1e-9) - 1
    holds = apart < STRENGTHS_TOLD
    verdict = "strength multiplies depth" if holds else "strength does not multiply depth"
    return [
        f"depth at 1 beyond {known_from_deg:.2g} degrees, by each piece: {shown}; {verdict}"
        f" (they are {100 * apart:.0f} % apart)."
    ]


def check_not_swapped(
    pairs: Sequence[Compared], name: str, fit: Fitted, surround: Surround
) -> None:
    """Refuse pairs whose bare still is the softer one: the way back fits better, and scatters."""
    if _scattered(fit) > SUSPECT_SHARE and _left(fit) < SUSPECT_STOPS**2 * len(fit.pairs):
        return
    turned = [pair._replace(bare=pair.other, other=pair.bare) for pair in pairs]
    back = fitted(turned, fit.rings, surround)
    if _scattered(back) > SUSPECT_SHARE and _left(back) < _left(fit) / 2:
        hint = "It is the one with glass that is softer: --bare and --with look swapped."
        raise ParameterError(name, "a bare still and one with glass", "a softer bare one", hint)


def _near_rad(fit: Fitted) -> float:
    """Angle up to which light that is scattered is not told from other blur."""
    return min(
        (CODED_NEAR_PX if pair.is_coded else NEAR_PX) / pair.px_per_rad for pair in fit.pairs
    )


def _is_far(fit: Fitted) -> Mask:
    return np.asarray(np.array(fit.rings.angles_rad) > _near_rad(fit), dtype=np.bool_)


def _scattered(fit: Fitted) -> float:
    """Mean share of light that goes beyond a pixel or two, veil included."""
    return float(fit.shares[:, np.append(_is_far(fit), True)].sum(axis=1).mean())


def _left(fit: Fitted) -> float:
    """Mean square of what a fit leaves [stop^2], of all its pairs."""
    return sum(
        float(np.mean(in_stops(model, pair.other)[pair.held] ** 2))
        for model, pair in zip(fit.models, fit.pairs, strict=True)
    )


def told_of_left(name: str, seen: Mask, left: Float32, changed: Float32, moved: float) -> list[str]:
    """Return what is said of what a look leaves of a pair, and of the share that was left out.

    What it leaves and what the glass changed [stop] count where it was compared, `seen`. What no
    thin scatterer does raises ParameterError, which says where most of it sits.
    """
    ratio, stops, (x, y) = misfit(left, changed, seen)
    place = f"about {x},{y} of {left.shape[1]} x {left.shape[0]} px"
    if ratio > REFUSED_RATIO and stops > REFUSED_STOPS:
        hint = (
            f"Most of it sits {place}. Rays of a net, a ghost of a plate askew, or light that"
            " changed do that."
        )
        got = f"{100 * ratio:.0f} % of the change left over ({stops:.2f} stops)"
        raise ParameterError(name, "what one thin scatterer makes of the bare still", got, hint)
    if moved > REFUSED_MOVED:
        got = f"{100 * moved:.0f} % that moved or changed and would be left out"
        hint = (
            "Nothing may move in between; rays of a net or ghosts of a plate askew differ so, too."
        )
        raise ParameterError(name, "two stills of one view that stood still", got, hint)
    lines = []
    if moved >= MOVED_TOLD:
        lines.append(f"{name}: {100 * moved:.0f} % of it moved or changed, and is left out.")
    if ratio > FLAGGED_RATIO and stops > FLAGGED_STOPS:
        lines.append(
            f"{name}: {100 * ratio:.0f} % of the change is left over, most of it {place}: this may"
            " be more than one thin glass."
        )
    return lines


def misfit(left: Float32, changed: Float32, held: Mask) -> tuple[float, float, tuple[int, int]]:
    """Share of the change that is left over, that in stops, and the pixel where most of it is."""
    blocks, seen = smoothed(left, held)
    change, _ = smoothed(changed - np.float32(np.median(changed[held]) if held.any() else 0), held)
    if not seen.any():
        return 0.0, 0.0, (0, 0)
    stops = float(np.sqrt(np.mean(blocks[seen] ** 2)))
    whole = float(np.sqrt(np.mean(change[seen] ** 2)))
    y, x = np.unravel_index(int(np.argmax(np.where(seen, np.abs(blocks), 0))), blocks.shape)
    scale = left.shape[1] / blocks.shape[1]
    middle = (math.floor((x + 0.5) * scale), math.floor((y + 0.5) * scale))
    return stops / max(whole, 1e-6), stops, middle
