"""The ``frontglass`` command: a thin skin over the library."""

from __future__ import annotations

import os
import signal
import sys

# A command passes each frame a few times only. Pages of 2 MB are often not there and must be made
# 24 megapixels took 1.6 to 2.3 s of the system with them, and 0.9 s without.
os.environ.setdefault("NUMPY_MADVISE_HUGEPAGE", "0")

INTERRUPTED = 130
"""Exit status of a program ended by an interrupt: 128 + the signal's number, as shells have it."""


def main() -> None:
    """Run the command line; an interrupt ends it in a word, while it is being imported too."""
    try:
        from frontglass.cli.app import app

        app()
    except KeyboardInterrupt:  # Before a command has begun, or after it has ended.
        sys.stderr.write("interrupted.\n")
        raise SystemExit(INTERRUPTED) from None
    finally:
        # All is done: whoever interrupts now must not see how Python takes itself down.
        signal.signal(signal.SIGINT, signal.SIG_IGN)


__all__ = ["INTERRUPTED", "main"]
