"""A picture file that is read before anybody asks for it, beside whatever else must be done."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Future, wait
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

from frontglass.checks import check_within
from frontglass.files.reading import MOST_STOPS, read_picture
from frontglass.picture.exposure import exposed
from frontglass.picture.picture import Picture
from frontglass.threads import meanwhile


class _Begun(NamedTuple):
    path: Path
    how: dict[str, Any]
    picture: Future[Picture]


_BEGUN: list[_Begun] = []
"""The last file that was read ahead, until somebody asks for it."""


@contextmanager
def reading_ahead(path: Path, **how: Any) -> Iterator[None]:
    """Let another thread read a file beside what is done within, which does not end before.

    How is said as to `read_picture`, but for the exposure. If what is done within fails, nobody
    gets what was read. Nothing may be printed within: decoders are listened to where errors are
    printed.
    """
    picture = meanwhile(partial(read_picture, path, **how))
    _BEGUN[:] = [_Begun(path, _in_full(how), picture)]
    try:
        yield
    except BaseException:
        _BEGUN.clear()
        raise
    finally:
        wait([picture])


def read_once(path: Path, *, exposure_stops: float = 0.0, **how: Any) -> Picture:
    """Return what `read_picture` does, or raise what it raises; what was read ahead is handed out.

    That is kept for whoever asks first, and used if it was read in the same way.
    """
    begun = next((begun for begun in _BEGUN if begun.path == path), None)
    if begun is not None:
        _BEGUN.clear()
        if begun.how == _in_full(how):
            check_within("exposure_stops", exposure_stops, -MOST_STOPS, MOST_STOPS)
            return exposed(begun.picture.result(), exposure_stops)
    return read_picture(path, exposure_stops=exposure_stops, **how)


def _in_full(how: dict[str, Any]) -> dict[str, Any]:
    """Return how a file is read with all that nobody said."""
    return {**(read_picture.__kwdefaults__ or {}), **how}
