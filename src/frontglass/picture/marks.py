"""Lamps marked by hand, as they are typed: where, how far, how bright."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from frontglass.errors import ParameterError
from frontglass.picture.clipped_lamps import LampMark
from frontglass.picture.lamp_place import LampPlace

RULE = "X,Y with, after it, metres such as 3.5m, stops above white such as 8, or both"


class Marks(NamedTuple):
    """What marks say to haze, and what they say of clipped lamps."""

    places: tuple[LampPlace, ...]
    levels: tuple[LampMark, ...]


def marks_from_texts(texts: Sequence[str]) -> Marks:
    """Return the marks of texts "X,Y[,METRESm][,STOPS]".

    Parameters
    ----------
    texts : sequence of str
        Pixels from the left and the top; a number that ends in m is a distance [m], another one
        the level of a clipped lamp [stop].

    Returns
    -------
    Marks
        A mark with a distance, or with nothing, is a lamp that glows in haze; one with stops is
        a clipped lamp.

    Raises
    ------
    ParameterError
        If a text is none of these.

    Examples
    --------
    >>> marks_from_texts(["640,212,4.5m", "80,90,8"])
    ... # doctest: +NORMALIZE_WHITESPACE
    Marks(places=(LampPlace(x_px=640.0, y_px=212.0, distance_m=4.5),),
          levels=(LampMark(x_px=80.0, y_px=90.0, stops=8.0),))
    """
    places, levels = [], []
    for text in texts:
        x, y, metres, stops = _parts(text)
        if stops is not None:
            levels.append(LampMark(x, y, stops))
        if stops is None or metres is not None:
            places.append(LampPlace(x_px=x, y_px=y, distance_m=metres))
    return Marks(tuple(places), tuple(levels))


def _parts(text: str) -> tuple[float, float, float | None, float | None]:
    try:
        x, y, *rest = (part.strip() for part in text.split(","))
        far = [float(part.removesuffix("m")) for part in rest if part.endswith("m")]
        bright = [float(part) for part in rest if not part.endswith("m")]
        (metres,) = far or (None,)
        (stops,) = bright or (None,)
        return float(x), float(y), metres, stops
    except ValueError:
        raise ParameterError("lamp", RULE, text) from None
