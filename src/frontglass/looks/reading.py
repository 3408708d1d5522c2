"""Looks read from TOML, strictly: what a file says is understood, or is an error with a place."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, fields
from pathlib import Path
from typing import Any

from frontglass.elements import ELEMENTS, LOBES, BareLamp, Beam, ClearCentre
from frontglass.errors import LookError, ParameterError
from frontglass.looks.look import Look

LARGEST_FILE_BYTES = 1_000_000
TEXT_KEYS = ("name", "summary", "watch")
LISTS = {"lobes": "lobe", "beams": "beam", "lamps": "lamp"}
"""What an element has several of, and what one table of them is called."""
PLAIN: dict[str, type[Any]] = {"beams": Beam, "lamps": BareLamp}
"""Those of them that are all of one type."""


def look_from_file(path: Path) -> Look:
    """Look that a TOML file describes.

    Parameters
    ----------
    path : Path
        A file with `name`, `summary`, `watch` and one table `[[element]]` for each element.

    Raises
    ------
    LookError
        If the file cannot be read, is no TOML, or says something that is not understood; the
        message names the file, the element and the key.
    """
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            msg = f"{path}: a look is a small text file; this one has more than 1 MB."
            raise LookError(msg)
        text = path.read_text(encoding="utf-8-sig")  # some editors put a mark first
    except UnicodeDecodeError:
        msg = f"{path}: a look must be text in UTF-8."
        raise LookError(msg) from None
    except OSError as error:
        msg = f"{path}: cannot be read ({error.strerror})."
        raise LookError(msg) from None
    return look_from_toml(text, str(path))


def look_from_toml(text: str, origin: str) -> Look:
    """Look that TOML text describes; `origin` stands before every error.

    Raises
    ------
    LookError
        See `look_from_file`.
    """
    try:
        document = tomllib.loads(text)
    except RecursionError:
        msg = f"{origin}: not valid TOML: nested too deeply."
        raise LookError(msg) from None
    except ValueError as error:  # TOMLDecodeError, or an integer of thousands of digits
        msg = f"{origin}: not valid TOML: {error}."
        raise LookError(msg) from None
    _check_keys(document, (*TEXT_KEYS, "element"), (*TEXT_KEYS, "element"), origin)
    elements = tuple(
        _element(table, f"{origin}: element[{index}]")
        for index, table in enumerate(_tables(document["element"], "element", origin))
    )
    texts = {key: document[key] for key in TEXT_KEYS}
    look: Look = _built(Look, {**texts, "elements": elements}, origin)
    return look


def _element(table: Mapping[str, Any], origin: str) -> Any:
    kind = _choice(table, "kind", ELEMENTS, origin)
    place = f"{origin} ({table['kind']})"
    values = {key: value for key, value in table.items() if key != "kind"}
    known = _keys(kind)
    for several, one in LISTS.items():
        if several in known:
            known[one] = known.pop(several)
    _check_keys(values, known, _required(known), place)
    if "lobe" in values:
        lobes = _tables(values.pop("lobe"), "lobe", place)
        values["lobes"] = tuple(
            _lobe(lobe, f"{place} lobe[{number}]") for number, lobe in enumerate(lobes)
        )
    for several, type_ in PLAIN.items():
        one = LISTS[several]
        if one in values:
            tables = _tables(values.pop(one), one, place)
            values[several] = tuple(
                _plain(type_, table, f"{place} {one}[{number}]")
                for number, table in enumerate(tables)
            )
    if "clear_centre" in values:
        values["clear_centre"] = _clear_centre(values["clear_centre"], f"{place} clear_centre")
    return _built(kind, values, place)


def _lobe(table: Mapping[str, Any], origin: str) -> Any:
    kind = _choice(table, "profile", LOBES, origin)
    place = f"{origin} ({table['profile']})"
    values = {key: value for key, value in table.items() if key != "profile"}
    known = _keys(kind)
    _check_keys(values, known, _required(known), place)
    return _built(kind, values, place)


def _plain(type_: type[Any], table: Mapping[str, Any], origin: str) -> Any:
    known = _keys(type_)
    _check_keys(table, known, _required(known), origin)
    return _built(type_, table, origin)


def _clear_centre(table: Any, origin: str) -> Any:
    if not isinstance(table, dict):
        _refuse(origin, "clear_centre", "a table [element.clear_centre]", table)
    return _plain(ClearCentre, table, origin)


def _built(kind: Callable[..., Any], values: Mapping[str, Any], origin: str) -> Any:
    arguments = {k: tuple(v) if isinstance(v, list) else v for k, v in values.items()}
    try:
        return kind(**arguments)
    except ParameterError as error:
        msg = f"{origin}: {error}"
        raise LookError(msg) from None


def _choice(
    table: Mapping[str, Any], key: str, kinds: Mapping[str, type[Any]], origin: str
) -> type[Any]:
    name = table.get(key)
    if not isinstance(name, str) or name not in kinds:
        rule = "one of " + ", ".join(sorted(kinds))
        _refuse(origin, key, rule, name)
    return kinds[str(name)]


def _keys(kind: type[Any]) -> dict[str, Field[Any]]:
    return {field.name: field for field in fields(kind)}


def _required(known: Mapping[str, Field[Any]]) -> list[str]:
    return [
        name
        for name, field in known.items()
        if field.default is MISSING and field.default_factory is MISSING
    ]


def _check_keys(
    table: Mapping[str, Any], known: Iterable[str], required: Iterable[str], origin: str
) -> None:
    names = sorted(known)
    for key in table:
        if key not in names:
            close = difflib.get_close_matches(key, names, n=1)
            hint = f" Did you mean {close[0]!r}?" if close else ""
            msg = f"{origin}: unknown key {key!r}; known keys are {', '.join(names)}.{hint}"
            raise LookError(msg)
    for key in required:
        if key not in table:
            msg = f"{origin}: {key} is missing."
            raise LookError(msg)


def _tables(value: Any, key: str, origin: str) -> list[Mapping[str, Any]]:
    if not isinstance(value, list) or not value or not all(isinstance(t, dict) for t in value):
        _refuse(origin, key, f"one or more tables [[{key}]]", value)
    return list(value)


def _refuse(origin: str, key: str, rule: str, got: object) -> None:
    msg = f"{origin}: {ParameterError(key, rule, got)}"
    raise LookError(msg)
