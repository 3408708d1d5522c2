"""The line that says what a decoder stumbled on."""

from __future__ import annotations

import os
import re
import sys
import tempfile
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

from frontglass.errors import PictureFileError

_MOST_LETTERS = 200
_OF_DECODERS = re.compile(
    r"Corrupt JPEG data|Premature end of JPEG|Inconsistent progression|Invalid SOS|Warning: "
    r"|Unknown Adobe color transform|.*EXR_ERR_|PNG (?:warning|error)|libpng |TIFF"
    r"|\S+: .*(?:Warning|Error), |.*[Cc]orrupt"
)
"""What libraries print of damage. Other lines come from other threads, and are passed on."""
_aside = threading.RLock()


@contextmanager
def heard() -> Iterator[list[str]]:
    """Keep what decoders print away from the user, and give its lines when they are done.

    Python's own streams would not do: libraries in C write to the process' standard error.
    """
    lines: list[str] = []
    with _aside, tempfile.TemporaryFile() as kept:
        sys.stderr.flush()
        saved = os.dup(2)
        try:
            os.dup2(kept.fileno(), 2)
            yield lines
        finally:
            sys.stderr.flush()
            os.dup2(saved, 2)
            os.close(saved)
            kept.seek(0)
            for line in kept.read().decode(errors="replace").splitlines(keepends=True):
                if _OF_DECODERS.match(line):
                    lines.append(line.strip())
                else:
                    os.write(2, line.encode())


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
