"""Work shared among the cores that this process may use."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from contextvars import ContextVar, copy_context
from functools import lru_cache
from typing import TypeVar

Part = TypeVar("Part")
Found = TypeVar("Found")

STRIP_SAMPLES = 1 << 18
"""As much of a picture as just stays in a processor's cache. With half of it threads lose a third
of their time to each other, for only one at a time may say what comes next."""

_IS_WANTED: ContextVar[Callable[[], bool] | None] = ContextVar("is_wanted", default=None)


class GivenUp(Exception):  # noqa: N818  # no error: what was asked for
    """Nobody waits for the work any more, so it has ended half done."""


@contextmanager
def while_wanted(is_wanted: Callable[[], bool]) -> Iterator[None]:
    """Let work that is done within end by `GivenUp` once it is not wanted.

    It asks whenever it shares parts among threads, which a render does some forty times, and in
    what takes long in one thread (`end_if_unwanted`).
    """
    before = _IS_WANTED.set(is_wanted)
    try:
        yield
    finally:
        _IS_WANTED.reset(before)


def end_if_unwanted() -> None:
    """Raise `GivenUp` if nobody waits for the work any more."""
    is_wanted = _IS_WANTED.get()
    if is_wanted is not None and not is_wanted():
        raise GivenUp


def available_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def for_each(do: Callable[[Part], None], parts: Iterable[Part]) -> None:
    """Share parts among threads, in this one's context; an error in one is raised here."""
    end_if_unwanted()
    left = deque(parts)
    helpers = min(len(left), available_cores()) - 1

    def work() -> None:
        while left:
            try:
                part = left.popleft()
            except IndexError:  # Another was quicker.
                return
            do(part)

    beside = [_helpers().submit(copy_context().run, work) for _ in range(helpers)]
    try:
        work()
    except BaseException:
        left.clear()
        raise
    finally:
        # One that has not begun has nothing left to do; so parts may be shared within parts.
        wait([helper for helper in beside if not helper.cancel()])
    for helper in beside:
        if not helper.cancelled():
            helper.result()


@lru_cache(maxsize=1)
def _helpers() -> ThreadPoolExecutor:
    """Threads that help the one that shares its work; starting them takes longer than most parts.

    They are not there in a process that was forked.
    """
    return ThreadPoolExecutor(max(os.cpu_count() or 1, available_cores()))


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_helpers.cache_clear)


def meanwhile(do: Callable[[], Found]) -> Future[Found]:
    """Let another thread do something while this one goes on."""
    return _helpers().submit(do)


def in_pieces(do: Callable[[slice], None], length: int, step: int) -> None:
    """Share pieces of a length among threads."""
    for_each(do, (slice(start, min(start + step, length)) for start in range(0, length, step)))


def over_strips(
    do: Callable[[slice], None], height: int, samples_per_row: int, *, times: int = 1
) -> None:
    """Share all rows among threads, some at a time: a strip, or so many times as much.

    More at once serve where a strip takes many small steps, or none: beside a thread that is busy
    with what is no array, each strip may wait 5 ms for its turn to begin.
    """
    in_pieces(do, height, max(1, times * STRIP_SAMPLES // samples_per_row))
