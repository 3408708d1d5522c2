"""The command line: which commands there are, and how the program ends."""

from __future__ import annotations

import io
import sys
from typing import Annotated

import typer

from frontglass.cli.answers import answers
from frontglass.cli.apply import apply
from frontglass.cli.batch import batch
from frontglass.cli.compare import compare
from frontglass.cli.demo import demo
from frontglass.cli.distance import distance
from frontglass.cli.encodings import encodings
from frontglass.cli.ghosts import ghosts
from frontglass.cli.grouped import register, show_flaws
from frontglass.cli.ladder import ladder
from frontglass.cli.lamps import lamps
from frontglass.cli.learn import learn
from frontglass.cli.list import list_
from frontglass.cli.live import live
from frontglass.cli.looks import looks, show
from frontglass.cli.match import match
from frontglass.cli.measure import measure
from frontglass.cli.merge import merge
from frontglass.cli.mood import mood
from frontglass.cli.scene import scene_app
from frontglass.cli.sway import sway

app = typer.Typer(
    # Plain help: the decorated kind takes as long again to load as everything else.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    no_args_is_help=True,
)
for function in (
    *(live, apply, ladder, compare, mood, answers, sway, batch, list_),
    *(looks, show, learn, measure, match, distance, lamps, ghosts, encodings, merge, demo),
):
    register(app, function)
app.add_typer(scene_app, name="scene", short_help="Keep marks of stills and what was chosen.")


def _print_version(value: bool) -> None:  # noqa: FBT001  # typer's own way of calling back
    if value:
        import frontglass

        typer.echo(f"frontglass {frontglass.__version__}")
        raise typer.Exit


@app.callback()
def frontglass(
    *,
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print the version."
        ),
    ] = False,
    debug: Annotated[
        bool, typer.Option("--debug", help="Show the whole traceback of a flaw of the program.")
    ] = False,
) -> None:
    """See what glass, nets, grease, glare and haze would do to your own stills."""
    del version  # printed by its own callback
    show_flaws(whole=debug)
    # A name that is not UTF-8 must not end a command that has done its work.
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
