"""Memory that was freed: kept for what comes next, or given back to the system."""

from __future__ import annotations

import contextlib
import ctypes

M_TRIM_THRESHOLD, M_MMAP_THRESHOLD, M_MMAP_MAX = -1, -3, -4
"""Numbers of glibc's malloc.h."""
LARGEST_THRESHOLD, USUAL_MAX = 32 << 20, 1 << 16
"""The largest that glibc takes, and what it has by itself."""
NEVER = (1 << 31) - 1

_IS_KEPT: list[bool] = []
"""Holds something once freed memory is kept."""


def keep_freed_memory() -> None:
    """Let glibc hand out again what was freed, for a command that ends when it has done its work.

    Else each frame is memory of its own, which the system clears page by page when it is first
    written: of `apply` at 24 megapixels a fifth of the time through tallow, a tenth through
    harbour-night. Other C libraries know no such thing, and stay as they are.
    """
    with contextlib.suppress(AttributeError, OSError, TypeError):
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(M_MMAP_MAX, 0)
        mallopt(M_TRIM_THRESHOLD, NEVER)
        _IS_KEPT[:] = [True]


def give_freed_memory_back() -> None:
    """Give back what is kept so far, and from now on keep no frames: what comes takes much of them.

    Their planes would not fit into one another's places: 0.3 frames at the peak of old-matinee.
    """
    if _IS_KEPT:
        c_library = ctypes.CDLL(None)
        c_library.malloc_trim(0)
        c_library.mallopt(M_MMAP_THRESHOLD, LARGEST_THRESHOLD)
        c_library.mallopt(M_MMAP_MAX, USUAL_MAX)
