"""What is to be rented: pieces by look and strength, what each costs, and what may stand in."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from frontglass.elements import Place
from frontglass.errors import ParameterError
from frontglass.looks import Look, LookStack
from frontglass.measurement.match import Effects
from frontglass.measurement.stand_ins import StandIn
from frontglass.units import STOCK_STRENGTHS, strength_text

MM_PER_INCH = 25.4
LARGEST_IN_INCHES = 20.0
"""A filter of more is no filter: from here on numbers without a unit are millimetres."""
FILTER_SIZES = (("4 x 5.65 in", 101.6), ("138 mm round", 138.0), ("6.6 x 6.6 in", 167.6))
"""Sizes that are rented, with the narrower side [mm]. Common practice, no source."""
CLOSE_OCTAVES = 1.0
"""Further apart than that nothing stands in."""
TOLD_RATIO, TOLD_STOPS, TOLD_TEXTURE, TOLD_LOSS_STOPS = 1.15, 0.2, 0.01, 0.1
"""Differences from which on they are worth a word."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One piece to rent.

    Parameters
    ----------
    look : Look
        The look, at its strength.
    stills : tuple of str
        Stills that it is for, by name; empty for all.
    stand_ins : tuple of str
        What may stand in and what then differs, a line each.
    """

    look: Look
    stills: tuple[str, ...] = ()
    stand_ins: tuple[str, ...] = ()

    @property
    def is_before_the_lens(self) -> bool:
        """Whether it is a filter; haze is none."""
        return all(part.place is not Place.AIR for part in self.look.elements)

    @property
    def kind(self) -> str:
        """What it is made of, by the names that look files use."""
        return ", ".join(dict.fromkeys(part.kind.replace("_", " ") for part in self.look.elements))

    @property
    def remark(self) -> str:
        """What is to be said of its strength; empty where it can be rented so."""
        strength = self.look.strength
        if any(math.isclose(strength, float(stock)) for stock in STOCK_STRENGTHS):
            return ""
        stock = ", ".join(strength_text(float(one)) for one in STOCK_STRENGTHS)
        return f"no stock strength ({stock})"


def pieces(choices: Iterable[tuple[LookStack, Sequence[str]]]) -> list[Piece]:
    """Pieces that choices need, each once, in the order of the choices.

    Parameters
    ----------
    choices : iterable of (LookStack, sequence of str)
        What was chosen, and for which stills; none means for all. Every look of a stack is a
        piece. At strength 0 nothing is rented.

    Examples
    --------
    >>> from frontglass.looks import stack_from_text
    >>> stacks = [stack_from_text(text) for text in ("late-tram:1/2+slate-roof", "slate-roof:1")]
    >>> found = pieces([(stacks[0], ["gate.jpg"]), (stacks[1], ["door.jpg"])])
    >>> [(str(piece.look), piece.stills) for piece in found]
    [('late-tram 1/2', ('gate.jpg',)), ('slate-roof 1', ('gate.jpg', 'door.jpg'))]
    """
    found: dict[tuple[str, float], Piece] = {}
    for stack, stills in choices:
        for look in stack.looks:
            if look.strength == 0:
                continue
            key = (look.name, look.strength)
            before = found.get(key)
            if before is not None and (not before.stills or not stills):
                stills_of_both: tuple[str, ...] = ()
            else:
                named = (*(before.stills if before else ()), *stills)
                stills_of_both = tuple(dict.fromkeys(named))
            found[key] = Piece(look=look, stills=stills_of_both)
    return list(found.values())


def narrower_side_mm(size: str) -> float:
    """Narrower side of a filter, from text such as "4x5.65" (inches), "138mm" or "100x143".

    Raises
    ------
    ParameterError
        If it is no such text.

    Examples
    --------
    >>> narrower_side_mm("4x5.65"), narrower_side_mm("138mm")
    (101.6, 138.0)
    """
    number = r"(\d+(?:[.,]\d+)?)"
    match = re.fullmatch(
        rf"\s*{number}\s*(?:[xX]\s*{number})?\s*(mm|in|\"|inch(?:es)?)?\s*(?:round)?\s*",
        size.lower(),
    )
    if match is None:
        raise ParameterError("size", "such as 4x5.65, 6.6x6.6 (inches) or 138mm", size)
    sides = [float(side.replace(",", ".")) for side in match.groups()[:2] if side]
    unit = match[3] or ("in" if max(sides) <= LARGEST_IN_INCHES else "mm")
    smaller = min(sides) * (1.0 if unit == "mm" else MM_PER_INCH)
    if not smaller > 0:
        raise ParameterError("size", "above 0", size)
    return smaller


def filter_size(size: str | None, front_mm: float | None) -> tuple[str, str]:
    """Size of filter to write on a list, and what is wrong with it (mostly nothing).

    Parameters
    ----------
    size : str or None
        As it was typed; None takes the smallest that covers the front.
    front_mm : float or None
        Diameter of the lens' front. [mm]
    """
    if size is None:
        if front_mm is None:
            return "to be said", ""
        for name, side in FILTER_SIZES:
            if side >= front_mm:
                return name, ""
        return "to be said", f"no filter that is commonly rented covers a front of {front_mm:g} mm"
    side = narrower_side_mm(size)
    if front_mm is not None and side < front_mm:
        return size, f"{size} does not cover a front of {front_mm:g} mm"
    return size, ""


def stand_in_text(one: StandIn, wanted: Effects) -> str:
    """Return what may stand in at the nearest stock strength, and what then differs."""
    said = (
        ", ".join((*differences(wanted, one.stock_effects), *one.words))
        or "no difference worth a word"
    )
    return f"{one.stock}: {said}"


def differences(wanted: Effects, got: Effects) -> list[str]:
    """Differences worth a word between what is wanted and what is got."""
    said = []
    if max(wanted.halo, got.halo) > 1e-3:
        ratio = (got.halo + 1e-9) / (wanted.halo + 1e-9)
        if not 1 / TOLD_RATIO <= ratio <= TOLD_RATIO and min(wanted.halo, got.halo) > 1e-3:
            said.append(f"halo {100 * (ratio - 1):+.0f} %")
    blacks = got.black_stops - wanted.black_stops
    if abs(blacks) >= TOLD_STOPS:
        said.append(f"blacks {blacks:+.1f} stops")
    texture = got.texture - wanted.texture
    if abs(texture) >= TOLD_TEXTURE:
        said.append(f"fine contrast {-100 * texture:+.0f} %")
    loss = got.light_loss_stops - wanted.light_loss_stops
    if abs(loss) >= TOLD_LOSS_STOPS:
        said.append(f"light {-loss:+.1f} stops")
    return said


def stand_in_lines(stand_ins: Sequence[StandIn], wanted: Effects, most: int) -> tuple[str, ...]:
    """Lines for a list: the closest at stock strengths, or that nothing comes close."""
    ranked = sorted(stand_ins, key=lambda one: one.stock_apart)
    close = [one for one in ranked if one.stock_apart <= CLOSE_OCTAVES]
    return tuple(stand_in_text(one, wanted) for one in close[:most]) or ("nothing comes close",)
