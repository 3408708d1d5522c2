"""The ``frontglass`` command: a thin skin over the library."""

from __future__ import annotations

import signal
import sys

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
