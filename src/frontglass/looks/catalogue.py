"""Looks found by name or by file."""

from __future__ import annotations

import difflib
import os
from pathlib import Path

from frontglass.errors import LookError
from frontglass.looks.look import Look
from frontglass.looks.reading import look_from_file
from frontglass.shipped import shipped_folder
from frontglass.units import strength_from_text

RENAMED = {"glass-beads": "wet-quay"}
"""Looks that had another name, and what they are called now."""


def look_names() -> tuple[str, ...]:
    """Names of the looks that come with frontglass, in alphabetical order.

    Examples
    --------
    >>> import frontglass as fg
    >>> "harbour-night" in fg.look_names()
    True
    """
    return tuple(sorted(path.stem for path in shipped_folder("presets").glob("*.toml")))


def catalogue() -> tuple[Look, ...]:
    """Every look that comes with frontglass, in alphabetical order.

    Examples
    --------
    >>> import frontglass as fg
    >>> len(fg.catalogue()) == len(fg.look_names())
    True
    """
    return tuple(read_look(name) for name in look_names())


def read_look(name: str | os.PathLike[str]) -> Look:
    """Look of a name in the catalogue, or of a file.

    Parameters
    ----------
    name : str or path
        A name such as "harbour-night", or a path that ends in .toml.

    Raises
    ------
    LookError
        If there is no such look, or the file is not understood.

    Examples
    --------
    >>> import frontglass as fg
    >>> print(fg.read_look("harbour-night").at("1/4"))
    harbour-night 1/4
    """
    path = Path(name)
    if path.suffix.lower() == ".toml":
        if not os.path.isfile(path):  # unlike Path.is_file, False for names no system takes
            msg = f"{path}: no such look file."
            raise LookError(msg)
        return look_from_file(path)
    known = look_names()
    if str(name) in RENAMED:
        msg = f"look {str(name)!r} is called {RENAMED[str(name)]} now."
        raise LookError(msg)
    if str(name) not in known:
        close = difflib.get_close_matches(str(name), known, n=1, cutoff=0.5)
        hint = f" Did you mean {close[0]}?" if close else ""
        msg = (
            f"look must be a file ending in .toml or one of {', '.join(known)}; "
            f"got {str(name)!r}.{hint}"
        )
        raise LookError(msg)
    return look_from_file(shipped_folder("presets") / f"{name}.toml")


def look_from_text(text: str, default_strength: str | float = 1.0) -> Look:
    """Look of a text NAME_OR_FILE[:STRENGTH], such as "harbour-night:1/4" or "mine/pier.toml".

    Raises
    ------
    LookError
        If there is no such look.
    ParameterError
        If the strength is none.
    """
    name, strength = name_and_strength(text)
    return read_look(name).at(strength_from_text(strength or str(default_strength)))


def name_and_strength(text: str) -> tuple[str, str]:
    """Name or file, and strength, of a text NAME_OR_FILE[:STRENGTH]; "" where it says none.

    Raises
    ------
    ParameterError
        If what follows the colon is no strength.

    Examples
    --------
    >>> name_and_strength("harbour-night:1/4"), name_and_strength("mine/quiet-pier.toml")
    (('harbour-night', '1/4'), ('mine/quiet-pier.toml', ''))
    """
    # A drive letter is followed by a slash, a strength never is.
    name, colon, strength = text.rpartition(":")
    if not colon or strength.startswith(("/", "\\")) or strength.lower().endswith(".toml"):
        return text, ""
    strength_from_text(strength)
    return name, strength
