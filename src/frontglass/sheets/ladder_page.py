"""How a ladder looks: its head, its stills with their captions, its rows of close-ups."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from frontglass.arrays import Codes
from frontglass.looks import Look
from frontglass.sheets.layout import Grid, columns_for
from frontglass.sheets.lettering import (
    SEPARATOR,
    TextLines,
    broken,
    fitted,
    text_width_px,
)
from frontglass.sheets.sheet import QUIET_TEXT, Page


@dataclass(frozen=True, slots=True)
class Rung:
    """One strength of a ladder, as it is shown."""

    strength: str
    name: str
    cost: str
    """Its strength; look and strength; the light it costs."""
    still: Codes
    close_ups: tuple[Codes, ...]
    """The still in its cell, and the parts shown enlarged."""
    notices: tuple[str, ...]


def set_head(page: Page, look: Look, about: str, notices: Sequence[str]) -> int:
    """Set the name of the look and what is known of the still; return where it ends."""
    sizes, room = page.sizes, page.room_px
    x, y = sizes.margin, sizes.margin
    y = page.say(x, y, fitted([look.name], room, sizes.large)[0]) + sizes.gap // 4
    for text in (look.summary, f"Watch: {look.watch}"):
        y = page.say(x, y, broken(text, room, sizes.small))
    y += sizes.gap // 3
    for text in (about, *(f"Note: {notice}" for notice in notices)):
        y = page.say(x, y, broken(text, room, sizes.small), QUIET_TEXT)
    return y + sizes.margin


def set_stills(page: Page, cells: Grid, rungs: Sequence[Rung], top: int) -> int:
    """Set the stills and their captions; return where they end."""
    sizes = page.sizes
    whole = [SEPARATOR.join(filter(None, (rung.name, rung.cost))) for rung in rungs]
    captions = fitted(whole, cells.column_px, sizes.small, sizes.least)
    is_one_line = all(len(caption.lines) == 1 for caption in captions)
    end = top
    for index, rung in enumerate(rungs):
        row, column = divmod(index, cells.columns)
        if column == 0 and row > 0:
            top = end + sizes.gap
        x = sizes.margin + column * (cells.column_px + sizes.gap)
        page.put(x, top, rung.still)
        y = top + cells.cell_height_px + sizes.gap // 3
        size = captions[index].size_px
        name = broken(rung.name, cells.column_px, size)
        after = page.say(x, y, name)
        if rung.cost and is_one_line:
            cost = TextLines((SEPARATOR + rung.cost,), size)
            page.say(x + math.ceil(text_width_px(name.lines[0], size)), y, cost, QUIET_TEXT)
        elif rung.cost:
            cost = broken(rung.cost, cells.column_px, size)
            after = page.say(x, after, cost, QUIET_TEXT)
        end = max(end, after)
    return end


def set_close_ups(page: Page, title: str, close_ups: Sequence[tuple[str, Codes]], top: int) -> int:
    """Set one part at every strength, side by side, each with its caption; return the end."""
    sizes, room = page.sizes, page.room_px
    end = page.say(sizes.margin, top, broken(title, room, sizes.small), QUIET_TEXT)
    end += sizes.gap // 4
    shown_px = close_ups[0][1].shape[1]
    columns = columns_for(shown_px, width_px=room, gap_px=sizes.gap)
    captions = fitted([text for text, _ in close_ups], shown_px, sizes.small, sizes.least)
    for index, ((_, codes), caption) in enumerate(zip(close_ups, captions, strict=True)):
        column = index % columns
        if column == 0:
            top = end if index == 0 else end + sizes.gap // 2
        x = sizes.margin + column * (shown_px + sizes.gap)
        page.put(x, top, codes)
        end = max(end, page.say(x, top + codes.shape[0] + sizes.gap // 4, caption))
    return end
