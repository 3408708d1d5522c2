"""The command line: which commands there are, and how the program ends."""

from __future__ import annotations

import io
import sys
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from frontglass.cli.grouped import register, show_flaws

PLAIN: dict[str, Any] = {
    # Plain help: the decorated kind takes as long again to load as everything else.
    "rich_markup_mode": None,
    "pretty_exceptions_enable": False,
    "add_completion": False,
}
COMMANDS = (
    *("live", "apply", "ladder", "compare", "mood", "answers", "sway", "batch", "list", "looks"),
    *("show", "learn", "measure", "match", "distance", "lamps", "ghosts", "encodings", "merge"),
    *("demo", "scene"),
)


class Commands(TyperGroup):
    """The commands, each loaded when it is asked for: all take longer than many a command."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Names of all, as the help lists them."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Return one, or None if there is none of that name."""
        del ctx
        if cmd_name in COMMANDS and cmd_name not in self.commands:
            self.commands[cmd_name] = _loaded(cmd_name)
        return self.commands.get(cmd_name)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find what was asked for; of what is none it says which is close, so all are loaded."""
        if args and args[0] not in COMMANDS:
            for name in COMMANDS:
                self.get_command(ctx, name)
        return super().resolve_command(ctx, args)


def _loaded(name: str) -> Any:
    home = import_module(f"frontglass.cli.{'looks' if name == 'show' else name}")
    if name == "scene":
        group: Any = typer.main.get_group(home.scene_app)
        group.name, group.short_help = name, "Keep marks of stills and what was chosen."
        return group
    single = typer.Typer(**PLAIN)
    register(single, getattr(home, "list_" if name == "list" else name))
    return typer.main.get_command(single)


app = typer.Typer(cls=Commands, no_args_is_help=True, **PLAIN)


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
