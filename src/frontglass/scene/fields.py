"""Fields of a scene: what each is called in the file, and checks at the border."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import MISSING, Field, field, fields
from typing import Any

from frontglass.checks import check_not_negative, check_number
from frontglass.errors import ParameterError

Check = Callable[[str, Any], Any]
"""Returns the value of a key in its usual form, else raises ParameterError."""


def in_file(
    key: str, check: Check | None = None, *, of: type[Any] | None = None, default: Any = None
) -> Any:
    """Field that the file calls `key`; `of` is what its tables hold."""
    return field(default=default, metadata={"key": key, "check": check, "of": of})


def required(key: str, check: Check) -> Any:
    """Field that the file calls `key`, and that it must have."""
    return field(metadata={"key": key, "check": check, "of": None})


def keys_of(kind: type[Any]) -> dict[str, Field[Any]]:
    """Fields of a part of a scene by what the file calls them."""
    return {one.metadata["key"]: one for one in fields(kind) if "key" in one.metadata}


def required_keys(kind: type[Any]) -> list[str]:
    """Keys that the file must have for such a part."""
    return [key for key, one in keys_of(kind).items() if one.default is MISSING]


def check_fields(part: Any) -> None:
    """Check all that is said in a part of a scene, and put it into its usual form."""
    for key, one in keys_of(type(part)).items():
        check, value = one.metadata["check"], getattr(part, one.name)
        if check is None or value is None:
            continue
        usual = check(key, value)
        if not isinstance(usual, float):  # a number stays as it was given
            object.__setattr__(part, one.name, usual)


def checked_text(name: str, value: object) -> str:
    """Return a text, which may have several lines, else raise ParameterError."""
    if not isinstance(value, str):
        raise ParameterError(name, "text", value)
    for letter in value:
        if letter not in "\n\t" and unicodedata.category(letter) in {"Cc", "Cs"}:
            raise ParameterError(name, "text without control characters", value)
    return value


def checked_file(name: str, value: object) -> str:
    """Return a path as a scene writes it, else raise ParameterError."""
    if not isinstance(value, str) or not value or "\0" in value:
        raise ParameterError(name, "the path of a file, from the folder of the scene", value)
    try:
        value.encode()
    except UnicodeEncodeError:
        hint = "A scene is text in UTF-8; give the file another name."
        raise ParameterError(name, "a name in UTF-8", value, hint) from None
    return value


def checked_place(name: str, value: object) -> tuple[float, float]:
    """Return two numbers >= 0, else raise ParameterError."""
    if not isinstance(value, tuple | list) or len(value) != 2:
        raise ParameterError(name, "two numbers of pixels such as [147, 415]", value)
    x, y = (check_not_negative(name, number) for number in value)
    return x, y


def checked_size(name: str, value: object) -> tuple[int, ...]:
    """Return width and height, else raise ParameterError."""
    return _whole(name, value, 2, "[4032, 3024]")


def checked_rectangle(name: str, value: object) -> tuple[int, ...]:
    """Return left, top, width and height, else raise ParameterError."""
    x, y, width, height = _whole(name, value, 4, "[60, 340, 200, 120]")
    if width < 1 or height < 1:
        raise ParameterError(name, "left, top, width > 0 and height > 0", [x, y, width, height])
    return x, y, width, height


def _whole(name: str, value: object, count: int, example: str) -> tuple[int, ...]:
    rule = f"{count} whole numbers such as {example}"
    if not isinstance(value, tuple | list) or len(value) != count:
        raise ParameterError(name, rule, value)
    if not all(check_number(name, number) == int(number) and number >= 0 for number in value):
        raise ParameterError(name, rule, value)
    return tuple(int(number) for number in value)


def check_inside(name: str, value: tuple[float, ...], size_px: tuple[int, int] | None) -> None:
    """Refuse a place, or a rectangle, that reaches outside of a still of that size."""
    if size_px is None:
        return
    x, y, *rest = value
    if rest:
        is_inside = x + rest[0] <= size_px[0] and y + rest[1] <= size_px[1]
    else:  # a place is in a pixel; a rectangle may end with the last one
        is_inside = x < size_px[0] and y < size_px[1]
    if not is_inside:
        rule = f"inside the still's {size_px[0]} x {size_px[1]} px"
        raise ParameterError(name, rule, list(value))


def check_differ(name: str, values: Sequence[object]) -> None:
    """Refuse a value that is given twice."""
    for number, value in enumerate(values):
        if value in values[:number]:
            raise ParameterError(name, "given once", value)
