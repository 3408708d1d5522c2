"""One writer at a time: a lock that the system takes back when its holder dies."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from frontglass.errors import FrontglassError

LONGEST_WAIT_S = 20.0
PAUSE_S = 0.02


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the lock of a file that is to be changed, or wait for it.

    Parameters
    ----------
    path : Path
        The file; the lock is a hidden file beside it, which is taken away in the end.

    Raises
    ------
    FrontglassError
        If the folder is missing or cannot be written to, or another program keeps the lock.
    """
    beside = path.with_name(f".{path.name}.lock")
    if not path.parent.is_dir():
        raise FrontglassError(f"{path}: there is no folder {path.parent}. Make it first.")
    until = time.monotonic() + LONGEST_WAIT_S
    while (handle := _taken(beside)) is None:
        if time.monotonic() > until:
            raise FrontglassError(
                f"{path}: another program has been changing it for {LONGEST_WAIT_S:g} s; try again."
            )
        time.sleep(PAUSE_S)
    try:
        yield
    finally:
        # Before it is let go, so that nobody waits for a file that is no longer there.
        with contextlib.suppress(OSError):
            beside.unlink()
        os.close(handle)


@contextlib.contextmanager
def in_use(path: Path, alone: Callable[[], None]) -> Iterator[None]:
    """Hold a share in the use of a folder's record, for as long as a run goes on.

    Parameters
    ----------
    path : Path
        The record; a hidden file beside it carries the shares, and is taken away by the last.
    alone : callable
        Called first, and in the end, if nobody else holds a share: what is left there then is of
        runs, or workers, that died.
    """
    if sys.platform == "win32":  # which has no shares
        yield
        return
    beside = path.with_name(f".{path.name}.use")
    handle = _share(beside, alone)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            _lock(handle)
            alone()
            beside.unlink()
        os.close(handle)


def held(path: Path) -> int | None:
    """Make an empty file, held for as long as the handle returned is open; None: choose another.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666)
    if sys.platform == "win32":  # where what is held cannot be written by its name
        return handle
    with contextlib.suppress(OSError):
        _lock(handle)
        # Whoever clears away may have come between making it and holding it.
        if not _still_stands(handle, path):
            os.close(handle)
            return None
    return handle


def clear_unheld(path: Path) -> None:
    """Take away a file that `held` made, if whoever made it has died."""
    if sys.platform == "win32":
        return
    with contextlib.suppress(OSError):
        handle = os.open(path, os.O_RDONLY)
        try:
            _lock(handle)
            path.unlink()
        finally:
            os.close(handle)


def _share(beside: Path, alone: Callable[[], None]) -> int:
    while True:
        try:
            handle = os.open(beside, os.O_CREAT | os.O_RDWR, 0o666)
        except OSError as error:
            msg = f"{beside.parent}: cannot be written to: {error.strerror}."
            raise FrontglassError(msg) from None
        try:
            with contextlib.suppress(OSError):
                _lock(handle)
                if _still_stands(handle, beside):
                    alone()
            _lock_share(handle)
            # The last of those before us may have taken the file away while we waited.
            if _still_stands(handle, beside):
                return handle
        except OSError:
            pass
        os.close(handle)


def _still_stands(handle: int, beside: Path) -> bool:
    """Whether an open file is the one of that name, and no one has taken it away."""
    return os.path.samestat(os.fstat(handle), os.stat(beside))


def _taken(beside: Path) -> int | None:
    """Open lock file, if nobody else holds it."""
    try:
        handle = os.open(beside, os.O_CREAT | os.O_RDWR, 0o666)
    except OSError as error:
        if sys.platform == "win32" and isinstance(error, PermissionError) and beside.exists():
            return None  # being taken away
        raise FrontglassError(f"{beside.parent}: cannot be written to: {error.strerror}.") from None
    try:
        _lock(handle)
        # Its last holder may have taken it away between our opening and our locking.
        if _still_stands(handle, beside):
            return handle
    except OSError:
        pass
    os.close(handle)
    return None


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)

    def _lock_share(handle: int) -> None:
        del handle
else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _lock_share(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_SH)
