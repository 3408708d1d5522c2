"""Memory that was freed: kept for what comes next, or given back to the system."""

from __future__ import annotations

import contextlib
import ctypes

M_TRIM_THRESHOLD, M_MMAP_MAX = -1, -4
"""Numbers of glibc's malloc.h."""
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
    """Give back what is kept so far, where what comes takes much and would not fit into it."""
    if _IS_KEPT:
        ctypes.CDLL(None).malloc_trim(0)
