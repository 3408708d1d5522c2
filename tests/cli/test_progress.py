"""What a terminal sees meanwhile, and what an interrupt leaves."""

from __future__ import annotations

import io
import sys
import time

import pytest
from typer.testing import CliRunner

from frontglass.cli import progress
from frontglass.cli.app import app
from frontglass.cli.progress import CLEARED, shown, working
from frontglass.pipeline.recipe import Recipe

CAMERA = ("--lens", "50mm", "--stop", "2.8", "--sensor", "super35")


class Terminal(io.StringIO):
    """A stream that says it is a terminal, or not."""

    def __init__(self, is_terminal: bool = True) -> None:  # noqa: FBT001, FBT002
        super().__init__()
        self._is_terminal = is_terminal

    def isatty(self) -> bool:
        return self._is_terminal


def terminal(monkeypatch) -> Terminal:
    """Make a terminal of stderr; from within a test, for pytest sets it anew before."""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(progress, "PATIENCE_S", 0.05)
    monkeypatch.setattr(progress, "TICK_S", 0.02)
    return terminal


def test_a_long_step_says_what_it_is_and_leaves_no_trace(monkeypatch):
    seen = terminal(monkeypatch)
    with working("reading scout.jpg"):
        time.sleep(0.2)
    said = seen.getvalue()
    assert said.count("reading scout.jpg, ") >= 2
    assert said.endswith(CLEARED)


def test_a_short_step_says_nothing(monkeypatch):
    seen = terminal(monkeypatch)
    with working("reading scout.jpg"):
        pass
    assert seen.getvalue() == ""


def test_nothing_is_said_in_a_pipe(monkeypatch):
    pipe = Terminal(is_terminal=False)
    monkeypatch.setattr(sys, "stderr", pipe)
    monkeypatch.setattr(progress, "PATIENCE_S", 0.0)
    with working("reading"):
        time.sleep(0.05)
    assert list(shown([1, 2])) == [1, 2]
    assert pipe.getvalue() == ""


def test_an_error_ends_what_is_said(monkeypatch):
    seen = terminal(monkeypatch)

    def divide():
        with working("dividing"):
            time.sleep(0.15)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        divide()
    assert "dividing, " in seen.getvalue()
    assert seen.getvalue().endswith(CLEARED)


@pytest.mark.parametrize("after", [0, 1])
@pytest.mark.parametrize(
    "command",
    [
        ("apply", "IN", "--look", "slate-roof", "--look", "late-tram"),
        ("compare", "IN", "--look", "slate-roof", "-o", "OUT.png"),
        ("ladder", "IN", "--look", "slate-roof", "-o", "OUT.png"),
        ("mood", "IN", "IN2", "--look", "slate-roof", "-o", "OUT"),
        (
            "batch",
            "IN",
            "IN2",
            "--look",
            "slate-roof",
            "-o",
            "OUT",
            "--jobs",
            "1",
            "--patience",
            "inf",
        ),
    ],
    ids=lambda words: words[0],
)
def test_an_interrupt_is_one_line_and_leaves_nothing_half_made(
    shoot, tmp_path, monkeypatch, command, after
):
    places = {"IN": shoot("in/one.png"), "IN2": shoot("in/two.png"), "OUT": tmp_path / "out"}
    places["OUT.png"] = tmp_path / "out.png"
    names = ["render_picture"] if command[0] == "batch" else []
    calls = []

    def interrupted(*words, **how):
        calls.append(words)
        if len(calls) > after:
            raise KeyboardInterrupt
        return whole(*words, **how)

    if names:
        from frontglass.batch import work

        whole = work.render_picture
        monkeypatch.setattr(work, "render_picture", interrupted)
    elif command[0] in {"apply", "mood"}:
        whole = Recipe.rendered
        monkeypatch.setattr(Recipe, "rendered", interrupted)
    else:
        from frontglass.pipeline.rendering import Conditions

        whole = Conditions.seen
        monkeypatch.setattr(Conditions, "seen", interrupted if not after else whole)
        if after:
            from frontglass.sheets import sheet

            monkeypatch.setattr(sheet, "write_whole", _filled_and_interrupted)
    words = [str(places.get(word, word)) for word in command]
    result = CliRunner().invoke(app, [*words, *CAMERA])
    assert result.exit_code == 130
    assert result.stderr.endswith("interrupted.\n")
    assert result.stderr.count("interrupted") == 1
    left = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    left -= {"in/one.png", "in/two.png", "out/frontglass-batch.json"}
    made = {"apply": {"in/one_slate-roof_1.png"}, "batch": {"out/one_slate-roof_1.png"}}
    assert left == (made.get(command[0], set()) if after else set())


def _filled_and_interrupted(path, write):
    from frontglass.files.whole import write_whole

    def cut_short(beside):
        write(beside)
        raise KeyboardInterrupt

    write_whole(path, cut_short)
