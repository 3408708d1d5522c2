"""What was found in the light of the last stills, for as long as that is there as it was."""

from __future__ import annotations

import weakref
import zlib
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from frontglass.threads import meanwhile

Found = TypeVar("Found")
MOST = 2
"""Stills of which something is kept: the live page shows one, and small pictures of it."""


class LastLight(Generic[Found]):
    """Keeps what a function finds in light, for the last stills, one answer of each."""

    def __init__(self) -> None:
        self._kept: list[tuple[weakref.ref[NDArray[Any]], Hashable, Found]] = []
        self._begun: tuple[weakref.ref[NDArray[Any]], Hashable, Future[Found]] | None = None

    def begin(self, light: NDArray[Any], asked: Hashable, find: Callable[[], Found]) -> None:
        """Let `find` begin in another thread: who asks next gets what it finds.

        Light must stay as it is until then.
        """
        self._begun = weakref.ref(light), asked, meanwhile(find)

    def of(self, light: NDArray[Any], asked: Hashable, find: Callable[[], Found]) -> Found:
        """Return what `find` finds in light; `asked` is what else that hangs on."""
        as_it_is = asked, zlib.crc32(np.ascontiguousarray(light).data)
        kept = next((kept for kept in self._kept if kept[0]() is light), None)
        if kept is None or kept[1] != as_it_is:
            kept = weakref.ref(light, self._forget), as_it_is, self._found(light, asked, find)
        others = [other for other in self._kept if other[0]() is not light]
        self._kept = [*others, kept][-MOST:]
        return kept[2]

    def once(self, light: NDArray[Any], asked: Hashable, find: Callable[[], Found]) -> Found:
        """Return the same, but keep nothing new: nobody will ask again."""
        is_known = any(kept[0]() is light for kept in self._kept)
        return self.of(light, asked, find) if is_known else self._found(light, asked, find)

    def _found(self, light: NDArray[Any], asked: Hashable, find: Callable[[], Found]) -> Found:
        begun = self._begun
        if begun is None or begun[0]() is not light or begun[1] != asked:
            return find()
        self._begun = None
        return begun[2].result()

    def _forget(self, gone: weakref.ref[NDArray[Any]]) -> None:
        self._kept = [kept for kept in self._kept if kept[0] is not gone]
