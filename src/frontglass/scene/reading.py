"""Scenes read from TOML, strictly: what a file says is understood, or is an error with a place."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from frontglass.errors import FrontglassError, ParameterError
from frontglass.scene.fields import keys_of, required_keys
from frontglass.scene.scene import FORMAT, Scene
from frontglass.strict_toml import check_keys, document_of, refuse, tables_of, text_of


def read_scene(path: str | os.PathLike[str]) -> Scene:
    r"""Scene that a file describes.

    Parameters
    ----------
    path : path
        A file such as ``frontglass scene`` writes it; or the folder that holds `scene.toml`.

    Raises
    ------
    FrontglassError
        If the file cannot be read, is of a newer format, or says something that is not understood;
        the message names the file, the still and the key.

    Examples
    --------
    >>> import tempfile, frontglass as fg
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     said = Path(folder, "scene.toml").write_text('format = 1\ntitle = "Gate 2"')
    ...     print(fg.read_scene(folder).title)
    Gate 2
    """
    where = Path(path)
    if where.is_dir():
        where = where / "scene.toml"
    return scene_from_toml(text_of(where, "a scene"), where)


def scene_from_toml(text: str, path: Path) -> Scene:
    """Scene that the text of the file at `path` describes; raises as `read_scene`."""
    origin = str(path)
    document = document_of(text, origin)
    _check_format(document, origin)
    scene: Scene = _part(Scene, document, origin, more={"path": path})
    return scene


def _check_format(document: Mapping[str, Any], origin: str) -> None:
    if "format" not in document:
        raise FrontglassError(f"{origin}: format is missing; a scene has format = {FORMAT}.")
    version = document["format"]
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        refuse("format", f"{FORMAT}", version, origin)
    if version > FORMAT:
        raise FrontglassError(
            f"{origin}: is of format {version}, and this frontglass reads format {FORMAT};"
            " install a newer one. Nothing was changed."
        )


def _part(
    kind: type[Any], table: Mapping[str, Any], origin: str, *, more: Mapping[str, Any] | None = None
) -> Any:
    known = keys_of(kind)
    is_top = kind is Scene
    check_keys(table, [*known, *(["format"] if is_top else [])], required_keys(kind), origin)
    values: dict[str, Any] = {}
    for key, value in table.items():
        if is_top and key == "format":
            continue
        field = known[key]
        inner = field.metadata["of"]
        if inner is None:
            values[field.name] = tuple(value) if isinstance(value, list) else value
        elif isinstance(field.default, tuple):
            tables = tables_of(value, key, origin)
            values[field.name] = tuple(
                _part(inner, one, _place(origin, key, number, one))
                for number, one in enumerate(tables)
            )
        else:
            if not isinstance(value, dict):
                refuse(key, f"a table [{key}]", value, origin)
            values[field.name] = _part(inner, value, f"{origin}: {key}")
    try:
        return kind(**values, **(more or {}))
    except ParameterError as error:
        raise FrontglassError(f"{origin}: {error}") from None


def _place(origin: str, key: str, number: int, table: Mapping[str, Any]) -> str:
    """Where a table stands: its number, counted from 1, and what it is about."""
    name = table.get("file", table.get("name"))
    shown = f" ({shown_name(name)})" if isinstance(name, str) else ""
    return f"{origin}: {key} {number + 1}{shown}"


def shown_name(file: str) -> str:
    r"""Name of a file in one line of text: what is no letter is written as an escape.

    Examples
    --------
    >>> print(shown_name("night\n1.jpg"))
    night\n1.jpg
    """
    return "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape").decode()
        for letter in file
    )
