"""Commands whose options come in groups, and whose errors are one line.

A group is a frozen dataclass whose fields are annotated as typer options. A command takes the
group as one keyword; on the command line its fields are options of their own.
"""

from __future__ import annotations

import dataclasses
import functools
import inspect
import os
import sys
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, cast, get_type_hints

import typer

from frontglass.cli import INTERRUPTED
from frontglass.errors import FrontglassError

NO_TEXT = {"Cc", "Cs", "Zl", "Zp"}
"""Unicode categories that end a line, steer a terminal, or stand for bytes that are no letter."""

DEBUG = "frontglass --debug COMMAND"

UsageError: type[BaseException] = typer.BadParameter.__bases__[0]
"""What typer itself tells the user."""

Command = Callable[..., None]


def register(app: typer.Typer, function: Command) -> None:
    """Add `function` to `app` as a command, its option groups spread out."""
    spread, groups = _spread(function)

    @functools.wraps(function)
    def run(**given: object) -> None:
        with user_errors():
            for name, group in groups.items():
                fields = [field.name for field in dataclasses.fields(group)]
                given[name] = group(**{field: given.pop(field) for field in fields})
            _LATER.clear()
            function(**given)
            note(*_LATER)

    run.__signature__ = spread  # type: ignore[attr-defined]  # what typer reads
    run.__annotations__ = {name: p.annotation for name, p in spread.parameters.items()}
    app.command(function.__name__.rstrip("_"))(run)


def _spread(function: Command) -> tuple[inspect.Signature, dict[str, type[Any]]]:
    """Signature of `function` with each option group replaced by its fields, and the groups."""
    hints = get_type_hints(function, include_extras=True)
    parameters: list[inspect.Parameter] = []
    groups: dict[str, type[Any]] = {}
    for name, parameter in inspect.signature(function).parameters.items():
        hint = hints[name]
        if not dataclasses.is_dataclass(hint):
            parameters.append(parameter.replace(annotation=hint))
            continue
        groups[name] = group = cast("type[Any]", hint)
        field_hints = get_type_hints(group, include_extras=True)
        for field in dataclasses.fields(group):
            missing = field.default is dataclasses.MISSING
            parameters.append(
                inspect.Parameter(
                    field.name,
                    inspect.Parameter.KEYWORD_ONLY,
                    default=inspect.Parameter.empty if missing else field.default,
                    annotation=field_hints[field.name],
                )
            )
    return inspect.Signature(parameters), groups


_shown_whole: list[bool] = []
"""Holds something while flaws are to be shown with their tracebacks."""


def show_flaws(*, whole: bool) -> None:
    """Choose whether a flaw of the program ends in its traceback or in a line."""
    _shown_whole[:] = [True] * whole


@contextmanager
def user_errors() -> Iterator[None]:
    """Turn what a user can run into one line on stderr and an exit status."""
    try:
        yield
    except FrontglassError as error:
        fail(str(error))
    except BrokenPipeError:
        # The reader (head, say) has had enough; what Python would still flush goes nowhere.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise typer.Exit(1) from None
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        fail(f"{where}{error.strerror or error}.")
    except MemoryError:
        fail("not enough memory for a still of this size.")
    except (typer.Exit, typer.Abort, UsageError):
        raise
    except Exception as error:  # A flaw of ours: a line too, and how to tell it to us.
        if _shown_whole:
            raise
        said = str(error) or "no words"
        fail(f"{type(error).__name__}: {said}. This is a flaw of frontglass; {DEBUG} shows where.")
    except KeyboardInterrupt:
        typer.echo("interrupted.", err=True)
        raise typer.Exit(INTERRUPTED) from None


def in_a_line(text: str) -> str:
    r"""Return a text with what would break its line, or is no letter at all, escaped.

    Examples
    --------
    >>> in_a_line("caf\udce9.jpg and a\nb.jpg")
    'caf\\udce9.jpg and a\\nb.jpg'
    """
    return "".join(
        letter.encode("unicode_escape").decode()
        if unicodedata.category(letter) in NO_TEXT
        else letter
        for letter in text.strip()
    )


def fail(text: str) -> None:
    """Say what is wrong in one line on stderr and leave with status 1."""
    typer.echo("error: " + in_a_line(text), err=True)
    raise typer.Exit(1) from None


_LATER: list[str] = []
"""What is said of the command line once the command has gone well: an error is one line."""


def note_later(notice: str) -> None:
    """Say a notice once the command has gone well."""
    if notice not in _LATER:
        _LATER.append(notice)


def note(*notices: str) -> None:
    """Say what was assumed, a line each, on stderr."""
    for notice in notices:
        typer.echo("note: " + in_a_line(notice), err=True)
