"""``frontglass looks`` and ``frontglass show``: what there is, and what it is made of."""

from __future__ import annotations

from typing import Annotated

import typer

from frontglass.cli.options import CameraOptions, Json, Strengths
from frontglass.cli.texts import print_json


def looks(*, as_json: Json = False) -> None:
    """List the looks there are, and what to watch for."""
    from frontglass.looks import catalogue

    shipped = catalogue()
    if as_json:
        print_json([{"name": x.name, "summary": x.summary, "watch": x.watch} for x in shipped])
        return
    for look in shipped:
        typer.echo(f"{look.name}\n    {look.summary}\n    watch: {look.watch}")


def show(
    look: Annotated[str, typer.Argument(metavar="LOOK", help="Name or file.", show_default=False)],
    *,
    strengths: Strengths = None,
    camera: CameraOptions,
    as_json: Json = False,
) -> None:
    """Show what a look is made of and what it does, in numbers."""
