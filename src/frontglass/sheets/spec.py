"""Spec sheet: measured curves of looks, and the numbers that go with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from frontglass.sheets.lettering import broken, fitted, text_width_px
from frontglass.sheets.plots import Axis, Series, plot, swatch
from frontglass.sheets.sheet import QUIET_TEXT, Page, Sheet, Sizes

SHEET_WIDTH_PX = 1600
PLOT_SHAPE = 0.62
WEDGE_STOPS = 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpecColumn:
    """One look on a spec sheet."""

    name: str
    transfer: tuple[Sequence[float], Sequence[float]]
    """Frequency [cycles/mm] and modulation transfer of lens, pixels and look."""
    wedge_stops: Sequence[float]
    """What a wedge from 0 to ten stops under white has become."""
    numbers: tuple[str, ...]
    """One text for each of the sheet's rows."""


def spec_sheet(
    title: str,
    about: str,
    rows: Sequence[str],
    columns: Sequence[SpecColumn],
    *,
    bare: tuple[Sequence[float], Sequence[float]],
    highest_per_mm: float,
    notices: Sequence[str] = (),
) -> Sheet:
    """Sheet with the transfer curves and wedges of looks, and a table of their numbers.

    Parameters
    ----------
    bare : (sequence, sequence) of float
        Frequency [cycles/mm] and transfer without any look.
    highest_per_mm : float
        Where the frequency axis ends: the finest that the pixels hold. [cycles/mm]
    """
    page = Page(SHEET_WIDTH_PX, Sizes(margin=48, gap=32, small=22, large=34))
    gap = page.sizes.gap
    top = page.say_head(title, (about, *(f"Note: {notice}" for notice in notices))) + gap
    transfers = [Series(*bare)]
    transfers += [Series(*column.transfer, number=number) for number, column in enumerate(columns)]
    end = _plots(page, transfers, _wedges(columns), highest_per_mm, top) + gap
    end = _table(page, rows, columns, transfers, end)
    return page.sheet(end + page.sizes.margin, notices)


def _wedges(columns: Sequence[SpecColumn]) -> list[Series]:
    """Return what a wedge has become, bare and through each look."""
    steps = [float(n) for n in range(11)]
    return [
        Series(steps, steps),
        *(
            Series(steps, [-stop for stop in column.wedge_stops], number=number)
            for number, column in enumerate(columns)
        ),
    ]


def _plots(
    page: Page,
    transfers: Sequence[Series],
    wedges: Sequence[Series],
    highest_per_mm: float,
    top: int,
) -> int:
    """Set the curves of transfer and of wedges side by side; return where they end."""
    sizes = page.sizes
    half = (page.room_px - sizes.gap) // 2
    size = (half, round(PLOT_SHAPE * half))
    frequency = Axis.to("cycles per mm on the sensor", highest_per_mm)
    held = Axis("Contrast of detail held", 0, 1, 0.25)
    step = Axis("step of the wedge, stops under white", 0, WEDGE_STOPS, 2)
    become = Axis("Stops under white it has become", 0, WEDGE_STOPS, 2)
    left = plot(transfers, frequency, held, size_px=size, type_px=sizes.small)
    right = plot(wedges, step, become, size_px=size, type_px=sizes.small)
    page.put(sizes.margin, top, left)
    page.put(sizes.margin + half + sizes.gap, top, right)
    return top + size[1]


def _table(
    page: Page,
    rows: Sequence[str],
    columns: Sequence[SpecColumn],
    lines: Sequence[Series],
    top: int,
) -> int:
    """Numbers under their look's name and line; return where they end."""
    sizes = page.sizes
    widest = max(text_width_px(row, sizes.small) for row in rows)
    first = min(round(widest) + sizes.gap, round(0.34 * page.room_px))
    room = (page.room_px - first - len(columns) * sizes.gap // 2) // len(columns)
    step = room + sizes.gap // 2
    heads = fitted([column.name for column in columns], room, sizes.small)
    y = top
    end = top
    for number, head in enumerate(heads):
        x = sizes.margin + first + number * step
        page.put(x, y, swatch(lines[number + 1], (min(room, 3 * sizes.small), sizes.small)))
        end = max(end, page.say(x, y + sizes.small, head))
    y = end + sizes.gap // 4
    for index, row in enumerate(rows):
        end = page.say(
            sizes.margin, y, broken(row, first - sizes.gap // 2, sizes.small), QUIET_TEXT
        )
        texts = fitted([column.numbers[index] for column in columns], room, sizes.small)
        for number, text in enumerate(texts):
            end = max(end, page.say(sizes.margin + first + number * step, y, text))
        y = end + sizes.gap // 8
    return y
