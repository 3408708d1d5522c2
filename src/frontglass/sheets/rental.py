"""A list for the rental counter, on white A4: what to hand out, with a box to tick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from frontglass.sheets.lettering import TextLines, broken
from frontglass.sheets.pdf import A4_STANDING_PX
from frontglass.sheets.sheet import Sheet, draw_lines

PAPER, INK, QUIET, RULE = (255, 255, 255), (20, 20, 20), (90, 90, 90), (190, 190, 190)
MARGIN_PX, TITLE_PX, TEXT_PX, SMALL_PX, BOX_PX, GAP_PX = 75, 46, 25, 22, 30, 14
COLUMNS = (("", 55), ("piece", 290), ("light loss", 145), ("for", 250), ("or instead", 350))
"""What each column is headed, and how wide it is. [px]"""
PADDING_PX = 18


@dataclass(frozen=True, slots=True)
class RentalRow:
    """One piece, in words."""

    piece: str
    """Look and strength."""
    about: tuple[str, ...]
    """What it is, its size, a remark: quiet lines under it."""
    loss: str
    """Light that it costs."""
    stills: str
    """What it is for."""
    instead: tuple[str, ...]
    """Stand-ins, a text each."""


Line = tuple[TextLines, tuple[int, int, int]]


def rental_pages(
    title: str, about: Sequence[str], rows: Sequence[RentalRow], foot: str
) -> list[Sheet]:
    """Return a list as pages to print, title and `about` on each, a number beside the foot."""
    pages = [_RentalPage(title, about)]
    for row in rows:
        if not pages[-1].takes(row):
            pages.append(_RentalPage(title, about))
            pages[-1].takes(row)
    return [page.finished(f"{foot} · page {n} of {len(pages)}") for n, page in enumerate(pages, 1)]


class _RentalPage:
    """A page that takes row after row until it is full."""

    def __init__(self, title: str, about: Sequence[str]) -> None:
        self.image = Image.new("RGB", A4_STANDING_PX, PAPER)
        self.draw = ImageDraw.Draw(self.image)
        room = A4_STANDING_PX[0] - 2 * MARGIN_PX
        y = self._say(MARGIN_PX, MARGIN_PX, [(broken(title, room, TITLE_PX), INK)])
        y = self._say(MARGIN_PX, y, [(broken(text, room, TEXT_PX), QUIET) for text in about])
        y += 2 * GAP_PX
        for x, (head, width) in zip(_lefts(), COLUMNS, strict=True):
            self._say(x, y, [(broken(head, width - PADDING_PX, SMALL_PX), QUIET)])
        self.y = y + round(1.5 * SMALL_PX)
        self.is_empty = True
        self._rule()

    def takes(self, row: RentalRow) -> bool:
        """Set a row and return True; False, and nothing set, where there is no room for it."""
        cells = _cells(row)
        height = max(sum(lines.height_px for lines, _ in cell) for cell in cells)
        end = self.y + 2 * GAP_PX + max(height, BOX_PX)
        if end > A4_STANDING_PX[1] - MARGIN_PX - 2 * TEXT_PX and not self.is_empty:
            return False
        top = self.y + GAP_PX
        box = (MARGIN_PX, top + 2, MARGIN_PX + BOX_PX, top + 2 + BOX_PX)
        self.draw.rectangle(box, outline=INK, width=2)
        for x, cell in zip(_lefts()[1:], cells, strict=True):
            self._say(x, top, cell)
        self.y = end
        self.is_empty = False
        self._rule()
        return True

    def finished(self, foot: str) -> Sheet:
        """Return the page with its foot."""
        room = A4_STANDING_PX[0] - 2 * MARGIN_PX
        y = A4_STANDING_PX[1] - MARGIN_PX - SMALL_PX
        self._say(MARGIN_PX, y, [(broken(foot, room, SMALL_PX), QUIET)])
        return Sheet(np.asarray(self.image))

    def _say(self, x: int, y: int, cell: Sequence[Line]) -> int:
        for text, colour in cell:
            draw_lines(self.draw, x, y, text, colour)
            y += text.height_px
        return y

    def _rule(self) -> None:
        right = A4_STANDING_PX[0] - MARGIN_PX
        self.draw.line((MARGIN_PX, self.y, right, self.y), fill=RULE, width=2)


def _lefts() -> list[int]:
    lefts = [MARGIN_PX]
    for _, width in COLUMNS[:-1]:
        lefts.append(lefts[-1] + width)
    return lefts


def _cells(row: RentalRow) -> list[list[Line]]:
    piece, loss, stills, instead = (width - PADDING_PX for _, width in COLUMNS[1:])
    return [
        [
            (broken(row.piece, piece, TEXT_PX), INK),
            *((broken(text, piece, SMALL_PX), QUIET) for text in row.about if text),
        ],
        [(broken(row.loss, loss, TEXT_PX), INK)],
        [(broken(row.stills, stills, SMALL_PX), INK)],
        [(broken(text, instead, SMALL_PX), INK) for text in row.instead],
    ]
