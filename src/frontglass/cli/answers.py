"""``frontglass answers``: what clients said of a board, and into the scene with it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import Json
from frontglass.cli.scene_files import SceneFile, edited, scene_at, scene_file
from frontglass.cli.texts import Record, print_json, table

if TYPE_CHECKING:
    from frontglass.sheets.answers import Answer, Board, BoardFrame


def answers(
    board: Annotated[
        Path,
        typer.Argument(metavar="BOARD", help="board.html, or its folder.", show_default=False),
    ],
    replies: Annotated[
        list[Path],
        typer.Argument(metavar="ANSWERS...", help="Texts that came back.", show_default=False),
    ],
    *,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep what has hearts as choices of the scene.")
    ] = False,
    scene: SceneFile = None,
    as_json: Json = False,
) -> None:
    """Read what came back to a board.

    Hearts and notes, frame by frame; --keep makes choices of the scene of what is liked.
    """
    from frontglass.sheets.answers import hearts_of, read_answers, read_board

    read = read_board(board / "board.html" if board.is_dir() else board)
    told = [answer for reply in replies for answer in read_answers(reply, read)]
    if as_json:
        print_json(answers_record(read, told))
    else:
        typer.echo("\n".join(answer_lines(read, told)))
    if keep:
        path = scene_file(scene)
        scene_at(path)
        liked = sum(map(bool, hearts_of(told).values()))
        after = edited(path, lambda one: with_answers(one, read, told))
        typer.echo(f"{path}: {liked} of {len(after.choices)} choices have hearts from here")


def answer_lines(board: Board, told: Sequence[Answer]) -> Iterator[str]:
    """Yield what was said in lines of text, what is liked most first."""
    from frontglass.sheets.answers import hearts_of

    hearts = hearts_of(told)
    frames = [frame for frame in board.frames if frame.id in hearts]
    frames.sort(key=lambda frame: -hearts[frame.id])
    if not frames:
        yield "nothing was said"
        return
    rows = [["", "hearts", "still", "looks", "notes"]]
    for frame in frames:
        notes = " | ".join(_notes(told, frame))
        rows.append([frame.id, str(hearts[frame.id]), frame.still, frame.looks, notes])
    yield table([[" ".join(cell.split()) for cell in row] for row in rows])


def _notes(told: Sequence[Answer], frame: BoardFrame) -> list[str]:
    """Return what was written of a frame, and by whom."""
    return [": ".join(filter(None, (a.who, a.note))) for a in told if a.frame is frame and a.note]


def answers_record(board: Board, told: Sequence[Answer]) -> Record:
    """Return what was said as a script wants to read it."""
    return {
        "board": board.id,
        "title": board.title,
        "answers": [
            {
                "frame": one.frame.id,
                "still": one.frame.still,
                "looks": one.frame.looks,
                "from": one.who,
                "heart": one.has_heart,
                "note": one.note,
            }
            for one in told
        ],
    }


def with_answers(scene: fg.Scene, board: Board, told: Sequence[Answer]) -> fg.Scene:
    """Return a scene that keeps what is liked: how many hearts, and why."""
    from frontglass.scene.changes import with_choice
    from frontglass.sheets.answers import hearts_of

    hearts = hearts_of(told)
    for frame in board.frames:
        if not hearts.get(frame.id):
            continue
        still = _still_of(scene, frame.still)
        if still is None:
            note(f"{frame.still}: is no still of {scene.path}; its choice was not kept.")
            continue
        choice = fg.SceneChoice(
            looks=tuple(frame.looks.split("+")),
            stills=(still,),
            hearts=hearts[frame.id],
            why=" / ".join(_notes(told, frame)) or None,
        )
        scene = with_choice(scene, choice)
    return scene


def _still_of(scene: fg.Scene, name: str) -> str | None:
    """Return what a scene calls a still of a board: by its path, else by a name that is unique."""
    found = scene.named(name)
    if found is not None:
        return found.file
    same = [one.file for one in scene.stills if Path(one.file).name == Path(name).name]
    return same[0] if len(same) == 1 else None
