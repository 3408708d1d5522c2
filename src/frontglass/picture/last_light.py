"""What was found in the light of the last still, for as long as that is there as it was."""

from __future__ import annotations

import weakref
import zlib
from collections.abc import Callable, Hashable
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

Found = TypeVar("Found")


class LastLight(Generic[Found]):
    """Keeps what a function finds in light, for one still and while nothing else is asked of it."""

    def __init__(self) -> None:
        self._kept: tuple[weakref.ref[NDArray[Any]], Hashable, Found] | None = None

    def of(self, light: NDArray[Any], asked: Hashable, find: Callable[[], Found]) -> Found:
        """Return what `find` finds in light; `asked` is what else that hangs on."""
        as_it_is = asked, zlib.crc32(np.ascontiguousarray(light).data)
        kept = self._kept
        if kept is None or kept[0]() is not light or kept[1] != as_it_is:
            kept = self._kept = (weakref.ref(light, self._forget), as_it_is, find())
        return kept[2]

    def once(self, light: NDArray[Any], asked: Hashable, find: Callable[[], Found]) -> Found:
        """Return the same, but keep nothing new: nobody will ask again."""
        kept = self._kept
        return find() if kept is None or kept[0]() is not light else self.of(light, asked, find)

    def _forget(self, gone: weakref.ref[NDArray[Any]]) -> None:
        kept = self._kept
        if kept is not None and kept[0] is gone:
            self._kept = None
