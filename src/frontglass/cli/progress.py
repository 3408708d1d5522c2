"""Progress on a terminal; silence in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

Item = TypeVar("Item")

LABEL_LETTERS = 40


def shown(items: Iterable[Item], total: int, label: Callable[[Item], str]) -> Iterator[Item]:
    """Yield all items, with a bar on stderr meanwhile if that is a terminal.

    Parameters
    ----------
    items : iterable
        What is worked through.
    total : int
        How many there are.
    label : callable
        What to call an item beside the bar.
    """
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
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        bar = progress.add_task("", total=total)
        for item in items:
            progress.update(bar, description=label(item)[-LABEL_LETTERS:])
            yield item
            progress.advance(bar)
