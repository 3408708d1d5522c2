"""Several looks on one still, on one sheet: whole, close up, and in numbers."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from frontglass.arrays import Codes
from frontglass.checks import check_within
from frontglass.choices import Surround
from frontglass.errors import ParameterError
from frontglass.looks import Look, LookStack
from frontglass.optics.camera import Camera
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.pipeline.rendering import Conditions
from frontglass.pipeline.still_ghosts import ghosts_of
from frontglass.sheets.ladder import stops_text
from frontglass.sheets.layout import column_px, scale_text, size_in
from frontglass.sheets.lettering import SEPARATOR, broken, fitted
from frontglass.sheets.sheet import QUIET_TEXT, Page, SeenOn, Sheet, Sizes
from frontglass.sheets.views import view
from frontglass.warned import gathered_warnings

SHEET_WIDTH_PX = 1240
"""A4 at 150 dots an inch."""
SHARES = (0.03, 0.016, 0.0195, 0.033)
"""Margin, gap, small and large type, in widths of the sheet: 12 points on A4."""
NARROWEST_SHEET_PX, WIDEST_SHEET_PX = 480, 20000
PAGE_SHAPE = 11 / 8.5
"""Height over width of the squatter of letter and A4: a sheet that fits it fits both."""
NARROWEST_COLUMN = {SeenOn.DESK: 0.21, SeenOn.PHONE: 0.28}
"""Width of a column of close-ups at least, in widths of the sheet: for the numbers under it."""
TALLEST_CLOSE_UP = 0.25
ROW_SHARE = 0.24
"""Height that a row of close-ups takes, about, in widths of the sheet."""
MANY_STILLS = 6

Numbers = Callable[[str, Region, Picture], Sequence[str]]
"""What to say of a watched part (its name, its place) of the still as it is seen."""

Progress = Callable[[Sequence[Look | LookStack]], Iterable[Look | LookStack]]


@dataclass(frozen=True, slots=True)
class _Seen:
    name: str
    cost: str
    still: Codes
    close_ups: tuple[Codes, ...]
    numbers: tuple[tuple[str, ...], ...]


def compare(
    picture: Picture,
    looks: Sequence[Look | LookStack],
    *,
    camera: Camera,
    watched: Sequence[tuple[str, Region]] = (),
    numbers: Numbers = lambda *_: (),
    surround: Surround | str = Surround.LAMPLESS,
    compensate: bool = True,
    grain: bool = True,
    facts: Sequence[str] = (),
    notices: Sequence[str] = (),
    width_px: int = SHEET_WIDTH_PX,
    seen_on: SeenOn | str = SeenOn.DESK,
    ends: Sequence[tuple[str, Picture]] = (),
    progress: Progress = iter,
) -> Sheet:
    """Sheet that sets looks side by side on a still, the bare still first.

    Parameters
    ----------
    picture, looks, camera, surround, compensate, grain
        As in `render`; one look at least.
    watched : sequence of (str, Region)
        Named parts, each shown in a row of its own at one magnification.
    numbers : callable
        What stands under each close-up.
    facts, notices, ends, progress
        As in `ladder`.
    width_px : int
        Width of the sheet. [px], 480 to 20000.
    seen_on : "desk" or "phone"
        What it is laid out for: to fit a printed page, or in type that a phone shows.

    Raises
    ------
    ParameterError
        If there is no look, or a part reaches outside of the still.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> still = fg.Picture.from_array(np.full((60, 90), 90, np.uint8))
    >>> camera = fg.Camera(focal_length_mm=50, sensor_width_mm=24.9)
    >>> looks = [fg.read_look("harbour-night").at("1/2"), fg.read_look("powder-room")]
    >>> fg.compare(still, looks, camera=camera, width_px=600).codes.shape[1]
    600
    """
    conditions = Conditions(camera=camera, surround=surround, compensate=compensate, grain=grain)
    views = ends or (("", picture),)
    medium, count = SeenOn.of("seen_on", seen_on), len(looks) * len(views)
    layout = _Layout.of(picture, count, watched, width_px=width_px, medium=medium)
    with gathered_warnings() as told:
        shown = [layout.shown(None, "", picture, numbers)]
        words = {look: ghost_words(picture, look, camera) for look in looks}
        for look, end, seen in conditions.each_of(views, progress(looks)):
            shown.append(layout.shown(look, end, seen, numbers, words[look]))
            del seen  # before the next one is made
    notices = tuple(dict.fromkeys((*notices, *told)))
    return layout.painted(shown, _head_texts(facts, camera, notices), notices)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where everything stands on a sheet, and how large."""

    page: Page
    columns: int
    cell_px: int
    """Stills across, and the width of each."""
    still_px: tuple[int, int]
    scale: float
    """Size at which each is shown, and its width over the still's own."""
    watched: tuple[tuple[str, Region, tuple[int, int]], ...]
    """Watched parts: what each is called, where it is, the size at which it is shown."""
    crop_columns: int
    """Close-ups across."""

    @classmethod
    def of(
        cls,
        picture: Picture,
        views: int,
        watched: Sequence[tuple[str, Region]],
        *,
        width_px: int,
        medium: SeenOn,
    ) -> _Layout:
        """Return it for a still, bare and seen so many times through looks."""
        check_within("width_px", width_px, NARROWEST_SHEET_PX, WIDEST_SHEET_PX)
        if not views:
            raise ParameterError("look", "given at least once", "none")
        for _, region in watched:
            region.check_inside(picture)
        page = Page(width_px, _sizes(width_px, medium))
        count = 1 + views
        columns = _columns(page, picture, count, len(watched))
        cell_px = column_px(columns, width_px=page.room_px, gap_px=page.sizes.gap)
        still_px = size_in((picture.width_px, picture.height_px), cell_px)
        crop_columns = _crop_columns(count, medium)
        parts = ((*part, _crop_size(page, part[1], crop_columns)) for part in watched)
        scale = still_px[0] / picture.width_px
        return cls(page, columns, cell_px, still_px, scale, tuple(parts), crop_columns)

    def shown(
        self,
        look: Look | LookStack | None,
        end: str,
        seen: Picture,
        numbers: Numbers,
        ghosts: str = "",
    ) -> _Seen:
        """Return what the sheet shows of the still as it is seen; no look is the bare still."""
        name, cost = "bare", ""
        if look is not None:
            loss = look.light_loss_stops
            name = ", ".join(filter(None, (str(look), end)))
            cost = f"costs {stops_text(loss)}" if loss else "no light lost"
            cost = ", ".join(filter(None, (cost, ghosts)))
        return _Seen(
            name=name,
            cost=cost,
            still=view(seen, self.still_px),
            close_ups=tuple(view(region.of(seen), size) for _, region, size in self.watched),
            numbers=tuple(tuple(numbers(part, region, seen)) for part, region, _ in self.watched),
        )

    def painted(self, shown: Sequence[_Seen], head: Sequence[str], notices: Sequence[str]) -> Sheet:
        """Return the sheet: head, stills, then a row for each watched part."""
        page = self.page
        title, *texts = head
        top = page.say_head(title, texts) + page.sizes.gap
        end = _stills(page, shown, self.columns, self.cell_px, top)
        page.mark_parts([region for _, region, _ in self.watched], self.scale, top)
        for number, (name, region, size) in enumerate(self.watched):
            title = f"{number + 1}  {name}{SEPARATOR}{scale_text(region.width_px, size[0])}"
            end += page.sizes.gap
            end = _row(page, title, shown, number, columns=self.crop_columns, top=end)
        return page.sheet(end + page.sizes.margin, notices)


