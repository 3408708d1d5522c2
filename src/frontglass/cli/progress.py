"""Progress on a terminal; silence in a pipe."""

from __future__ import annotations

import itertools
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

Item = TypeVar("Item")

LABEL_LETTERS = 40
PATIENCE_S, TICK_S = 2.0, 0.2
"""After how long a step says that it is still at work, and how often it says so anew."""
CLEARED = "\r\x1b[2K"
"""To the start of the terminal's line, and nothing on it."""


def shown(items: Sequence[Item], label: Callable[[Item], str] = str) -> Iterator[Item]:
    """Yield all items, with a bar on stderr meanwhile if that is a terminal."""
    return shown_of(len(items), items, label)


def shown_of(total: int, items: Iterable[Item], label: Callable[[Item], str]) -> Iterator[Item]:
    """Yield all of so many items as they come, with a bar as `shown` has it."""
    if not sys.stderr.isatty():
        yield from items
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    columns = (
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(
        *columns, console=Console(stderr=True), transient=True, redirect_stdout=False
    ) as progress:
        bar = progress.add_task("", total=total)
        for item in items:
            progress.update(bar, description=label(item)[-LABEL_LETTERS:])
            yield item
            progress.advance(bar)


@contextmanager
def working(what: str) -> Iterator[Callable[[str], None]]:
    """Say on a terminal what is being done, and for how long, if it takes more than two seconds.

    Nothing may be printed meanwhile. What it gives is called with what is being done from then on.
    """
    said = [what]
    if not sys.stderr.isatty():
        yield said.append
        return
    over = threading.Event()
    ticker = threading.Thread(target=_tick, args=(said, over), daemon=True)
    ticker.start()
    try:
        yield said.append
    finally:
        over.set()
        ticker.join()


def _tick(said: list[str], over: threading.Event) -> None:
    since = time.monotonic()
    if over.wait(PATIENCE_S):
        return
    for sign in itertools.cycle("|/-\\"):
        print(
            f"{CLEARED}{sign} {said[-1][-LABEL_LETTERS:]}, {time.monotonic() - since:.0f} s",
            end="",
            file=sys.stderr,
            flush=True,
        )
        if over.wait(TICK_S):
            break
    print(CLEARED, end="", file=sys.stderr, flush=True)
