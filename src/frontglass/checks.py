"""Checks made once, at the border: constructors, loaders, readers."""

from __future__ import annotations

import math
import unicodedata
from numbers import Real

from frontglass.errors import ParameterError

NO_TEXT = {"Cc", "Cs", "Zl", "Zp"}
"""Unicode categories that end a line, steer a terminal, or no file can hold."""


def check_number(name: str, value: object) -> float:
    """Return `value` as a float.

    Raises
    ------
    ParameterError
        If it is no finite real number (a bool is not a number here).
    """
    if isinstance(value, bool) or not isinstance(value, Real):
        raise ParameterError(name, "a finite number", value)
    try:
        number = float(value)
    except OverflowError:  # a whole number may have more digits than a float
        number = math.inf
    if not math.isfinite(number):
        raise ParameterError(name, "a finite number", value)
    return number


def check_bool(name: str, value: object) -> bool:
    """Return `value`, which is True or False, else raise ParameterError."""
    if not isinstance(value, bool):
        raise ParameterError(name, "True or False", value)
    return value


def check_line(name: str, value: object) -> str:
    """Return `value`, which is a text of one line, else raise ParameterError."""
    if not isinstance(value, str) or not value.strip():
        raise ParameterError(name, "a line of text", value)
    if any(unicodedata.category(letter) in NO_TEXT for letter in value):
        raise ParameterError(name, "a single line without control characters", value)
    return value


def check_positive(name: str, value: object) -> float:
    """Return `value` as a float > 0, else raise ParameterError."""
    number = check_number(name, value)
    if not number > 0:
        raise ParameterError(name, "> 0", value)
    return number


def check_not_negative(name: str, value: object) -> float:
    """Return `value` as a float >= 0, else raise ParameterError."""
    number = check_number(name, value)
    if number < 0:
        raise ParameterError(name, ">= 0", value)
    return number


def check_share(name: str, value: object) -> float:
    """Return `value` as a float in [0, 1], else raise ParameterError."""
    number = check_number(name, value)
    if not 0 <= number <= 1:
        raise ParameterError(name, "in [0, 1]", value)
    return number


def check_within(name: str, value: object, low: float, high: float, hint: str = "") -> float:
    """Return `value` as a float in [low, high], else raise ParameterError."""
    number = check_number(name, value)
    if not low <= number <= high:
        raise ParameterError(name, f"in [{low:g}, {high:g}]", value, hint)
    return number
