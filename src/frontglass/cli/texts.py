"""Results as a terminal or a script wants to read them."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, astuple
from typing import TYPE_CHECKING

import typer

from frontglass.cli.grouped import note

if TYPE_CHECKING:
    from frontglass.batch.run import Batch, Outcome
    from frontglass.pipeline.recipe import Recipe
    from frontglass.pipeline.still_files import RenderedStill

Record = dict[str, object]


def print_json(value: object) -> None:
    """Print a value as JSON, in UTF-8 letters, one key a line."""
    typer.echo(json.dumps(value, indent=2, ensure_ascii=False))


def table(rows: Sequence[Sequence[str]]) -> str:
    """Return rows set in columns, two spaces apart; the last column is not padded.

    Examples
    --------
    >>> print(table([["look", "loss"], ["slate-roof", "0.1"]]))
    look        loss
    slate-roof  0.1
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )


def rendered_record(result: RenderedStill, recipe: Recipe) -> Record:
    """Return what became of a still, as a script wants to read it."""
    return {
        "still": str(result.still),
        "out": str(result.out),
        "looks": [{"name": look.name, "strength": look.strength} for look in recipe.looks],
        "light_loss_stops": round(recipe.light_loss_stops, 4),
        "camera": asdict(result.camera),
        "frame_px": result.frame and list(astuple(result.frame)),
        "notices": list(result.notices),
    }


def print_plan(batch: Batch, *, as_json: bool) -> None:
    """Print what a batch would do."""
    if as_json:
        print_json(
            {
                "to_render": [{"still": str(j.still), "out": str(j.out)} for j in batch.jobs],
                "done_before": [{"still": str(j.still), "out": str(j.out)} for j in batch.done],
            }
        )
        return
    for job in batch.jobs:
        typer.echo(f"{job.still} -> {job.out}")
    for job in batch.done:
        typer.echo(f"{job.still} is done: {job.out}")


def print_outcomes(batch: Batch, outcomes: Sequence[Outcome], *, as_json: bool) -> None:
    """Print how a batch ended, failures with their reasons; with any, leave with status 1."""
    count = Counter(outcome.state for outcome in outcomes)
    failed = {
        str(outcome.job.still): str(outcome.result)
        for outcome in outcomes
        if outcome.state == "failed"
    }
    if as_json:
        print_json(
            {
                "folder": str(batch.folder),
                "rendered": count["rendered"],
                "done_before": count["done before"],
                "failed": failed,
            }
        )
    else:
        said = [f"{n} {state}" for state, n in count.items()]
        typer.echo(f"{', '.join(said)}; in {batch.folder}")
    note(*dict.fromkeys(text for outcome in outcomes for text in outcome.notices))
    for reason in failed.values():
        typer.echo(f"error: {reason}", err=True)
    if failed:
        raise typer.Exit(1)
