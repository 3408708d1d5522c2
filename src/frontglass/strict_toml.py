"""TOML read strictly: what a file says is understood, or is an error with a place."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from frontglass.errors import FrontglassError, ParameterError

LARGEST_FILE_BYTES = 1_000_000


def text_of(path: Path, what: str, error: type[FrontglassError] = FrontglassError) -> str:
    """Text of a small file; `what` is what it should be, as in "a look".

    Raises
    ------
    FrontglassError
        Of the given type, if the file cannot be read, is too large, or is not in UTF-8.
    """
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise error(f"{path}: {what} is a small text file; this one has more than 1 MB.")
        return text_from(path.read_bytes(), str(path), what, error)
    except (OSError, ValueError) as reason:  # ValueError: a name that no system takes
        said = getattr(reason, "strerror", None) or reason
        raise error(f"{path}: cannot be read ({said}).") from None


def text_from(
    data: bytes, origin: str, what: str, error: type[FrontglassError] = FrontglassError
) -> str:
    """Text of a file's bytes; raises as `text_of`."""
    try:
        return data.decode("utf-8-sig")  # some editors put a mark first
    except UnicodeDecodeError:
        raise error(f"{origin}: {what} must be text in UTF-8.") from None


def document_of(
    text: str, origin: str, error: type[FrontglassError] = FrontglassError
) -> dict[str, Any]:
    """Document that TOML text is; `origin` stands before every error.

    Raises
    ------
    FrontglassError
        Of the given type, if it is no TOML.
    """
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise error(f"{origin}: not valid TOML: nested too deeply.") from None
    except ValueError as reason:  # TOMLDecodeError, or an integer of thousands of digits
        raise error(f"{origin}: not valid TOML: {reason}.") from None


def check_keys(
    table: Mapping[str, Any],
    known: Iterable[str],
    required: Iterable[str],
    origin: str,
    error: type[FrontglassError] = FrontglassError,
) -> None:
    """Refuse keys that are not known, with the nearest that is, and the lack of required ones.

    Raises
    ------
    FrontglassError
        Of the given type.

    Examples
    --------
    >>> from frontglass.errors import FrontglassError
    >>> try:
    ...     check_keys({"strengh": 1}, ["strength"], [], "look.toml")
    ... except FrontglassError as error:
    ...     print(error)
    look.toml: unknown key 'strengh'; known keys are strength. Did you mean 'strength'?
    """
    names = sorted(known)
    for key in table:
        if key not in names:
            close = difflib.get_close_matches(key, names, n=1)
            hint = f" Did you mean {close[0]!r}?" if close else ""
            raise error(f"{origin}: unknown key {key!r}; known keys are {', '.join(names)}.{hint}")
    for key in required:
        if key not in table:
            raise error(f"{origin}: {key} is missing.")


def tables_of(
    value: Any, key: str, origin: str, error: type[FrontglassError] = FrontglassError
) -> list[Mapping[str, Any]]:
    """Return the tables of a key that has one or more of them.

    Raises
    ------
    FrontglassError
        Of the given type, if it has something else.
    """
    if not isinstance(value, list) or not value or not all(isinstance(t, dict) for t in value):
        refuse(key, f"one or more tables [[{key}]]", value, origin, error)
    return list(value)


def refuse(
    key: str, rule: str, got: object, origin: str, error: type[FrontglassError] = FrontglassError
) -> None:
    """Raise an error of the given type that says what a key must be, with its place."""
    raise error(f"{origin}: {ParameterError(key, rule, got)}")
