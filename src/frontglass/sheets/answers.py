"""What a client answers to a board: hearts and notes, as a short text that survives any mail."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from frontglass.errors import FrontglassError

FORMAT = 1
LARGEST_ANSWER_BYTES = 1_000_000
HEARTS = ("\u2665", "\u2764", "<3")
HEAD = re.compile(r"frontglass board ([0-9a-f]{8})\b")
LINE = re.compile(r"([1-9][0-9]{0,4}[A-Z]{1,3})(?=[\s:\u2665\u2764<]|$)\s*(.*)", re.DOTALL)
END = "end of answers"


@dataclass(frozen=True, slots=True)
class BoardFrame:
    """A frame of a board that may be answered to, called such as "3B" there."""

    id: str
    still: str
    caption: str
    """Its still's file, and what that is called."""
    looks: str
    """As commands read them."""


@dataclass(frozen=True, slots=True)
class Board:
    """What is needed to read answers to a board; its id tells boards apart."""

    id: str
    title: str
    frames: tuple[BoardFrame, ...]

    @property
    def record(self) -> dict[str, object]:
        """The board as its file holds it."""
        frames = [[f.id, f.still, f.caption, f.looks] for f in self.frames]
        return {"format": FORMAT, "id": self.id, "title": self.title, "frames": frames}


@dataclass(frozen=True, slots=True)
class Answer:
    """What somebody said of a frame."""

    frame: BoardFrame
    who: str
    """Empty if they did not say."""
    has_heart: bool
    note: str


def read_board(path: Path) -> Board:
    """Return the board that an HTML file holds; it must be one of this version."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no text"
        raise FrontglassError(f"{path}: cannot be read ({reason}).") from None
    held = re.search(r'<script type="application/json" id="board">(.*?)</script>', text, re.DOTALL)
    try:
        record = json.loads(held[1] if held else "")
        if record["format"] != FORMAT:
            raise ValueError
        frames = tuple(BoardFrame(*map(str, frame)) for frame in record["frames"])
        return Board(str(record["id"]), str(record["title"]), frames)
    except (ValueError, KeyError, TypeError, RecursionError):
        msg = f"{path}: is no board of this version; name the board.html that mood made."
        raise FrontglassError(msg) from None


def read_answers(path: Path, board: Board) -> list[Answer]:
    """Return what a file of answers says of a board; one to another board is refused."""
    try:
        if path.stat().st_size > LARGEST_ANSWER_BYTES:
            raise FrontglassError(f"{path}: is a short text; this one has more than 1 MB.")
        text = path.read_text(encoding="utf-8-sig", errors="replace")
    except OSError as error:
        raise FrontglassError(f"{path}: cannot be read ({error.strerror}).") from None
    return answers_from_text(text, board, str(path))


def answers_from_text(text: str, board: Board, origin: str = "answers") -> list[Answer]:
    r"""Return what a text says of a board's frames, if it names that board and no frame it lacks.

    Marks that mails put before quoted lines, and line breaks that they add, do no harm; what
    stands before the line that names the board is not read.

    Examples
    --------
    >>> board = Board("0f3a9c21", "After", (BoardFrame("1A", "gate.jpg", "gate", "late-tram:1/2"),))
    >>> text = "> frontglass board 0f3a9c21\n> from: Ines\n> 1A ♥ Softer than\n> I thought."
    >>> [(a.who, a.has_heart, a.note) for a in answers_from_text(text, board)]
    [('Ines', True, 'Softer than I thought.')]
    """
    lines = _lines_after_head(text, board, origin)
    frames = {frame.id: frame for frame in board.frames}
    who = ""
    items: list[tuple[str, str]] = []
    for line in lines:
        said = LINE.match(line)
        if line.lower().startswith("from:") and not items:
            who = line.partition(":")[2].strip()
        elif said:
            items.append((said[1], said[2]))
        elif items and line:
            items[-1] = (items[-1][0], f"{items[-1][1]} {line}")
    for key, _ in items:
        if key not in frames:
            raise FrontglassError(f"{origin}: {key} is no frame of the board {board.title!r}.")
    return [_answer(frames[key], who, said) for key, said in items]


def _lines_after_head(text: str, board: Board, origin: str) -> list[str]:
    lines = [re.sub(r"^[\s>|]+", "", line).rstrip() for line in text.splitlines()]
    for number, line in enumerate(lines):
        head = HEAD.search(line)
        if head is None:
            continue
        if head[1] != board.id:
            msg = f"{origin}: answers to another board ({head[1]}), not to {board.title!r}."
            raise FrontglassError(msg)
        rest = lines[number + 1 :]
        ends = [n for n, one in enumerate(rest) if one.lower().startswith(END)]
        return rest[: ends[0]] if ends else rest
    msg = f"{origin}: names no board; it has no line such as 'frontglass board {board.id}'."
    raise FrontglassError(msg)


def _answer(frame: BoardFrame, who: str, said: str) -> Answer:
    text = said.strip()
    has_heart = text.startswith(HEARTS)
    for mark in HEARTS:
        text = text.removeprefix(mark)
    note = text.lstrip("\ufe0f\ufe0e :").strip()
    return Answer(frame, who, has_heart, note)


def hearts_of(answers: Sequence[Answer]) -> dict[str, int]:
    """Return how many hearts each frame got, by its name on the board."""
    counted: dict[str, int] = {}
    for answer in answers:
        counted[answer.frame.id] = counted.get(answer.frame.id, 0) + answer.has_heart
    return counted
