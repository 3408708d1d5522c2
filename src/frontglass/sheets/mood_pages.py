"""A client board on paper: a still a page, bare and through its looks, with boxes to tick."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from PIL import Image

from frontglass.arrays import Codes
from frontglass.files.whole import write_all_whole
from frontglass.sheets.layout import column_px, size_within
from frontglass.sheets.lettering import SEPARATOR, TextLines, broken
from frontglass.sheets.mood import MoodFrame, MoodHead, MoodStill, frame_id
from frontglass.sheets.pdf import A4_LYING_PX, save_pdf
from frontglass.sheets.sheet import QUIET_TEXT, TEXT, Page, Sheet, Sizes, png_bytes

SIZES = Sizes(margin=70, gap=26, small=27, large=56)
MOST_FRAMES = 5
"""Looks on a page beside the bare frame; more go on to the next."""
TICK_PX = 24


def page_count(looks: int) -> int:
    """Pages that a still takes."""
    return max(1, math.ceil(looks / MOST_FRAMES))


def mood_pages(head: MoodHead, stills: Sequence[MoodStill]) -> list[Sheet]:
    """Return a board as pages, the title large on the first; each has its number."""
    parts = [
        (number, still, part)
        for number, still in enumerate(stills)
        for part in range(page_count(len(still.frames)))
    ]
    pages = []
    for place, (number, still, part) in enumerate(parts):
        each = math.ceil(len(still.frames) / page_count(len(still.frames)))
        frames = [
            (frame_id(number, index), still.frames[index])
            for index in range(part * each, min(len(still.frames), (part + 1) * each))
        ]
        pages.append(_page(head, still, number, frames, (place, len(parts))))
    return pages


def mood_paths(folder: Path, pages: int) -> list[Path]:
    """Return where the HTML, the PDF and the PNGs of a board stand."""
    names = [folder / f"board_{number:02d}.png" for number in range(1, pages + 1)]
    return [folder / "board.html", folder / "board.pdf", *names]


def write_mood(folder: Path, title: str, board: str, pages: Sequence[Sheet]) -> list[Path]:
    """Write a board's HTML, PDF and PNGs into a folder, all or none; return their paths."""
    paths = mood_paths(folder, len(pages))
    writers: list[Callable[[str], object]] = [
        lambda beside: Path(beside).write_bytes(board.encode(errors="replace")),
        lambda beside: save_pdf(beside, title, pages),
        *(_png_writer(page.codes) for page in pages),
    ]
    write_all_whole(dict(zip(paths, writers, strict=True)))
    return paths


def _png_writer(codes: Codes) -> Callable[[str], object]:
    return lambda beside: Path(beside).write_bytes(png_bytes(codes))


def _page(
    head: MoodHead,
    still: MoodStill,
    number: int,
    frames: Sequence[tuple[str, MoodFrame]],
    place: tuple[int, int],
) -> Sheet:
    width, height = A4_LYING_PX
    page = Page(width, SIZES)
    y = SIZES.margin
    about = SEPARATOR.join(head.about)
    if place[0] == 0:
        y = page.say_head(head.title, filter(None, [about])) + SIZES.gap // 2
    caption = broken(f"{number + 1}  {still.caption}", page.room_px, round(1.2 * SIZES.small))
    y = page.say(SIZES.margin, y, caption) + SIZES.gap // 3
    said = SEPARATOR.join(
        filter(None, (head.title if place[0] else "", about if place[0] else "", head.foot))
    )
    count = f"page {place[0] + 1} of {place[1]}"
    foot = broken(SEPARATOR.join(filter(None, (count, said))), page.room_px, 22)
    end = height - SIZES.margin - foot.height_px
    page.say(SIZES.margin, end, foot, QUIET_TEXT)
    _cells(page, [("", "bare", "", still.bare), *(_cell(*frame) for frame in frames)], y, end)
    return Sheet(page.painted(height))


Cell = tuple[str, str, str, Codes]


def _cell(key: str, frame: MoodFrame) -> Cell:
    return key, f"{key}  {frame.name}", frame.detail, frame.codes


def _cells(page: Page, cells: Sequence[Cell], top: int, end: int) -> None:
    """Set frames in the grid in which they are largest."""
    shape = cells[0][3].shape
    best = (0.0, 1, 0)
    for columns in range(1, len(cells) + 1):
        rows = math.ceil(len(cells) / columns)
        across = column_px(columns, width_px=page.room_px, gap_px=SIZES.gap)
        words = max(sum(t.height_px for t in _texts(cell, across)) for cell in cells)
        down = (end - SIZES.gap - top) // rows - words - SIZES.gap // 2
        scale = min(across / shape[1], down / shape[0])
        if scale > best[0]:
            best = (scale, columns, down)
    _, columns, down = best
    across = column_px(columns, width_px=page.room_px, gap_px=SIZES.gap)
    rows = math.ceil(len(cells) / columns)
    height = (end - SIZES.gap - top) // rows
    for place, cell in enumerate(cells):
        x = SIZES.margin + place % columns * (across + SIZES.gap)
        y = top + place // columns * height
        codes = _reduced(cell[3], across, max(8, down))
        page.put(x, y, codes)
        y += codes.shape[0] + SIZES.gap // 4
        if cell[0]:
            page.put(x, y + 6, _tick())
        texts = _texts(cell, across)
        for text, colour in zip(texts, (TEXT, QUIET_TEXT), strict=False):
            y = page.say(x + (TICK_PX + 12 if cell[0] else 0), y, text, colour)


def _texts(cell: Cell, room_px: int) -> list[TextLines]:
    room = room_px - (TICK_PX + 12 if cell[0] else 0)
    return [broken(text, room, size) for text, size in ((cell[1], 27), (cell[2], 23)) if text]


def _tick() -> Codes:
    box = np.full((TICK_PX, TICK_PX, 3), 52, np.uint8)
    box[[0, 1, -2, -1]] = 232
    box[:, [0, 1, -2, -1]] = 232
    return box


def _reduced(codes: Codes, width_px: int, height_px: int) -> Codes:
    size = size_within((codes.shape[1], codes.shape[0]), width_px, height_px)
    return np.asarray(Image.fromarray(codes).resize(size, Image.Resampling.BOX))
