"""Units people use, turned into the ones the physics uses, and back."""

from __future__ import annotations

import itertools
import math
import re
import unicodedata
from fractions import Fraction

from frontglass.errors import ParameterError

STOCK_STRENGTHS = (Fraction(1, 8), Fraction(1, 4), Fraction(1, 2), Fraction(1), Fraction(2))
"""Strengths as they are rented. Common practice, no source."""

LARGEST_STRENGTH = 64.0


def rad_from_deg(angle_deg: float) -> float:
    """Angle in radians of an angle in degrees."""
    return math.radians(angle_deg)


def deg_from_rad(angle_rad: float) -> float:
    """Angle in degrees of an angle in radians."""
    return math.degrees(angle_rad)


def m_from_mm(length_mm: float) -> float:
    """Length in metres of a length in millimetres."""
    return length_mm * 1e-3


def m_from_um(length_um: float) -> float:
    """Length in metres of a length in micrometres."""
    return length_um * 1e-6


def m_from_nm(length_nm: float) -> float:
    """Length in metres of a length in nanometres."""
    return length_nm * 1e-9


def mm_from_m(length_m: float) -> float:
    """Length in millimetres of a length in metres."""
    return length_m * 1e3


def stops_from_ratio(ratio: float) -> float:
    """Return the stops (factors of two) in a ratio of light > 0: log2(ratio)."""
    return math.log2(ratio)


def ratio_from_stops(stops: float) -> float:
    """Ratio of light in a number of stops: 2**stops."""
    return float(2.0**stops)


def strength_from_text(strength: str | float) -> float:
    """Strength as a number, from a trade fraction such as "1/4" or any number.

    Parameters
    ----------
    strength : str or float
        "1/8", "0.25", "0,25", "¼", 2, ... [1], in [0, 64]. 0 is the bare still.

    Raises
    ------
    ParameterError
        If it is neither a fraction nor a number, or is out of range.

    Examples
    --------
    >>> strength_from_text("1/4"), strength_from_text("¼"), strength_from_text("0,25")
    (0.25, 0.25, 0.25)
    """
    rule = f"a number or a fraction like 1/4, from 0 to {LARGEST_STRENGTH:g}"
    try:
        number = _number_from_text(strength) if isinstance(strength, str) else float(strength)
    except (ValueError, ZeroDivisionError, TypeError, OverflowError):
        raise ParameterError("strength", rule, strength) from None
    if not 0 <= number <= LARGEST_STRENGTH:
        raise ParameterError("strength", rule, strength)
    return number


def _number_from_text(text: str) -> float:
    """Return the number of "1/4", "0.25", "0,25", "¼" or "1½"."""
    whole, last = text.strip()[:-1], text.strip()[-1:]
    part = unicodedata.numeric(last or "0", 0.0)
    if 0 < part < 1:
        return (int(whole) if whole.strip() else 0) + part
    # Only a true fraction goes through Fraction, which would write out 1e999999999.
    return float(Fraction(text)) if "/" in text else float(text.replace(",", "."))


def strengths_from_text(text: str) -> tuple[float, ...]:
    """Return the strengths of a list such as "1/8,1/4,1/2", or "0,25 0,5" with spaces.

    Raises
    ------
    ParameterError
        If one is no strength, or a comma may be a decimal one.

    Examples
    --------
    >>> strengths_from_text("1/8,½"), strengths_from_text("0,25 0,5")
    ((0.125, 0.5), (0.25, 0.5))
    """
    parts = re.split(r"\s*;\s*|(?<![,\s])\s+(?![,\s])", text.strip())
    if len(parts) == 1:
        parts = text.split(",")
        for first, second in itertools.pairwise(parts):
            if first.strip() == "0" and second.strip().isdigit():
                hint = f"Write 0.{second.strip()} for one; 0 is the bare still and needs no place."
                raise ParameterError(
                    "strengths", "parted by commas, with decimal points", text, hint
                )
    return tuple(strength_from_text(part.strip()) for part in parts)


def strength_text(strength: float) -> str:
    """Strength as the trade writes it: 0.25 is "1/4", 0.3 stays "0.3".

    Examples
    --------
    >>> strength_text(0.125), strength_text(2.0), strength_text(0.3)
    ('1/8', '2', '0.3')
    """
    fraction = Fraction(strength).limit_denominator(16)
    if fraction.denominator in {1, 2, 3, 4, 8, 16} and math.isclose(float(fraction), strength):
        return str(fraction)
    return f"{strength:.4g}"


def percent_text(share: float) -> str:
    """Share as a percentage of two digits, whole from ten on.

    Examples
    --------
    >>> percent_text(0.0131), percent_text(0.25), percent_text(1.0), percent_text(1.5)
    ('1.3 %', '25 %', '100 %', '150 %')
    """
    return f"{float(f'{100 * share:.2g}'):g} %"
