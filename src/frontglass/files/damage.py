"""The line that says what a decoder stumbled on."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager

from frontglass.errors import PictureFileError

_MOST_LETTERS = 200


def damaged(format_name: str, error: Exception) -> PictureFileError:
    """Return an error of one line for what a library says of a file's content."""
    reason = " ".join(str(error).split())[:_MOST_LETTERS].rstrip(".")
    if not reason or not reason.isascii() or not reason.isprintable():
        # Of some messages from C only the bytes that took their place are left.
        reason = type(error).__name__
    return PictureFileError(f"The {format_name} file is damaged: {reason}.")


@contextmanager
def quiet_pillow() -> Iterator[None]:
    """Let Pillow say nothing of metadata that frontglass reads by itself."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
