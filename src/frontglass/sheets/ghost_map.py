"""A copy of a still with its lamps and the ghosts that glass throws of them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from frontglass.elements.ghosts import Ghost
from frontglass.picture.picture import Picture
from frontglass.sheets.lettering import TextLines
from frontglass.sheets.sheet import Page, Sheet, Sizes
from frontglass.sheets.views import view

SMALLEST_TYPE_PX = 12
TYPE_SHARE, BOX_SHARE = 0.011, 0.008


def ghost_map(picture: Picture, ghosts: Sequence[Ghost], corner_px: tuple[int, int]) -> Sheet:
    """Return a still, seen through its glass, with lamps and ghosts numbered in pairs.

    "2" is a lamp, "2 ghost 1.3 %" its ghost with its level over white. `corner_px` is where the
    picture begins in the pixels that the ghosts are told in.
    """
    width, height = picture.width_px, picture.height_px
    page = Page(width, Sizes.of(width))
    page.put(0, 0, view(picture, (width, height)))
    size_px = max(SMALLEST_TYPE_PX, round(TYPE_SHARE * width))
    least = math.ceil(BOX_SHARE * width)
    for number, ghost in enumerate(ghosts, 1):
        level = f"{number} ghost {100 * ghost.level:.2g} %"
        lamp = max(least, math.ceil(ghost.lamp_width_px))
        for place, side, text in (
            (ghost.lamp_px, lamp, str(number)),
            (ghost.ghost_px, lamp + math.ceil(ghost.width_px), level),
        ):
            left, top = (
                round(at - corner - side / 2) for at, corner in zip(place, corner_px, strict=True)
            )
            if -side < left < width and -side < top < height:
                page.mark(left, top, side, side, TextLines((text,), size_px))
    return page.sheet(height, picture.notices)
