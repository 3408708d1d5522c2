"""Planes that are kept for the next still: a few, or more where they are small."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable

from frontglass.convolution.filters import Planes

KEPT_BYTES = 2**27
"""More than the fewest are kept up to here: all strengths of a look, at the size of a screen."""


class KeptPlanes:
    """Planes that a function made, kept by what it was asked.

    Parameters
    ----------
    make : callable
        Makes planes.
    fewest : int
        So many are kept however large they are.
    """

    def __init__(self, make: Callable[..., Planes], *, fewest: int) -> None:
        self._make, self._fewest = make, fewest
        self._kept: dict[Hashable, Planes] = {}
        self._lock = threading.Lock()

    def __call__(self, *asked: Hashable) -> Planes:
        """Return planes; those that were wanted least lately make room."""
        with self._lock:
            planes = self._kept.pop(asked, None)
            if planes is not None:
                self._kept[asked] = planes
                return planes
        planes = self._make(*asked)
        with self._lock:
            self._kept[asked] = planes
            held = sum(map(_bytes, self._kept.values()))
            while len(self._kept) > self._fewest and held > KEPT_BYTES:
                held -= _bytes(self._kept.pop(next(iter(self._kept))))
        return planes


def _bytes(planes: Planes) -> int:
    return sum(plane.nbytes for plane in planes if plane is not None)
