"""Copies of a still with its clipped areas, or its lamps and their ghosts, numbered."""

from __future__ import annotations

import math
from collections.abc import Sequence

from frontglass.elements.ghosts import Ghost
from frontglass.picture.clipped_lamps import ClippedLamp
from frontglass.picture.picture import Picture
from frontglass.sheets.lettering import SMALLEST_TYPE_PX, TextLines
from frontglass.sheets.sheet import Page, Sheet, Sizes
from frontglass.sheets.views import view
from frontglass.units import percent_text

TYPE_SHARE, BOX_SHARE = 0.011, 0.008
ROOM_PX = 3
"""Between a lamp and its box."""


def lamp_map(picture: Picture, lamps: Sequence[ClippedLamp]) -> Sheet:
    """Return a still with a box round each lamp, its number and its stops above white beside it."""
    page, size_px = _copy_of(picture)
    for number, lamp in enumerate(lamps, 1):
        left, top, wide, high = lamp.box_px
        right = min(picture.width_px, left + wide + ROOM_PX)
        bottom = min(picture.height_px, top + high + ROOM_PX)
        left, top = max(0, left - ROOM_PX), max(0, top - ROOM_PX)
        level = f"+{lamp.stops:.1f}" if lamp.stops > 0 else "white"
        tag = TextLines((f"{number}: {level}",), size_px)
        page.mark(left, top, right - left, bottom - top, tag)
    return page.sheet(picture.height_px, picture.notices)


def ghost_map(picture: Picture, ghosts: Sequence[Ghost], corner_px: tuple[int, int]) -> Sheet:
    """Return a still, seen through its glass, with lamps and ghosts numbered in pairs.

    "2" is a lamp, "2 ghost 1.3 %" its ghost with its level over white. `corner_px` is where the
    picture begins in the pixels that the ghosts are told in.
    """
    page, size_px = _copy_of(picture)
    least = math.ceil(BOX_SHARE * picture.width_px)
    for number, ghost in enumerate(ghosts, 1):
        level = f"{number} ghost {percent_text(ghost.level)}"
        lamp = max(least, math.ceil(ghost.lamp_width_px))
        for place, side, text in (
            (ghost.lamp_px, lamp, str(number)),
            (ghost.ghost_px, lamp + math.ceil(ghost.width_px), level),
        ):
            left, top = (
                round(at - corner - side / 2) for at, corner in zip(place, corner_px, strict=True)
            )
            if -side < left < picture.width_px and -side < top < picture.height_px:
                page.mark(left, top, side, side, TextLines((text,), size_px))
    return page.sheet(picture.height_px, picture.notices)


def _copy_of(picture: Picture) -> tuple[Page, int]:
    """Return a page that a picture fills, and the size of type on it [px]."""
    width = picture.width_px
    page = Page(width, Sizes.of(width))
    page.put(0, 0, view(picture, (width, picture.height_px)))
    return page, max(SMALLEST_TYPE_PX, round(TYPE_SHARE * width))
