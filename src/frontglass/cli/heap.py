"""Memory of a command that ends when it has done its work."""

from __future__ import annotations

import contextlib
import ctypes

M_TRIM_THRESHOLD, M_MMAP_MAX = -1, -4
"""Numbers of glibc's malloc.h."""
NEVER = (1 << 31) - 1


def keep_freed_memory() -> None:
    """Let glibc hand out again what was freed, rather than give it back to the system.

    Else each frame is memory of its own, which the system clears page by page when it is first
    written: of `apply` at 24 megapixels a fifth of the time through tallow, a tenth through
    harbour-night. At its peak a command holds 0.1 frames more, of what lies free between others.
    Other C libraries know no such thing, and stay as they are.
    """
    with contextlib.suppress(AttributeError, OSError, TypeError):
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(M_MMAP_MAX, 0)
        mallopt(M_TRIM_THRESHOLD, NEVER)
