"""Answers to a board, through whatever mails do to a text, and into the scene."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from frontglass.cli.app import app
from frontglass.errors import FrontglassError
from frontglass.scene.reading import read_scene
from frontglass.sheets.answers import (
    Board,
    BoardFrame,
    answers_from_text,
    hearts_of,
    read_answers,
    read_board,
)

BOARD = Board(
    "0f3a9c21",
    "After the last ferry",
    (
        BoardFrame("1A", "gate 2.png", "gate", "late-tram:1/2"),
        BoardFrame("1B", "gate 2.png", "gate", "late-tram:1/2+slate-roof:1/4"),
        BoardFrame("12AB", "door.png", "door", "slate-roof:1"),
    ),
)


def told(text: str):
    return [(a.frame.id, a.who, a.has_heart, a.note) for a in answers_from_text(text, BOARD)]


@pytest.mark.parametrize(
    "heart", ["\u2665", "\u2665\ufe0f", "\u2764\ufe0f", "<3"], ids=["text", "emoji", "red", "ascii"]
)
def test_mails_do_no_harm(heart):
    text = (
        "Dear all,\r\nhere it is, 1A is lovely.\r\n\r\n"
        "> > frontglass board 0f3a9c21\r\n> > from:  Ines & Co \r\n"
        f"> > 1B {heart} Softer than I thought, and it\r\n> > stays so\r\n> >\r\n"
        f"> > 12AB{heart}\r\n> > 1A: not on her <b>face</b>\r\n> > end of answers\r\n1A no"
    )
    assert told(text) == [
        ("1B", "Ines & Co", True, "Softer than I thought, and it stays so"),
        ("12AB", "Ines & Co", True, ""),
        ("1A", "Ines & Co", False, "not on her <b>face</b>"),
    ]


def test_nothing_said_is_nothing():
    assert told("frontglass board 0f3a9c21\nfrom:\nend of answers\n") == []


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "names no board"),
        ("frontglass board 00000000\n1A <3", "another board"),
        ("frontglass board 0f3a9c21\n7C <3", "7C is no frame"),
    ],
)
def test_what_is_no_answer_is_one_line(text, reason):
    with pytest.raises(FrontglassError, match=reason):
        answers_from_text(text, BOARD)


def test_hearts_are_counted():
    text = "frontglass board 0f3a9c21\n1A <3\n1B no"
    assert hearts_of([*answers_from_text(text, BOARD)] * 2) == {"1A": 2, "1B": 0}


def test_files_that_are_none(tmp_path):
    path = tmp_path / "board.html"
    for content in (b"", b"<html>", b'<script type="application/json" id="board">{}</script>'):
        path.write_bytes(content)
        with pytest.raises(FrontglassError, match="is no board"):
            read_board(path)
    with pytest.raises(FrontglassError, match="cannot be read"):
        read_board(tmp_path / "none.html")
    with pytest.raises(FrontglassError, match="cannot be read"):
        read_answers(tmp_path / "none.txt", BOARD)


def test_from_the_board_into_the_scene_and_from_there_into_batch(shoot, tmp_path, monkeypatch):
    def run(*words):
        return CliRunner().invoke(app, [str(word) for word in words])

    shoot("gate 2.png"), shoot("door.png", seed=2)
    monkeypatch.chdir(tmp_path)
    assert run("scene", "gate 2.png", "door.png").exit_code == 0
    run("scene", "camera", "--title", "After the last ferry", "--lens", "50mm", "--stop", "2.8")
    kept = run("scene", "keep", "slate-roof:1/4", "late-tram:1/2+powder-room:1/4")
    assert kept.exit_code == 0, kept.output
    board = run("mood", "gate 2.png", "door.png", "-o", "board", "--sensor", "super35")
    assert board.exit_code == 0, board.output
    text = (tmp_path / "board" / "board.html").read_text(encoding="utf-8")
    assert "<h1>After the last ferry</h1>" in text
    read = read_board(tmp_path / "board" / "board.html")
    assert [(f.id, f.still, f.looks) for f in read.frames] == [
        ("1A", "gate 2.png", "slate-roof:1/4"),
        ("1B", "gate 2.png", "late-tram:1/2+powder-room:1/4"),
        ("2A", "door.png", "slate-roof:1/4"),
        ("2B", "door.png", "late-tram:1/2+powder-room:1/4"),
    ]
    reply = f"frontglass board {read.id}\nfrom: Ines\n2B \u2665 calm\n1A too bright\n"
    (tmp_path / "ines.txt").write_text(reply, encoding="utf-8")
    result = run("answers", "board", "ines.txt", "--keep")
    assert result.exit_code == 0, result.output
    assert "2B  1       door.png    late-tram:1/2+powder-room:1/4  Ines: calm" in result.stdout
    choice = read_scene(tmp_path / "scene.toml").choices[-1]
    assert (choice.stills, choice.hearts, choice.why) == (("door.png",), 1, "Ines: calm")
    again = run("answers", "board", "ines.txt", "--keep", "--json")
    assert json.loads(again.stdout.partition("\nscene.toml")[0])["answers"][0]["heart"] is True
    assert len(read_scene(tmp_path / "scene.toml").choices) == 3
    listed = run("list", "--stand-ins", "0", "--sensor", "super35", "--json")
    assert [(one["look"], one["stills"]) for one in json.loads(listed.stdout)] == [
        ("slate-roof", []),
        ("late-tram", []),
        ("powder-room", []),
    ]
    assert run("list", "--no-scene").exit_code == 2
    # What was made lies among the stills, and is none; nor is anything kept for a stranger.
    (tmp_path / "else").mkdir()
    shoot("else/stray.png", seed=3)
    shown = run("batch", ".", "-o", "plan", "--dry-run")
    assert shown.exit_code == 0, shown.output
    assert shown.stdout.count(" -> ") == 4 + 2 * ("stray" in shown.stdout)
    assert "board_01" not in shown.output
    # The same choice, kept for all and for one still, is one picture of that still.
    made = run("batch", "door.png", "-o", "out", "--jobs", 1, "--patience", "inf", "--no-contact")
    assert made.exit_code == 0, made.output
    assert {path.name for path in (tmp_path / "out").glob("*.png")} == {
        "door_slate-roof_1-4.png",
        "door_late-tram_1-2_powder-room_1-4.png",
    }
