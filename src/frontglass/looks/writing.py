"""Looks written as TOML, which `reading` reads back as the same value."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import MISSING, Field, fields, is_dataclass
from typing import Any

from frontglass.elements import ELEMENTS, LOBES, Element, Lobe
from frontglass.errors import LookError
from frontglass.looks.look import Look
from frontglass.looks.reading import LISTS, TEXT_KEYS


def look_as_toml(look: Look) -> str:
    """TOML text of a look at strength 1; what has its usual value is left out."""
    lines = [f"{key} = {_text(getattr(look, key))}" for key in TEXT_KEYS]
    if look.learned is not None:
        lines += ["", "[learned]", *_values(look.learned, "learned")]
    for element in look.elements:
        lines += ["", "[[element]]", f"kind = {_text(_name_of(element, ELEMENTS))}"]
        lines += _values(element, "element")
    return "\n".join(lines) + "\n"


def _values(thing: Any, path: str) -> Iterator[str]:
    """Keys of a thing, then the tables below it: in TOML they would swallow what follows."""
    tables = []
    for field in fields(thing):
        value = getattr(thing, field.name)
        if value is None or _is_usual(field, value):
            continue
        if field.name in LISTS or is_dataclass(value):
            tables.append((field.name, value))
        else:
            yield f"{field.name} = {_value(value)}"
    for name, value in tables:
        if is_dataclass(value):
            yield from ("", f"[{path}.{name}]", *_values(value, f"{path}.{name}"))
            continue
        head = f"{path}.{LISTS[name]}"
        for part in value:
            yield from ("", f"[[{head}]]")
            if isinstance(part, Lobe):
                yield f"profile = {_text(_name_of(part, LOBES))}"
            yield from _values(part, head)


def _is_usual(field: Field[Any], value: object) -> bool:
    return field.default is not MISSING and value == field.default


def _name_of(thing: Element | Lobe, kinds: dict[str, Any]) -> str:
    for name, kind in kinds.items():
        if type(thing) is kind:
            return name
    msg = f"{type(thing).__name__}: no look file knows this kind; known are {', '.join(kinds)}."
    raise LookError(msg)


def _value(value: Any) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    # The shortest decimal that is read back as the same number; numpy's own repr names its type.
    return repr(value) if isinstance(value, int) else repr(float(value))


def _text(text: str) -> str:
    # Basic strings of TOML are those of JSON; a look's texts hold no control characters.
    return json.dumps(str(text), ensure_ascii=False)