def ghost_words(picture: Picture, look: Look | LookStack, camera: Camera) -> str:
    """Say how many ghosts of lamps will be seen; nothing where there is no glass or no lamp."""
    found = ghosts_of(picture, [look], camera)
    if found is None or not found.ghosts.ghosts:
        return ""
    count = len(found.ghosts.seen)
    return {0: "no ghosts seen", 1: "one ghost seen"}.get(count, f"{count} ghosts seen")


def _columns(page: Page, picture: Picture, count: int, rows: int) -> int:
    """Stills across: as large as lets the sheet fit a printed page, if any number does.

    Never so many that a still is smaller than a thumb on a phone.
    """
    shape = picture.height_px / picture.width_px
    room = page.width_px * PAGE_SHAPE - (1 + rows) * ROW_SHARE * page.width_px
    most = 3 if shape > 1 or count > MANY_STILLS else 2
    for columns in range(1 if count < MANY_STILLS // 2 else 2, most):
        cell = column_px(columns, width_px=page.room_px, gap_px=page.sizes.gap)
        if math.ceil(count / columns) * (cell * shape + 3 * page.sizes.small) <= room:
            return columns
    return min(most, count)


def _sizes(width_px: int, medium: SeenOn) -> Sizes:
    if medium is SeenOn.PHONE:
        return Sizes.for_phone(width_px)
    return Sizes(*(round(share * width_px) for share in SHARES))


def _crop_columns(count: int, medium: SeenOn) -> int:
    most = int(1 / NARROWEST_COLUMN[medium])
    rows = math.ceil(count / most)
    return math.ceil(count / rows)


def _crop_size(page: Page, region: Region, columns: int) -> tuple[int, int]:
    room = column_px(columns, width_px=page.room_px, gap_px=page.sizes.gap)
    tallest = round(TALLEST_CLOSE_UP * page.width_px)
    room = max(1, min(room, round(tallest * region.width_px / region.height_px)))
    return size_in(region.size_px, room)


def _head_texts(facts: Sequence[str], camera: Camera, notices: Sequence[str]) -> list[str]:
    """Title, what is known of the still, and what was assumed, a text each."""
    title, *rest = facts or ("Looks side by side",)
    lens = (
        f"{camera.focal_length_mm:.3g} mm at f/{camera.f_number:.3g}",
        f"image {camera.sensor_width_mm:.4g} mm wide",
    )
    return [title, SEPARATOR.join((*rest, *lens)), *(f"Note: {notice}" for notice in notices)]


def _stills(page: Page, shown: Sequence[_Seen], columns: int, cell: int, top: int) -> int:
    sizes = page.sizes
    names = fitted([one.name for one in shown], cell, sizes.small, sizes.least)
    costs = fitted([one.cost for one in shown], cell, sizes.small, sizes.least)
    end = top
    for index, one in enumerate(shown):
        column = index % columns
        if column == 0 and index:
            top = end + sizes.gap
        x = sizes.margin + column * (cell + sizes.gap)
        page.put(x, top, one.still)
        y = page.say(x, top + one.still.shape[0] + sizes.gap // 3, names[index])
        if one.cost:
            y = page.say(x, y, costs[index], QUIET_TEXT)
        end = max(end, y)
    return end


def _row(
    page: Page, title: str, shown: Sequence[_Seen], number: int, *, columns: int, top: int
) -> int:
    """Set one watched part as each look shows it, with its numbers; return where it ends."""
    sizes = page.sizes
    room = column_px(columns, width_px=page.room_px, gap_px=sizes.gap)
    end = page.say(sizes.margin, top, broken(title, page.room_px, sizes.small))
    end += sizes.gap // 4
    names = fitted([one.name for one in shown], room, sizes.small, sizes.least)
    for index, one in enumerate(shown):
        column = index % columns
        if column == 0:
            top = end + (sizes.gap // 2 if index else 0)
        x = sizes.margin + column * (room + sizes.gap)
        codes = one.close_ups[number]
        page.put(x, top, codes)
        y = page.say(x, top + codes.shape[0] + sizes.gap // 4, names[index])
        for text in one.numbers[number]:
            y = page.say(
                x, y, broken(text, room, max(sizes.least, round(0.9 * sizes.small))), QUIET_TEXT
            )
        end = max(end, y)
    return end
