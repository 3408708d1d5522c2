"""What a batch would do, and what it did, as a terminal or a script wants to read it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from frontglass.cli.grouped import in_a_line, note
from frontglass.cli.texts import print_json

if TYPE_CHECKING:
    from frontglass.batch.finding import Found
    from frontglass.batch.run import Batch, Outcome
    from frontglass.batch.work import Job

NAMES_AT_MOST = 4


def print_plan(batch: Batch, *, as_json: bool) -> None:
    """Print what a batch would do."""
    if as_json:
        print_json(
            {
                "to_render": [_job_record(job) for job in batch.jobs],
                "done_before": [_job_record(job) for job in batch.done],
                "left_alone": [str(outcome.result) for outcome in batch.kept],
                "cannot_be_read": [str(path) for path in batch.found.unread],
            }
        )
        return
    for job in batch.jobs:
        typer.echo(in_a_line(f"{job.still} -> {job.out}"))
    for job in batch.done:
        typer.echo(in_a_line(f"{job.still} is done: {job.out}"))
    for outcome in batch.kept:
        typer.echo(in_a_line(f"{outcome.job.still} would be left out: {outcome.result}"))
    say_left_out(batch.found)


def print_outcomes(
    batch: Batch, outcomes: Sequence[Outcome], contact: Path | None, *, as_json: bool
) -> None:
    """Print how a batch ended, failures with their reasons; with any, leave with status 1."""
    count = Counter(outcome.state for outcome in outcomes)
    failed = {str(o.job.still): str(o.result) for o in outcomes if o.state == "failed"}
    kept = {str(o.job.out): str(o.result) for o in outcomes if o.state == "left alone"}
    if as_json:
        print_json(
            {
                "folder": str(batch.folder),
                "rendered": count["rendered"],
                "done_before": count["done before"],
                "failed": failed,
                "left_alone": kept,
                "cannot_be_read": [str(path) for path in batch.found.unread],
                "contact": contact and str(contact),
            }
        )
    else:
        said = [f"{n} {state}" for state, n in count.items()]
        typer.echo(f"{', '.join(said)}; in {batch.folder}")
        if contact is not None:
            typer.echo(str(contact))
    note(*notices_by_still(_told(batch, outcomes)))
    for reason in (*failed.values(), *kept.values()):
        typer.echo("error: " + in_a_line(reason), err=True)
    if say_left_out(batch.found) or failed or kept:
        raise typer.Exit(1)


def say_left_out(found: Found) -> bool:
    """Name what lies among the stills and cannot be read; return whether stills may be missed."""
    from frontglass.batch.finding import AS_WHAT

    if found.ours:
        names = names_text(path.name for path in found.ours)
        note(f"left out, made by frontglass of stills beside them: {names}.")
    if found.others:
        note(f"left out, no pictures: {names_text(path.name for path in found.others)}.")
    for still, name in found.told_apart:
        note(f"{still}: another still has its name; its pictures are called {name.stem}.")
    for path in found.unread:
        kind = path.suffix.lstrip(".").upper()
        reason = f"{path}: is {kind}, which cannot be read; {AS_WHAT}."
        typer.echo("error: " + in_a_line(reason), err=True)
    return bool(found.unread)


def notices_by_still(told: Iterable[tuple[str, Sequence[str]]]) -> list[str]:
    """Return each notice once, with the names of the stills that it is about.

    Examples
    --------
    >>> notices_by_still([("a.jpg", ["no lens"]), ("b.jpg", ["no lens"])])
    ['a.jpg, b.jpg: no lens']
    """
    about: dict[str, dict[str, None]] = {}
    for name, notices in told:
        for notice in notices:
            about.setdefault(notice, {})[name] = None
    return [f"{names_text(names)}: {notice}" for notice, names in about.items()]


def _told(batch: Batch, outcomes: Sequence[Outcome]) -> Iterator[tuple[str, list[str]]]:
    """Yield what was told of each still, and of its single pictures where they differ."""
    by_still: dict[Path, list[Outcome]] = {}
    for outcome in outcomes:
        if outcome.state == "rendered":
            by_still.setdefault(outcome.job.still, []).append(outcome)
    for still, ended in by_still.items():
        common = [
            notice
            for notice in ended[0].notices
            if all(notice in outcome.notices for outcome in ended)
        ]
        yield relative_name(still, batch.found.root), common
        for outcome in ended:
            yield outcome.job.name, [one for one in outcome.notices if one not in common]


def relative_name(still: Path, root: Path) -> str:
    """Return a still's name below the folder that all stills share."""
    try:
        return still.absolute().relative_to(root.absolute()).as_posix()
    except ValueError:
        return still.name


def names_text(names: Iterable[str]) -> str:
    """Return names in a row, and how many more there are.

    Examples
    --------
    >>> names_text(f"{n}.jpg" for n in range(6))
    '0.jpg, 1.jpg, 2.jpg, 3.jpg and 2 more'
    """
    every = list(names)
    said = ", ".join(every[:NAMES_AT_MOST])
    more = len(every) - NAMES_AT_MOST
    return f"{said} and {more} more" if more > 0 else said


def _job_record(job: Job) -> dict[str, str]:
    return {"still": str(job.still), "out": str(job.out)}
