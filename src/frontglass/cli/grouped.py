"""Commands whose options come in groups, and whose errors are one line.

A group is a frozen dataclass whose fields are annotated as typer options, or are groups. A command
takes it as one keyword; on the command line its fields are options of their own.
"""

from __future__ import annotations

import dataclasses
import functools
import inspect
import os
import sys
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, cast, get_type_hints

import typer

from frontglass.checks import NO_TEXT
from frontglass.cli import INTERRUPTED
from frontglass.errors import FrontglassError

DEBUG = "frontglass --debug COMMAND"

UsageError: type[BaseException] = typer.BadParameter.__bases__[0]
"""What typer itself tells the user."""

Command = Callable[..., None]


def register(app: typer.Typer, function: Command) -> None:
    """Add `function` to `app` as a command, its option groups spread out."""
    hints = get_type_hints(function, include_extras=True)
    spread = [
        option
        for name, parameter in inspect.signature(function).parameters.items()
        for option in _spread(hints[name], parameter)
    ]

    @functools.wraps(function)
    def run(**given: object) -> None:
        with user_errors():
            values = {name: _value(name, hint, given) for name, hint in hints.items()}
            del values["return"]
            _LATER.clear()
            function(**values)
            note(*_LATER)

    run.__signature__ = inspect.Signature(spread)  # type: ignore[attr-defined]  # what typer reads
    run.__annotations__ = {option.name: option.annotation for option in spread}
    app.command(function.__name__.rstrip("_"))(run)


def _spread(hint: Any, parameter: inspect.Parameter) -> Iterator[inspect.Parameter]:
    """Yield a parameter as it is typed: an option group as its fields, groups in it as theirs."""
    if not dataclasses.is_dataclass(hint):
        yield parameter.replace(annotation=hint)
        return
    hints = get_type_hints(hint, include_extras=True)
    for name, own in inspect.signature(cast("type[Any]", hint)).parameters.items():
        yield from _spread(hints[name], own)


def _value(name: str, hint: Any, given: Mapping[str, object]) -> object:
    """Return what was given for a parameter: a group is made of what was given for its fields."""
    if not dataclasses.is_dataclass(hint):
        return given.get(name)
    own = get_type_hints(hint, include_extras=True)
    return cast("type[Any]", hint)(
        **{name: _value(name, part, given) for name, part in own.items()}
    )


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
