"""Where the cells of a sheet stand: arithmetic only."""

from __future__ import annotations

import math
from dataclasses import dataclass

from frontglass.errors import ParameterError

CALM_SHAPE = 2.0
"""Width over height that a grid of cells is brought near to: with captions, a laptop's screen."""
PRICE_OF_A_GAP = 0.15
"""What an empty cell costs against the shape, in the natural logarithm of the shape's error."""
TALLEST_CLOSE_UP, LEAST_CLOSE_UP = 0.4, 0.1
"""Height of a close-up at most, and its width if it can be, in widths of the sheet."""
LEAST_COLUMN = 0.08
"""Width of a column at least, if there is room, in widths of the sheet: for its caption."""
TALLEST_CELL = 1.2
"""Height of a cell at most, in widths of the sheet: a tall still stays on one screen."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Equal cells in rows."""

    columns: int
    rows: int
    cell_width_px: int
    cell_height_px: int
    """Size of the still in a cell."""
    column_px: int
    gap_px: int
    """Width of a column, which may be wider than the still, and room between columns."""

    @property
    def width_px(self) -> int:
        """Width that the columns and their gaps fill [px]."""
        return self.columns * (self.column_px + self.gap_px) - self.gap_px


def grid(
    count: int,
    still_px: tuple[int, int],
    *,
    width_px: int,
    gap_px: int,
    columns: int | None = None,
) -> Grid:
    """Return the grid that shows `count` stills of one size in a width.

    Columns are chosen for a calm sheet where none are given; they must leave room for a picture.
    """
    if columns is not None and not 1 <= columns <= count:
        raise ParameterError("columns", f"from 1 to {count}, the pictures there are", columns)
    choices = range(1, count + 1) if columns is None else (columns,)
    aspect = still_px[0] / still_px[1]

    def unrest(across: int) -> float:
        down = math.ceil(count / across)
        empty = across * down - count
        return abs(math.log(across * aspect / down / CALM_SHAPE)) + PRICE_OF_A_GAP * empty

    across = min(choices, key=unrest)
    room = column_px(across, width_px=width_px, gap_px=gap_px)
    if room < 1:
        raise ParameterError("columns", "few enough to leave room for a picture", across)
    width, height = size_in(still_px, max(1, min(room, round(TALLEST_CELL * width_px * aspect))))
    column = max(width, min(room, round(LEAST_COLUMN * width_px)))
    return Grid(across, math.ceil(count / across), width, height, column, gap_px)


def size_in(still_px: tuple[int, int], room_px: int) -> tuple[int, int]:
    """Size at which a still is shown in `room_px` of width [px].

    A wider still is reduced to the room; a narrower one is shown a whole number of times
    as large, so that no pixel of it gets more weight than its neighbour.
    """
    width, height = still_px
    if width > room_px:
        return room_px, max(1, round(height * room_px / width))
    times = room_px // width
    return width * times, height * times


def size_within(
    still_px: tuple[int, int], most_px: int, tallest_px: float = math.inf
) -> tuple[int, int]:
    """Size of a still no larger than it is, and no larger than the room [px]."""
    width, height = still_px
    share = min(1.0, most_px / width, tallest_px / height)
    return max(1, round(width * share)), max(1, round(height * share))


def close_up_size(
    size_px: tuple[int, int], count: int, *, width_px: int, gap_px: int
) -> tuple[int, int]:
    """Size at which a part of a still is shown beside `count - 1` others like it [px].

    Enlarged a whole number of times, in as few rows as let it be twice as large as it is
    and large enough to look into; what fits no row pixel for pixel is reduced to fit two.
    """
    tallest = round(TALLEST_CLOSE_UP * width_px)
    times = 0
    for rows in range(1, count + 1):
        room = column_px(math.ceil(count / rows), width_px=width_px, gap_px=gap_px)
        times = max(times, min(room // size_px[0], tallest // size_px[1]))
        if times > 1 and size_px[0] * times >= LEAST_CLOSE_UP * width_px:
            break
    if times:
        return size_px[0] * times, size_px[1] * times
    room = column_px(math.ceil(count / 2), width_px=width_px, gap_px=gap_px)
    share = min(room / size_px[0], tallest / size_px[1])
    return max(1, int(size_px[0] * share)), max(1, int(size_px[1] * share))


def column_px(columns: int, *, width_px: int, gap_px: int) -> int:
    """Width of equal columns with gaps between them [px]."""
    return (width_px - (columns - 1) * gap_px) // columns


def columns_for(cell_px: int, *, width_px: int, gap_px: int) -> int:
    """How many cells of a width stand beside one another, one at least."""
    return max(1, (width_px + gap_px) // (cell_px + gap_px))


def scale_text(width_px: int, shown_px: int) -> str:
    """How large a part is shown, in words.

    Examples
    --------
    >>> scale_text(100, 300), scale_text(100, 100), scale_text(800, 400)
    ('enlarged 3 times', 'pixel for pixel', 'reduced to 50 %')
    """
    if shown_px < width_px:
        return f"reduced to {100 * shown_px / width_px:.0f} %"
    return "pixel for pixel" if shown_px == width_px else f"enlarged {shown_px // width_px} times"
