"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from frontglass.errors import PictureFileError


def write_whole(path: Path, write: Callable[[str], None]) -> None:
    """Let `write` fill a file beside `path`, then put it in `path`'s place.

    Raises
    ------
    PictureFileError
        If the folder is missing or cannot be written to.
    """
    folder = path.parent
    if not folder.is_dir():
        raise PictureFileError(f"{path}: there is no folder {folder}. Make it first.")
    if path.is_dir():
        raise PictureFileError(f"{path} is a folder. Name a file.")
    try:
        prefix = f".{path.stem[:80]}."
        handle, beside = tempfile.mkstemp(prefix=prefix, suffix=path.suffix, dir=folder)
        os.close(handle)
    except OSError as error:
        raise PictureFileError(f"{path}: cannot write to {folder}: {error.strerror}.") from error
    try:
        write(beside)
        # mkstemp makes private files; the result gets the rights any new file gets.
        mask = os.umask(0)
        os.umask(mask)
        Path(beside).chmod(0o666 & ~mask)
        Path(beside).replace(path)
    except OSError as error:
        raise PictureFileError(f"{path}: cannot be written: {error.strerror or error}.") from error
    finally:
        Path(beside).unlink(missing_ok=True)


def write_bytes_whole(path: Path, data: bytes) -> None:
    """Write a file that appears whole or not at all; raises as `write_whole`."""
    write_whole(path, lambda beside: _fill(beside, data))


def _fill(path: str, data: bytes) -> None:
    Path(path).write_bytes(data)
