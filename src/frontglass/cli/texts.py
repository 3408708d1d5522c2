"""Results as a terminal or a script wants to read them."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, astuple
from typing import TYPE_CHECKING

import typer

import frontglass as fg

if TYPE_CHECKING:
    from frontglass.elements import LightPath

Record = dict[str, object]


def print_json(value: object) -> None:
    """Print a value as JSON, in UTF-8 letters, one key a line; infinity is "inf"."""
    typer.echo(json.dumps(_finite(value), indent=2, ensure_ascii=False))


def _finite(value: object) -> object:
    """Return a value with infinities as JSON can hold them."""
    if isinstance(value, dict):
        return {key: _finite(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(part) for part in value]
    return "inf" if value == math.inf else value


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


def rendered_record(result: fg.RenderedStill, recipe: fg.Recipe) -> Record:
    """Return what became of a still, as a script wants to read it."""
    return {
        "still": str(result.still),
        "out": str(result.out),
        "looks": list(map(named, recipe.looks)),
        "light_loss_stops": round(recipe.light_loss_stops, 4),
        "camera": asdict(result.camera),
        "frame_px": result.frame and list(astuple(result.frame)),
        "notices": list(result.notices),
    }


def named(look: LightPath) -> Record:
    """Return which look at which strength something is."""
    return {"name": look.name, "strength": look.strength}
