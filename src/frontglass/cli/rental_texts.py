"""A list for the rental counter in words: rows of a page, lines of a text, a record."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from frontglass.cli.texts import Record
from frontglass.measurement.rental import Piece
from frontglass.sheets.rental import RentalRow
from frontglass.units import strength_text

TEXT_WIDTH = 88
BOX = "[ ] "


def rental_rows(pieces: Sequence[Piece], size: str) -> list[RentalRow]:
    """Return pieces as rows of a page."""
    return [
        RentalRow(
            piece=str(piece.look),
            about=(piece.kind, _size(piece, size), piece.remark),
            loss=_loss(piece),
            stills=", ".join(piece.stills) or "all stills",
            instead=piece.stand_ins,
        )
        for piece in pieces
    ]


def _size(piece: Piece, size: str) -> str:
    return f"size {size}" if piece.is_before_the_lens else "in the room, no filter"


def _loss(piece: Piece) -> str:
    loss = piece.look.light_loss_stops
    return f"{loss:.2f} stops" if loss >= 0.005 else "none"


def rental_text(title: str, head: Sequence[str], rows: Sequence[RentalRow]) -> str:
    """Return a list as lines of text, no wider than a mail."""
    return "\n".join([title, *head, "", *(line for row in rows for line in _lines(row))]).rstrip()


def _lines(row: RentalRow) -> Iterator[str]:
    about = ", ".join(text for text in row.about if text)
    yield f"{BOX}{row.piece}"
    for label, text in (
        ("", about),
        ("light loss: ", row.loss),
        ("for: ", row.stills),
        *(("or ", text) for text in row.instead),
    ):
        indent = " " * len(BOX)
        yield textwrap.fill(
            label + text, TEXT_WIDTH, initial_indent=indent, subsequent_indent=indent + "  "
        )
    yield ""


def rental_record(pieces: Sequence[Piece], size: str) -> list[Record]:
    """Return a list as a script wants to read it."""
    return [
        {
            "look": piece.look.name,
            "strength": piece.look.strength,
            "strength_text": strength_text(piece.look.strength),
            "made_of": piece.kind,
            "size": size if piece.is_before_the_lens else None,
            "light_loss_stops": round(piece.look.light_loss_stops, 4),
            "stills": list(piece.stills),
            "stand_ins": list(piece.stand_ins),
            "remark": piece.remark,
        }
        for piece in pieces
    ]
