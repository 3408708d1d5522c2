"""Looks read from TOML, strictly: what a file says is understood, or is an error with a place."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields
from functools import partial
from pathlib import Path
from typing import Any

from frontglass.elements import ELEMENTS, LOBES, BareLamp, Beam, ClearCentre
from frontglass.errors import LookError, ParameterError
from frontglass.looks.learned_from import LearnedFrom
from frontglass.looks.look import Look
from frontglass.strict_toml import check_keys, document_of, refuse, tables_of, text_of

TEXT_KEYS = ("name", "summary", "watch")
LISTS = {"lobes": "lobe", "beams": "beam", "lamps": "lamp"}
"""What an element has several of, and what one table of them is called."""
PLAIN: dict[str, type[Any]] = {"beams": Beam, "lamps": BareLamp}
"""Those of them that are all of one type."""


def look_from_file(path: Path) -> Look:
    """Look that a TOML file describes, with one table `[[element]]` for each element.

    Raises
    ------
    LookError
        If the file cannot be read, is no TOML, or says something that is not understood; the
        message names the file, the element and the key.
    """
    text = text_of(path, "a look", LookError)
    return look_from_toml(text, str(path))


def look_from_toml(text: str, origin: str) -> Look:
    """Look that TOML text describes; `origin` stands before every error."""
    document = document_of(text, origin, LookError)
    needed = (*TEXT_KEYS, "element")
    check_keys(document, (*needed, "learned"), needed, origin, LookError)
    elements = tuple(
        _element(table, f"{origin}: element[{index}]")
        for index, table in enumerate(tables_of(document["element"], "element", origin, LookError))
    )
    texts = {key: document[key] for key in TEXT_KEYS}
    learned = document.get("learned")
    if learned is not None:
        if not isinstance(learned, dict):
            refuse("learned", "a table [learned]", learned, origin, LookError)
        learned = _plain(LearnedFrom, learned, f"{origin}: learned")
    look: Look = _built(Look, {**texts, "elements": elements, "learned": learned}, origin)
    return look


def _element(table: Mapping[str, Any], origin: str) -> Any:
    kind = _choice(table, "kind", ELEMENTS, origin)
    place = f"{origin} ({table['kind']})"
    values = {key: value for key, value in table.items() if key != "kind"}
    known = _keys(kind)
    for several, one in LISTS.items():
        if several in known:
            known[one] = known.pop(several)
    check_keys(values, known, _required(known), place, LookError)
    for several, one in LISTS.items():
        if one in values:
            read = _lobe if one == "lobe" else partial(_plain, PLAIN[several])
            tables = tables_of(values.pop(one), one, place, LookError)
            values[several] = tuple(read(t, f"{place} {one}[{n}]") for n, t in enumerate(tables))
    if "clear_centre" in values:
        centre, where = values["clear_centre"], f"{place} clear_centre"
        if not isinstance(centre, dict):
            refuse("clear_centre", "a table [element.clear_centre]", centre, where, LookError)
        values["clear_centre"] = _plain(ClearCentre, centre, where)
    return _built(kind, values, place)


def _lobe(table: Mapping[str, Any], origin: str) -> Any:
    kind = _choice(table, "profile", LOBES, origin)
    values = {key: value for key, value in table.items() if key != "profile"}
    return _plain(kind, values, f"{origin} ({table['profile']})")


def _plain(type_: type[Any], table: Mapping[str, Any], origin: str) -> Any:
    known = _keys(type_)
    check_keys(table, known, _required(known), origin, LookError)
    return _built(type_, table, origin)


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
        refuse(key, rule, name, origin, LookError)
    return kinds[str(name)]


def _keys(kind: type[Any]) -> dict[str, Field[Any]]:
    return {field.name: field for field in fields(kind)}


def _required(known: Mapping[str, Field[Any]]) -> list[str]:
    return [
        name
        for name, field in known.items()
        if field.default is MISSING and field.default_factory is MISSING
    ]
