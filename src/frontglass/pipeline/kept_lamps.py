"""What is known of the lamps of stills, kept in one small file beside them."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from frontglass.errors import FrontglassError, ParameterError
from frontglass.files.whole import write_bytes_whole
from frontglass.picture.lamp_kinds import kind_named
from frontglass.picture.lamp_place import LampPlace
from frontglass.picture.marks import marks_from_texts
from frontglass.picture.recovery import AUTO, OFF, LampMark, Recovery

FILE_NAME = "lamps.toml"
LARGEST_FILE_BYTES = 1_000_000
KEYS = ("white", "lamps", "lamp")


class KeptLamps(NamedTuple):
    """What the file says of one still.

    Parameters
    ----------
    white_cd_per_m2 : float or None
        Luminance of white. [cd/m2]
    lamps : str or None
        Kind of all clipped lamps that have no mark.
    marks : tuple of LampMark
        Clipped lamps.
    places : tuple of LampPlace
        Lamps that glow in haze.
    """

    white_cd_per_m2: float | None = None
    lamps: str | None = None
    marks: tuple[LampMark, ...] = ()
    places: tuple[LampPlace, ...] = ()

    def under(self, typed: Recovery) -> Recovery:
        """Return what is done about a still's lamps; what was typed now wins over what is kept."""
        white, clipped = typed.white_cd_per_m2, typed.clipped
        return replace(
            typed,
            white_cd_per_m2=self.white_cd_per_m2 if white is None else white,
            clipped=self.lamps if clipped == AUTO and self.lamps else clipped,
            marks=() if clipped == OFF and not typed.marks else (*self.marks, *typed.marks),
        )


def kept_lamps(still: Path) -> KeptLamps:
    """Return what `lamps.toml` beside a still says of it; nothing if there is none.

    Raises
    ------
    FrontglassError
        If the file cannot be read, is no TOML, or says something that is not understood.

    Notes
    -----
    One table for each still, under its file's name::

        ["night1.jpg"]
        white = 30                        # cd/m2
        lamps = "bulb"                    # what all are that have no mark
        lamp = ["363,397,candle", "80,90,8"]
    """
    path = still.with_name(FILE_NAME)
    tables = _tables(path)
    for name in tables:
        if not path.with_name(name).is_file():
            raise FrontglassError(f"{path}: no still {name!r} lies beside it; name it as it is.")
    table = tables.get(still.name, {})
    origin = f"{path}: {still.name}"
    for key in table:
        if key not in KEYS:
            raise FrontglassError(
                f"{origin}: unknown key {key!r}; known keys are {', '.join(KEYS)}."
            )
    try:
        texts = table.get("lamp", [])
        if not isinstance(texts, list) or not all(isinstance(text, str) for text in texts):
            raise ParameterError("lamp", 'a list of texts such as "80,90,bulb"', texts)
        lamps = table.get("lamps")
        if lamps is not None:
            kind_named(lamps if isinstance(lamps, str) else repr(lamps))
        white = Recovery(white_cd_per_m2=table.get("white")).white_cd_per_m2
        marks = marks_from_texts(texts)
    except ParameterError as error:
        raise FrontglassError(f"{origin}: {error}") from None
    return KeptLamps(white, lamps, marks.levels, marks.places)


def keep_lamps(
    still: Path, texts: Sequence[str], *, lamps: str | None = None, white: float | None = None
) -> Path:
    """Write what is known of a still's lamps into the file beside it; what is not given stays.

    Parameters
    ----------
    still : Path
        The still.
    texts : sequence of str
        Marks as they are typed, after those that are there.
    lamps : str or None
        Kind of all others.
    white : float or None
        Luminance of white. [cd/m2]

    Returns
    -------
    Path
        The file.
    """
    path = still.with_name(FILE_NAME)
    tables = {name: dict(table) for name, table in _tables(path).items()}
    own = tables.setdefault(still.name, {})
    own |= {key: value for key, value in (("white", white), ("lamps", lamps)) if value is not None}
    if texts:
        own["lamp"] = list(dict.fromkeys([*own.get("lamp", []), *texts]))
    lines = ["# Lamps of the stills in this folder, as frontglass lamps --keep writes them."]
    for name, table in tables.items():
        # Strings of JSON are strings of TOML.
        lines += ["", f"[{json.dumps(name)}]"]
        lines += [f"{key} = {json.dumps(value)}" for key, value in table.items()]
    write_bytes_whole(path, ("\n".join(lines) + "\n").encode())
    return path


def _tables(path: Path) -> Mapping[str, Mapping[str, Any]]:
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise FrontglassError(f"{path}: is a small text file; this one has more than 1 MB.")
        document = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise FrontglassError(f"{path}: cannot be read ({error.strerror}).") from None
    except (ValueError, RecursionError) as error:  # no UTF-8, no TOML, or nested without end
        raise FrontglassError(f"{path}: not valid TOML: {error}.") from None
    for name, table in document.items():
        if not isinstance(table, dict):
            hint = f'put it under the name of a still, such as ["{name}.jpg"]'
            raise FrontglassError(f"{path}: {name!r} stands alone; {hint}.")
    return document
