"""Scenes written as TOML: afresh, or as changes to a text whose comments and order stay."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, MutableMapping
from contextlib import contextmanager
from dataclasses import MISSING
from typing import Any

import tomlkit
from tomlkit.items import AbstractTable, AoT, Comment, InlineTable, Table, Whitespace

from frontglass.errors import FrontglassError
from frontglass.scene.fields import keys_of
from frontglass.scene.scene import FORMAT, Scene

Plain = dict[str, Any]

IDENTITY = {
    "still": ("file",),
    "choice": ("looks", "still"),
    "lamp": ("at",),
    "distance": ("at",),
    "watch": ("name",),
}
"""What tells one table of a list from another; all else of it may change."""


def scene_as_toml(scene: Scene) -> str:
    """TOML text of a scene, written afresh; what has its usual value is left out."""
    document = tomlkit.document()
    document["format"] = FORMAT
    _change(document, {}, plain(scene))
    return tomlkit.dumps(document)


def changed_toml(text: str, old: Scene, new: Scene, about: Mapping[str, str] | None = None) -> str:
    """Text of a scene file after a change; what is the same in both scenes is not touched.

    `about` has a line of comment for each still that is new, by its name.

    Raises
    ------
    FrontglassError
        If the text is laid out in a way that cannot be changed in place.
    """
    try:
        document = tomlkit.parse(text)
        _change(document, plain(old), plain(new), about or {})
        return tomlkit.dumps(document)
    # It does not take every valid text apart; what went wrong inside it is nobody's business.
    except (ValueError, TypeError, KeyError, AttributeError, IndexError) as error:
        raise FrontglassError(f"{old.path}: cannot be changed in place ({error}).") from None


def plain(part: Any) -> Plain:
    """Return a part of a scene as TOML has it, without what has its usual value."""
    values: Plain = {}
    for key, field in keys_of(type(part)).items():
        value = getattr(part, field.name)
        if value is None or (field.default is not MISSING and value == field.default):
            continue
        values[key] = _plain_value(value, inner=field.metadata["of"])
    return values


def _plain_value(value: Any, *, inner: type[Any] | None) -> Any:
    if inner is not None:
        return [plain(one) for one in value] if isinstance(value, tuple) else plain(value)
    if isinstance(value, tuple):
        return [_plain_value(one, inner=None) for one in value]
    if isinstance(value, bool):
        return value
    if isinstance(value, str):
        return str(value)  # a choice by name is a string of its own kind
    return int(value) if float(value).is_integer() and abs(value) < 1e15 else float(value)


def _change(
    table: MutableMapping[str, Any], old: Plain, new: Plain, about: Mapping[str, str] | None = None
) -> None:
    """Make a table that says `old` say `new`."""
    for key in old:
        if key not in new and key in table:
            _take_out(table, key)
    for key, value in new.items():
        before = old.get(key)
        if value == before:
            continue
        if isinstance(value, dict):
            if key not in table:
                table[key] = _spaced(tomlkit.table(), table)
            _change(table[key], before or {}, value)
        elif key in IDENTITY and isinstance(value, list) and isinstance(value[0], dict):
            _change_list(table, key, before or [], value, about or {})
        else:
            _set(table, key, value)


def _set(table: MutableMapping[str, Any], key: str, value: Any) -> None:
    """Set a plain value; a new one comes after the last plain one, before comments that follow."""
    if key in table or isinstance(table, InlineTable):
        table[key] = value
        return
    with _end_of_plain(table) as container:
        tail = []
        while container.body and container.body[-1][0] is None:
            tail.append(container.body.pop()[1])
        table[key] = value
        _add(container, reversed(tail))


def _take_out(table: MutableMapping[str, Any], key: str) -> None:
    """Take a key out; remarks that stand below it on their own stay."""
    one = table[key]
    if not isinstance(one, AoT | Table):
        del table[key]
        return
    remarks = _remarks_below(one)
    names = list(table)
    number = names.index(key)
    before = table[names[number - 1]] if number else None
    del table[key]
    if isinstance(before, AoT | Table):
        _add(_last_container(before), remarks)
    else:
        with _end_of_plain(table) as container:
            _add(container, remarks)


@contextmanager
def _end_of_plain(table: MutableMapping[str, Any]) -> Iterator[Any]:
    """Give what holds a table's plain values, the tables below it being out of the way."""
    below = [(name, one) for name, one in table.items() if isinstance(one, AoT | Table)]
    for name, _ in below:
        del table[name]
    yield _container(table)
    for name, one in below:
        table[name] = one


