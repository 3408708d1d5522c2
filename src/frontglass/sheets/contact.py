"""A contact sheet: a row for each still, a column for each choice, the bare still first."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image

from frontglass.arrays import Codes
from frontglass.picture.picture import Picture
from frontglass.sheets.layout import column_px, size_within
from frontglass.sheets.lettering import TextLines, broken, fitted
from frontglass.sheets.pdf import A4_LYING_PX
from frontglass.sheets.sheet import QUIET_TEXT, TEXT, Page, Sheet, Sizes, jpeg_bytes
from frontglass.sheets.views import view

SMALL_PX = 640
"""Longer side of a small copy: sharp in the widest column."""
SMALL_QUALITY = 90
MOST_COLUMNS = 5
"""Across a page, the bare still among them: 51 mm each."""
WIDEST_CELL_PX = 420
TALLEST_SHARE = 0.8
"""Height of a cell at most, in widths of its column: rows of portrait stills stay low."""
SIZES = Sizes(margin=70, gap=26, small=25, large=44)


@dataclass(frozen=True, slots=True, eq=False)
class ContactCell:
    """One picture of a contact sheet: what `small_copy` made of it, empty where there is none."""

    small: bytes = b""
    said: str = ""
    """What stands under it, such as why there is none."""


@dataclass(frozen=True, slots=True, eq=False)
class ContactRow:
    """One still of a contact sheet: without glass, and through each choice that has a column."""

    name: str
    bare: ContactCell
    seen: tuple[ContactCell, ...]


def small_copy(picture: Picture) -> bytes:
    """JPEG of a picture, reduced to what a contact sheet shows of it."""
    size = size_within((picture.width_px, picture.height_px), SMALL_PX, SMALL_PX)
    return jpeg_bytes(view(picture, size), SMALL_QUALITY)


def contact_pages(
    title: str, about: str, columns: Sequence[str], rows: Sequence[ContactRow]
) -> list[Sheet]:
    """Return a contact sheet as pages to print; `columns` has what each choice is called."""
    pages: list[_ContactPage] = []
    parts = max(1, math.ceil(len(columns) / (MOST_COLUMNS - 1)))
    each = math.ceil(len(columns) / parts)
    across = 1 + each
    for first in range(0, max(1, len(columns)), max(1, each)):
        part = slice(first, first + each)
        page = _ContactPage(title, about, ("bare", *columns[part]), across)
        pages.append(page)
        for row in rows:
            cells = (row.bare, *row.seen[part])
            if not page.takes(row.name, cells):
                page = _ContactPage(title, about, ("bare", *columns[part]), across)
                pages.append(page)
                page.takes(row.name, cells)
    return [page.painted(number, len(pages)) for number, page in enumerate(pages, 1)]


class _ContactPage:
    """A page that takes row after row until it is full."""

    def __init__(self, title: str, about: str, columns: Sequence[str], across: int) -> None:
        self.page = Page(A4_LYING_PX[0], SIZES)
        self.cell_px = min(
            WIDEST_CELL_PX, column_px(across, width_px=self.page.room_px, gap_px=SIZES.gap)
        )
        y = self.page.say_head(title, [about]) + SIZES.gap // 2
        heads = fitted(columns, self.cell_px, SIZES.small)
        ends = [self.page.say(self._x(n), y, head) for n, head in enumerate(heads)]
        self.y = max(ends) + SIZES.gap // 3
        self.is_empty = True

    def _x(self, column: int) -> int:
        return SIZES.margin + column * (self.cell_px + SIZES.gap)

    def takes(self, name: str, cells: Sequence[ContactCell]) -> bool:
        """Set a row and return True; False, and nothing set, where there is no room for it."""
        foot = A4_LYING_PX[1] - SIZES.margin - 2 * SIZES.small
        # A page that cannot hold a row at all shows it smaller.
        tallest = foot - self.y - 4 * SIZES.small if self.is_empty else math.inf
        shown = [_reduced(cell, self.cell_px, tallest) for cell in cells]
        texts = [_under(cell, name if n == 0 else "", self.cell_px) for n, cell in enumerate(cells)]
        height = max(0 if codes is None else codes.shape[0] for codes in shown)
        end = self.y + height + SIZES.gap // 4
        end += max(sum(lines.height_px for lines, _ in said) for said in texts)
        if end > foot and not self.is_empty:
            return False
        for column, (codes, said) in enumerate(zip(shown, texts, strict=True)):
            if codes is not None:
                self.page.put(self._x(column), self.y, codes)
            y = self.y + (height if codes is not None else 0) + SIZES.gap // 4
            for lines, colour in said:
                y = self.page.say(self._x(column), y, lines, colour)
        self.y = end + SIZES.gap
        self.is_empty = False
        return True

    def painted(self, number: int, count: int) -> Sheet:
        """Return the page with its number."""
        said = broken(f"page {number} of {count}", self.page.room_px, SIZES.small)
        self.page.say(SIZES.margin, A4_LYING_PX[1] - SIZES.margin - SIZES.small, said, QUIET_TEXT)
        return Sheet(self.page.painted(A4_LYING_PX[1]))


Line = tuple[TextLines, tuple[int, int, int]]


def _under(cell: ContactCell, name: str, room_px: int) -> list[Line]:
    said: list[Line] = []
    if name:
        said.append((broken(name, room_px, SIZES.small), TEXT))
    if cell.said:
        said.append((broken(cell.said, room_px, round(0.9 * SIZES.small)), QUIET_TEXT))
    return said


def _reduced(cell: ContactCell, width_px: int, tallest_px: float) -> Codes | None:
    """Return a cell's picture as wide as its column, or as high as a row may be."""
    if not cell.small:
        return None
    with Image.open(io.BytesIO(cell.small)) as held:
        size = size_within(held.size, width_px, min(TALLEST_SHARE * width_px, tallest_px))
        return np.asarray(held.resize(size, Image.Resampling.BOX))
