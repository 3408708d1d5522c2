"""``frontglass encodings``: names that --encoding and --view-from take."""

from __future__ import annotations

from typing import Annotated

import typer

from frontglass.cli.options import Json
from frontglass.cli.texts import print_json, table


def encodings(
    *,
    find: Annotated[
        str | None,
        typer.Option(metavar="WORD", help="Only those with this word: log, 709, linear."),
    ] = None,
    as_json: Json = False,
) -> None:
    """List encodings that stills may be in.

    They are those of $OCIO, else of the studio configuration that OpenColorIO carries.
    """
    from frontglass.files.spaces import named_spaces

    found = named_spaces()
    if find is not None:
        word = find.lower()
        found = [
            one for one in found if any(word in text.lower() for text in (*one.aliases, *one[:2]))
        ]
    if as_json:
        print_json([one._asdict() for one in found])
    elif not found:
        typer.echo("none")
    else:
        typer.echo(table([["name", "kind"], *([one.name, one.kind] for one in found)]))
