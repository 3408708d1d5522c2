"""Reading a picture only as finely as it is going to be shown, where its decoder can."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

PARTS = (8, 4, 2)
"""Of its size a JPEG can be decoded at one over these."""
_longest: ContextVar[int | None] = ContextVar("draft_longest_px", default=None)


@contextmanager
def draft(longest_px: int) -> Iterator[None]:
    """Let JPEG files be read coarser meanwhile, but no shorter than that along the longer side.

    Codes are averaged then, not light: at hard edges a draft differs from the reduced picture.
    """
    before = _longest.set(longest_px)
    try:
        yield
    finally:
        _longest.reset(before)


def draft_parts(size: tuple[int, int]) -> int:
    """Return by how much a JPEG of that size is divided now; 1 leaves it whole."""
    longest = _longest.get()
    if longest is None:
        return 1
    return next((parts for parts in PARTS if max(size) // parts >= longest), 1)
