"""Progress on a terminal; silence in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from frontglass.batch.run import Outcome


def with_progress(outcomes: Iterator[Outcome], total: int) -> list[Outcome]:
    """Return all outcomes, with a bar on stderr meanwhile if that is a terminal."""
    if not sys.stderr.isatty():
        return list(outcomes)
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    ended = []
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        bar = progress.add_task("stills", total=total)
        for outcome in outcomes:
            ended.append(outcome)
            progress.update(bar, advance=1, description=outcome.job.name[-40:])
    return ended
