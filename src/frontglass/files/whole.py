"""Files that appear whole or not at all."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import secrets
import shutil
from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from pathlib import Path

from frontglass.errors import PictureFileError
from frontglass.files.lock import clear_unheld, held

HALF = re.compile(r"\..*\.[0-9a-f]{16}", re.DOTALL)


def write_whole(path: Path, write: Callable[[str], object]) -> None:
    """Let `write` fill a file beside `path`, then put it in `path`'s place.

    Raises
    ------
    PictureFileError
        If the folder is missing or cannot be written to.
    """
    write_all_whole({path: write})


def write_all_whole(writers: Mapping[Path, Callable[[str], object]]) -> None:
    """Fill files beside their places, and put all of them there once all are filled.

    Raises
    ------
    PictureFileError
        If a folder is missing or cannot be written to; then none is put in its place.
    """
    # What is half written itself has been looked after where that was begun.
    clear_half_written([path for path in writers if not HALF.fullmatch(path.stem)])
    replace_whole(writers)


def replace_whole(writers: Mapping[Path, Callable[[str], object]]) -> None:
    """Do as `write_all_whole`, and leave what killed runs left to the caller, who knows better."""
    with contextlib.ExitStack() as stack:
        filled: dict[Path, Path] = {}
        try:
            for path, write in writers.items():
                filled[path] = stack.enter_context(_half(path))
                write(str(filled[path]))
            for path, beside in filled.items():
                beside.replace(path)
        except OSError as error:
            said = f"{path}: cannot be written: {error.strerror or error}."
            raise PictureFileError(said) from error


@contextlib.contextmanager
def _half(path: Path) -> Iterator[Path]:
    """Make an empty file beside a place, to be filled and put there; what is not goes again."""
    if not path.parent.is_dir():
        raise PictureFileError(f"{path}: there is no folder {path.parent}. Make it first.")
    if path.is_dir():
        raise PictureFileError(f"{path} is a folder. Name a file.")
    handle = None
    while handle is None:
        # Named before it is made, so that an interrupt at any moment finds it and takes it away.
        beside = half_name(path)
        try:
            handle = held(beside)
            if handle is not None:
                yield beside
        except OSError as error:
            if handle is not None:
                raise
            reason = f"cannot write to {path.parent}: {error.strerror}."
            raise PictureFileError(f"{path}: {reason}") from error
        finally:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)
            if handle is not None:
                os.close(handle)


def half_name(path: Path) -> Path:
    """Return a name for what will stand at `path` while it is being made."""
    return path.with_name(f".{path.stem[:40]}.{secrets.token_hex(8)}{path.suffix}")


def half_written(paths: Iterable[Path]) -> Iterator[Path]:
    """Yield files named as `half_name` does, once or twice over, for any of the paths."""
    names: dict[Path, list[str]] = {}
    for path in paths:
        half = re.escape(path.stem[:38]) + r".*\.[0-9a-f]{16}" + re.escape(path.suffix)
        names.setdefault(path.parent, []).append(half)
    for folder, halves in names.items():
        is_half = re.compile(r"\.{1,2}(?:" + "|".join(halves) + ")", re.DOTALL)
        with contextlib.suppress(OSError):
            yield from [path for path in folder.iterdir() if is_half.fullmatch(path.name)]


def clear_half_written(paths: Iterable[Path]) -> None:
    """Take away what killed runs left beside these places; what is being written stays."""
    for path in half_written(paths):
        clear_unheld(path)


def write_bytes_whole(path: Path, data: bytes) -> None:
    """Write a file that appears whole or not at all; raises as `write_whole`."""
    write_whole(path, lambda beside: _fill(beside, data))


def copy_whole(source: Path, path: Path) -> None:
    """Copy a file byte for byte; whole or not at all, and raises as `write_whole`."""
    write_whole(path, lambda beside: _copy(source, beside))


def _copy(source: Path, path: str) -> None:
    # Its content alone: who may read it is as of any file that is written.
    shutil.copyfile(source, path)


def _fill(path: str, data: bytes) -> None:
    Path(path).write_bytes(data)


def file_digest(path: Path) -> str:
    """Fingerprint (SHA-256) of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextlib.contextmanager
def beside_its_place(path: Path, replaceable: Container[str] | None) -> Iterator[Path]:
    """Give a path to fill, and put what was filled in its place at the end.

    Parameters
    ----------
    path : Path
        The place.
    replaceable : container of str or None
        Fingerprints of files that may be replaced there; None is any.

    Raises
    ------
    PictureFileError
        If another file stands there in the end; that is left as it is.
    """
    clear_half_written([path])
    beside = half_name(path)
    try:
        with told_of(path, beside):
            yield beside
        if not put_in_place(beside, path, replaceable):
            raise PictureFileError(
                f"{path}: has appeared meanwhile, and was left as it is; choose another file or"
                " allow overwriting."
            )
    except OSError as error:
        raise PictureFileError(f"{path}: cannot be written: {error.strerror or error}.") from error
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)


@contextlib.contextmanager
def told_of(path: Path, beside: Path) -> Iterator[None]:
    """Let errors speak of a file's place, not of the name that it is made under."""
    try:
        yield
    except PictureFileError as error:
        raise PictureFileError(str(error).replace(str(beside), str(path))) from error


def put_in_place(beside: Path, path: Path, replaceable: Container[str] | None) -> bool:
    """Move a finished file to its place; return False, and leave it, if that holds another.

    Parameters
    ----------
    beside : Path
        The finished file, in the same folder.
    path : Path
        Its place.
    replaceable : container of str or None
        Fingerprints of files that may be replaced there; None is any.
    """
    if replaceable is None:
        beside.replace(path)
        return True
    try:
        # A link, unlike a renaming, refuses where a file has appeared meanwhile.
        os.link(beside, path)
    except FileExistsError:
        if not path.is_file() or file_digest(path) not in replaceable:
            return False
        beside.replace(path)
    except OSError:  # A file system without links.
        if os.path.lexists(path) and file_digest(path) not in replaceable:
            return False
        beside.replace(path)
    return True
