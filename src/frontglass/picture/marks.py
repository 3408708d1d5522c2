"""Lamps marked by hand, as they are typed: where, how far, how bright."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from frontglass.errors import ParameterError
from frontglass.picture.lamp_place import LampPlace
from frontglass.picture.recovery import LampMark

RULE = (
    "X,Y with, after it, metres such as 3.5m, stops above white such as 8 or a kind such as bulb,"
    " or both"
)


class Marks(NamedTuple):
    """What marks say to haze, and what they say of clipped lamps."""

    places: tuple[LampPlace, ...]
    levels: tuple[LampMark, ...]


def marks_from_texts(texts: Sequence[str]) -> Marks:
    """Return the marks of texts "X,Y[,METRESm][,STOPS|KIND]".

    Parameters
    ----------
    texts : sequence of str
        Pixels from the left and the top; a number that ends in m is a distance [m], another one
        the level of a clipped lamp [stop], a word its kind.

    Returns
    -------
    Marks
        A mark with a distance, or with nothing, is a lamp that glows in haze; one with stops or a
        kind is a clipped lamp.

    Raises
    ------
    ParameterError
        If a text is none of these.

    Examples
    --------
    >>> marks = marks_from_texts(["640,212,4.5m", "80,90,bulb"])
    >>> marks.places
    (LampPlace(x_px=640.0, y_px=212.0, distance_m=4.5),)
    >>> marks.levels
    (LampMark(x_px=80.0, y_px=90.0, stops=None, kind='bulb'),)
    """
    places, levels = [], []
    for text in texts:
        x, y, metres, bright = _parts(text)
        if isinstance(bright, str):
            levels.append(LampMark(x, y, kind=bright))
        elif bright is not None:
            levels.append(LampMark(x, y, bright))
        if bright is None or metres is not None:
            places.append(LampPlace(x_px=x, y_px=y, distance_m=metres))
    return Marks(tuple(places), tuple(levels))


def place_from_text(name: str, text: str) -> tuple[float, float]:
    """Place "X,Y" of a still, in pixels from the left and the top.

    Raises
    ------
    ParameterError
        If `text`, given as `name`, is no such place.
    """
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        raise ParameterError(name, "X,Y in pixels of the still", text)
    return x, y


def _parts(text: str) -> tuple[float, float, float | None, float | str | None]:
    """Place, metres, and stops or a kind."""
    try:
        x, y, *rest = (part.strip() for part in text.split(","))
        far = [_number(part[:-1]) for part in rest if part.endswith("m")]
        metres = [number for number in far if number is not None]
        # A kind such as sodium ends in m as well.
        bright = [part for part in rest if not part.endswith("m") or _number(part[:-1]) is None]
        (one_metres,) = metres or (None,)
        (one_bright,) = bright or (None,)
        if one_bright is None:
            return float(x), float(y), one_metres, None
        stops = _number(one_bright)
        if stops is None and not one_bright[:1].isalpha():
            raise ValueError
        return float(x), float(y), one_metres, one_bright if stops is None else stops
    except ValueError:
        raise ParameterError("lamp", RULE, text) from None


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