def _remarks_below(one: Any) -> list[Any]:
    """Return comments after the last value of a table that a free line parts from it.

    They are about what follows, though they are the table's in the text.
    """
    below: list[Any] = []
    for key, item in reversed(_last_container(one).body):
        if key is not None:
            break
        below.insert(0, item)
    free = [number for number, item in enumerate(below) if isinstance(item, Whitespace)]
    return below[free[0] :] if free else []


def _last_container(one: Any) -> Any:
    """Return what holds the last lines of a table, or of the last one of several."""
    if isinstance(one, AoT):
        return _last_container(one[-1])
    container = _container(one)
    keyed = [item for key, item in container.body if key is not None]
    if keyed and isinstance(keyed[-1], AoT | Table):
        return _last_container(keyed[-1])
    return container


def _container(table: Any) -> Any:
    return table.value if isinstance(table, Table) else table


def _add(container: Any, items: Iterable[Any]) -> None:
    """Add comments and free lines."""
    for one in items:
        if isinstance(one, Comment | Whitespace):
            container.add(one)


def _change_list(
    table: MutableMapping[str, Any],
    key: str,
    old: list[Plain],
    new: list[Plain],
    about: Mapping[str, str],
) -> None:
    """Make a list of tables that says `old` say `new`: what is new comes last."""
    before = _standing(old, new, key)
    after = {_name_of(one, key) for one in new}
    if key not in table:
        table[key] = tomlkit.array() if isinstance(table, InlineTable) else tomlkit.aot()
    tables = table[key]
    for one in new:
        number = before.get(_name_of(one, key))
        if number is not None:
            _change(tables[number], old[number], one)
    for name, number in sorted(before.items(), key=lambda pair: -pair[1]):
        if name not in after:
            remarks = _remarks_below(tables[number]) if number and isinstance(tables, AoT) else []
            del tables[number]
            if remarks:
                _add(_last_container(tables[number - 1]), remarks)
    for one in new:
        if _name_of(one, key) not in before:
            made = _new_table(one, tables, about.get(str(one.get("file"))))
            tables.append(_spaced(made, tables or table))
    if not tables:
        del table[key]
    elif isinstance(tables, AoT):
        stood = [name for name, _ in sorted(before.items(), key=lambda pair: pair[1])]
        come = [name for one in new if (name := _name_of(one, key)) not in before]
        _put_in_order(
            tables,
            [name for name in stood if name in after] + come,
            [_name_of(one, key) for one in new],
        )


def _put_in_order(tables: AoT, stand: list[tuple[Any, ...]], wanted: list[tuple[Any, ...]]) -> None:
    """Move tables that stand in one order into another; each takes its remarks along."""
    if stand == wanted:
        return
    last = tables.body[-1]
    if not last.as_string().endswith("\n\n"):
        last.add(tomlkit.nl())
    by_name = dict(zip(stand, tables.body, strict=True))
    tables.body[:] = [by_name[name] for name in wanted]


def _standing(old: list[Plain], new: list[Plain], key: str) -> dict[tuple[Any, ...], int]:
    """Return which table each name has; one that has gone gives its table to one that has come."""
    before = {_name_of(one, key): number for number, one in enumerate(old)}
    after = [_name_of(one, key) for one in new]
    gone = [name for name in before if name not in after]
    come = [name for name in after if name not in before]
    for was, now in zip(gone, come, strict=False):
        before[now] = before.pop(was)
    return before


def _new_table(values: Plain, tables: Any, said: str | None) -> AbstractTable:
    table = tomlkit.table() if isinstance(tables, AoT) else tomlkit.inline_table()
    if said and isinstance(table, Table):
        table.comment(said)
    _change(table, {}, values)
    return table


def _spaced(made: AbstractTable, after: Any) -> AbstractTable:
    """Return a new table, with a line left free before it, and after it if there was one."""
    if not isinstance(made, Table):
        return made
    if not after.as_string().endswith("\n\n"):
        made.trivia.indent = "\n"
    elif not any(isinstance(one, AoT | Table) for one in made.values()):
        made.add(tomlkit.nl())
    return made


def _name_of(values: Plain, key: str) -> tuple[Any, ...]:
    return tuple(_hashable(values.get(name)) for name in IDENTITY[key])


def _hashable(value: Any) -> Any:
    return tuple(value) if isinstance(value, Iterable) and not isinstance(value, str) else value
