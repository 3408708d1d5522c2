"""Planes kept for the next still of a scene."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Lock
from typing import Any, Concatenate, Generic, ParamSpec, TypeVar

from frontglass.accuracy import ACCURACY
from frontglass.convolution.filters import Filter, Planes
from frontglass.heap import give_freed_memory_back
from frontglass.threads import for_each

How = ParamSpec("How")
Part = TypeVar("Part")
Found = TypeVar("Found")
Other = TypeVar("Other")
KEPT_BYTES = 2**26
"""Of small frames more are kept than the fewest up to here: all strengths of a look on a screen."""
REMEMBERED = 24
"""Planes that were asked for once, of which no more is known than that."""


_KEEPS_LARGE: ContextVar[bool] = ContextVar("keeps_large", default=True)
_KEEPS_NEW: ContextVar[bool] = ContextVar("keeps_new", default=True)


@contextmanager
def keeping_small_alone() -> Iterator[None]:
    """Keep no planes of large frames meanwhile, however often they are asked for."""
    before = _KEEPS_LARGE.set(False)
    try:
        yield
    finally:
        _KEEPS_LARGE.reset(before)


@contextmanager
def keeping_nothing_new() -> Iterator[None]:
    """Keep the planes that are kept already, and none that are made meanwhile."""
    before = _KEEPS_NEW.set(False)
    try:
        yield
    finally:
        _KEEPS_NEW.reset(before)


def is_small(shape: tuple[int, ...]) -> bool:
    """Whether planes of a frame, and of one four times as large, as the dark takes, are kept."""
    return shape[0] * shape[1] <= ACCURACY.kept_in_the_dark_px


def side_by_side(do: Callable[[Part], None], parts: Iterable[Part], shape: tuple[int, ...]) -> None:
    """Do parts of a small frame side by side, for much within them is not shared among threads.

    Of a large frame one goes after another, which holds memory down.
    """
    if is_small(shape):
        for_each(do, parts)
        return
    for part in parts:
        do(part)


def both(
    one: Callable[[], Found], other: Callable[[], Other], shape: tuple[int, ...]
) -> tuple[Found, Other]:
    """Return what two pieces of work find, which are done side by side on a small frame."""
    found: dict[Callable[[], Any], Any] = {}

    def do(work: Callable[[], Any]) -> None:
        found[work] = work()

    side_by_side(do, (one, other), shape)
    return found[one], found[other]


class Kept(Generic[How]):
    """What was made last of filters, kept for the next still.

    Those of a large frame are as large as the picture. They are kept from the second time on: a
    single still goes through with none of them but those at work.

    Parameters
    ----------
    make : callable (filter, shape, ...) -> Planes
        What is kept.
    most : int
        How many of them, and as many more as there is room for by `KEPT_BYTES`.
    """

    def __init__(
        self, make: Callable[Concatenate[Filter, tuple[int, int], How], Planes], most: int
    ) -> None:
        self._make, self._most = make, most
        self._made: OrderedDict[Any, Planes] = OrderedDict()
        self._asked: OrderedDict[Any, None] = OrderedDict()
        self._turn = Lock()

    def __call__(
        self, filter_: Filter, shape: tuple[int, int], *how: How.args, **named: How.kwargs
    ) -> Planes:
        """Return planes of a filter for a frame of `shape`, made now or before.

        Those that are kept cannot be written to.
        """
        key = (filter_, shape, how, tuple(named.items()))
        with self._turn:
            found = self._made.pop(key, None)
            if found is not None:
                self._made[key] = found
                return found
            is_kept = is_small(shape) or (key in self._asked and _KEEPS_LARGE.get())
            is_kept = is_kept and _KEEPS_NEW.get()
            self._asked[key] = None
            self._asked.move_to_end(key)
            while len(self._asked) > REMEMBERED:
                self._asked.popitem(last=False)
            if is_kept:
                # Room is made before it is needed.
                while len(self._made) >= self._most and not self._has_room(shape):
                    self._made.popitem(last=False)
        # Planes of a frame take most of all, and what they filter does not fit between them.
        if not is_small(shape):
            give_freed_memory_back()
        planes = self._make(filter_, shape, *how, **named)
        if not is_small(shape):
            give_freed_memory_back()
        if is_kept:
            for plane in planes:
                if plane is not None:
                    plane.flags.writeable = False
            with self._turn:
                self._made[key] = planes
        return planes

    def _has_room(self, shape: tuple[int, int]) -> bool:
        held = sum(p.nbytes for one in self._made.values() for p in one if p is not None)
        return is_small(shape) and held < KEPT_BYTES
