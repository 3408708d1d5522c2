"""The ``frontglass`` command: a thin skin over the library."""

from __future__ import annotations

import gc
import os
import signal
import sys

# Each frame is passed a few times only, and pages of 2 MB must often be made first: `apply` at 24
# megapixels took 1.6 to 2.3 s of the system with them on two busy cores, and 0.9 s without.
os.environ.setdefault("NUMPY_MADVISE_HUGEPAGE", "0")

# OpenBLAS, of which numpy and scipy bring one each, else lets threads that have nothing to do wait
# in a loop for a while: a third of the start's CPU time, and a tenth of that of `apply`.
os.environ.setdefault("OPENBLAS_THREAD_TIMEOUT", "4")

# Starting makes two hundred thousand objects that stay: looking through them frees nothing.
gc.set_threshold(200_000, 20, 20)

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
        # All is done: whoever interrupts now must not see how Python takes itself down, which takes
        # half as long when it does not look for what only holds itself.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        gc.freeze()


__all__ = ["INTERRUPTED", "main"]
