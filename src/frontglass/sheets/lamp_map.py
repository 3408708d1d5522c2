"""A copy of a still with its clipped areas numbered."""

from __future__ import annotations

from collections.abc import Sequence

from frontglass.picture.clipped_lamps import ClippedLamp
from frontglass.picture.picture import Picture
from frontglass.sheets.lettering import TextLines
from frontglass.sheets.sheet import Page, Sheet, Sizes
from frontglass.sheets.views import view

SMALLEST_TYPE_PX = 12
TYPE_SHARE = 0.011
ROOM_PX = 3
"""Between a lamp and its box."""


def lamp_map(picture: Picture, lamps: Sequence[ClippedLamp]) -> Sheet:
    """Return a still with a box round each lamp, its number and its stops above white beside it."""
    width, height = picture.width_px, picture.height_px
    page = Page(width, Sizes.of(width))
    page.put(0, 0, view(picture, (width, height)))
    size_px = max(SMALLEST_TYPE_PX, round(TYPE_SHARE * width))
    for number, lamp in enumerate(lamps, 1):
        left, top, wide, high = lamp.box_px
        right, bottom = min(width, left + wide + ROOM_PX), min(height, top + high + ROOM_PX)
        left, top = max(0, left - ROOM_PX), max(0, top - ROOM_PX)
        level = f"+{lamp.stops:.1f}" if lamp.stops > 0 else "white"
        tag = TextLines((f"{number}: {level}",), size_px)
        page.mark(left, top, right - left, bottom - top, tag)
    return page.sheet(height, picture.notices)
