"""A JPEG whose codes are decoded before anything that reads the rest of it has been loaded."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Future, wait
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import NamedTuple

from frontglass.errors import PictureFileError
from frontglass.files.jpeg_decoding import Decoded, decoded
from frontglass.files.jpeg_segments import SIGNATURE, segments_of, shape_of
from frontglass.threads import meanwhile

MOST_MEGAPIXELS = 100.0
"""A larger one waits until it is known whether it may be read."""


class _Begun(NamedTuple):
    data: bytes
    found: Decoded


_BEGUN: list[Future[_Begun | None]] = []
"""The last file that was decoded ahead, until somebody asks for its codes."""


@contextmanager
def decoding_ahead(path: Path) -> Iterator[None]:
    """Let another thread decode a file, if it is a JPEG, beside what is done within.

    That does not end before. What is wrong with the file is left to whoever reads it.
    """
    begun = meanwhile(partial(_begun, path))
    _BEGUN[:] = [begun]
    try:
        yield
    finally:
        _BEGUN.clear()
        wait([begun])


def decoded_once(data: bytes, shape: tuple[int, ...]) -> Decoded:
    """Return what `decoded` does; of a file that was decoded ahead that is handed out, once."""
    ahead = _BEGUN.pop().result() if _BEGUN else None
    return ahead.found if ahead and ahead.data == data else decoded(data, shape)


def _begun(path: Path) -> _Begun | None:
    try:
        if not path.is_file():  # what comes through a pipe comes once
            return None
        with path.open("rb") as file:
            start = file.read(len(SIGNATURE))
            data = start + file.read() if start == SIGNATURE else b""
        shape = shape_of(segments_of(data)) if data else None
    except (OSError, PictureFileError):
        return None
    if shape is None or shape[0] * shape[1] > MOST_MEGAPIXELS * 1_000_000:
        return None
    return _Begun(data, decoded(data, shape))
