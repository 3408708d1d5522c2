"""A ladder: one look on one still at rising strengths, the bare still first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

from frontglass.checks import check_within
from frontglass.choices import Surround
from frontglass.errors import ParameterError
from frontglass.looks import Look
from frontglass.optics.camera import Camera
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.pipeline.rendering import Conditions
from frontglass.sheets.ladder_page import Rung, set_close_ups, set_head, set_stills
from frontglass.sheets.layout import Grid, close_up_size, grid, scale_text
from frontglass.sheets.lettering import SEPARATOR
from frontglass.sheets.sheet import Page, SeenOn, Sheet, Sizes
from frontglass.sheets.views import view
from frontglass.units import STOCK_STRENGTHS, strength_from_text, strength_text
from frontglass.warned import gathered_warnings

SHEET_WIDTHS_PX = {SeenOn.DESK: 2400, SeenOn.PHONE: 1170}
"""A phone's is three times 390: its screen has three pixels for one."""
NARROWEST_SHEET_PX, WIDEST_SHEET_PX = 320, 20000


def ladder(
    picture: Picture,
    look: Look,
    *,
    camera: Camera,
    strengths: Sequence[str | float] | None = None,
    surround: Surround | str = Surround.LAMPLESS,
    compensate: bool = True,
    grain: bool = True,
    close_ups: Sequence[Region] = (),
    facts: Sequence[str] = (),
    notices: Sequence[str] = (),
    width_px: int | None = None,
    columns: int | None = None,
    seen_on: SeenOn | str = SeenOn.DESK,
    beside: Sequence[Look] = (),
    ends: Sequence[tuple[str, Picture]] = (),
    progress: Callable[[Sequence[Look]], Iterable[Look]] = iter,
) -> Sheet:
    """Contact sheet of a still, bare and through a look at several strengths.

    Parameters
    ----------
    picture, look : Picture, Look
        The still, and the look; its own strength plays no part.
    camera, surround, compensate, grain
        As in `render`.
    strengths : sequence of str or float, or None
        In the order shown; None is the stock ones.
    close_ups : sequence of Region
        Parts, each in a row of its own, all strengths enlarged alike.
    facts, notices : sequence of str
        What the head says of the still, and what was assumed.
    seen_on : "desk" or "phone"
        On a phone one picture stands under the other, in large type.
    width_px, columns : int or None
        Width at most, 320 to 20000; small stills may fill less. [px] Pictures across.
    beside : sequence of Look
        Other looks, each at its own strength, shown after the strengths of this one.
    ends : sequence of (str, Picture)
        The still as it may be, each named; strengths show all of them instead of `picture`.
    progress : callable
        Hands on the steps one by one, and may show meanwhile how far it is.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> still = fg.Picture.from_array(np.full((60, 90), 90, np.uint8))
    >>> lens, net = fg.Camera(focal_length_mm=50, sensor_width_mm=24.9), fg.read_look("fine-net")
    >>> fg.ladder(still, net, camera=lens, strengths=["1/4", 1], width_px=600).codes.shape[1]
    581
    """
    conditions = Conditions(camera=camera, surround=surround, compensate=compensate, grain=grain)
    steps = [*(look.at(strength) for strength in _steps(strengths)), *beside]
    about = SEPARATOR.join((*facts, *_facts(picture, camera, compensate=compensate)))
    medium = SeenOn.of("seen_on", seen_on)
    size = (SHEET_WIDTHS_PX[medium] if width_px is None else width_px, columns)
    layout = _Layout.of(picture, len(steps), close_ups, ends=len(ends), size=size, medium=medium)
    stills = ends or (("", picture),)
    return layout.sheet(look, conditions.each_of(stills, progress(steps)), about, notices)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where everything stands on a ladder, and how large."""

    picture: Picture
    """The bare still."""
    page: Page
    cells: Grid
    close_ups: tuple[tuple[Region, tuple[int, int]], ...]
    """Parts shown enlarged, and the size at which each is shown."""

    @classmethod
    def of(
        cls,
        picture: Picture,
        steps: int,
        close_ups: Sequence[Region],
        *,
        ends: int,
        size: tuple[int, int | None],
        medium: SeenOn,
    ) -> _Layout:
        """Return it for a bare still and `steps` strengths, each shown `ends` times (0 is once)."""
        width_px, columns = size
        count = steps * (1 + ends) if ends else 1 + steps
        check_within("width_px", width_px, NARROWEST_SHEET_PX, WIDEST_SHEET_PX)
        for region in close_ups:
            region.check_inside(picture)
        on_phone = medium is SeenOn.PHONE
        sizes = Sizes.for_phone(width_px) if on_phone else Sizes.of(width_px)
        if columns is None:
            # With both ends of what is likely, a strength has a row, the bare still before it.
            columns = 1 if on_phone else 1 + ends if ends else None
        cells = grid(
            count,
            (picture.width_px, picture.height_px),
            width_px=width_px - 2 * sizes.margin,
            gap_px=sizes.gap,
            columns=columns,
        )
        page = Page(max(cells.width_px + 2 * sizes.margin, width_px // 2), sizes)
        room = {"width_px": page.room_px, "gap_px": sizes.gap}
        crops = ((region, close_up_size(region.size_px, count, **room)) for region in close_ups)
        return cls(picture, page, cells, tuple(crops))

    def sheet(
        self,
        look: Look,
        steps: Iterable[tuple[Look, str, Picture]],
        about: str,
        notices: Sequence[str],
    ) -> Sheet:
        """Return the sheet, each step rendered now, with what was assumed."""
        with gathered_warnings() as told:
            rungs = self.rungs(look, steps)
        notices = tuple(dict.fromkeys(chain(notices, *(rung.notices for rung in rungs), told)))
        return self.painted(look, rungs, about, notices)

    def rungs(self, look: Look, steps: Iterable[tuple[Look, str, Picture]]) -> list[Rung]:
        """Return the bare still, then each step of a look's ladder with the still seen there."""
        bare = self._rung("bare", "bare", "", self.picture)
        rungs, before = [bare], None
        for step, end, seen in steps:
            # With both ends of what is likely, every strength has the bare still beside it.
            if end and before not in {None, step}:
                rungs.append(bare)
            before, name = step, str(step)
            strength = strength_text(step.strength) if step.name == look.name else name
            if end:
                strength, name = f"{strength}, {end}", f"{step}, {end}"
            rungs.append(self._rung(strength, name, _cost(step), seen))
            del seen  # before the next one is made
        return rungs

    def _rung(self, strength: str, name: str, cost: str, seen: Picture) -> Rung:
        return Rung(
            strength=strength,
            name=name,
            cost=cost,
            still=view(seen, (self.cells.cell_width_px, self.cells.cell_height_px)),
            close_ups=tuple(view(region.of(seen), size) for region, size in self.close_ups),
            notices=seen.notices[len(self.picture.notices) :],
        )

    def painted(
        self, look: Look, rungs: Sequence[Rung], about: str, notices: Sequence[str]
    ) -> Sheet:
        """Return the sheet: head, stills, then a row for each close-up."""
        page = self.page
        top = set_head(page, look, about, notices)
        end = set_stills(page, self.cells, rungs, top)
        scale = self.cells.cell_width_px / self.picture.width_px
        page.mark_parts([region for region, _ in self.close_ups], scale, top)
        for number, (region, size) in enumerate(self.close_ups):
            title = f"Close-up {number + 1}, {scale_text(region.width_px, size[0])}"
            crops = [(rung.strength, rung.close_ups[number]) for rung in rungs]
            end = set_close_ups(page, title, crops, end + 2 * page.sizes.gap)
        return page.sheet(end + page.sizes.margin, notices)


def still_facts(name: str, exposure_stops: float | str) -> tuple[str, ...]:
    """Return what a sheet says of a still before its size: its name, and its exposure if changed.

    Examples
    --------
    >>> still_facts("scout.exr", 2.5)
    ('scout.exr', 'shown 2.5 stops brighter')
    """
    if isinstance(exposure_stops, str) or exposure_stops == 0:
        return (name,)
    way = "brighter" if exposure_stops > 0 else "darker"
    return name, f"shown {stops_text(abs(exposure_stops))} {way}"


def stops_text(stops: float) -> str:
    """Light in stops, as a caption says it.

    Examples
    --------
    >>> stops_text(0.234), stops_text(1.5), stops_text(0.01)
    ('0.2 stop', '1.5 stops', 'under 0.1 stop')
    """
    if 0 < stops < 0.05:
        return "under 0.1 stop"
    return f"{stops:.1f} stop" + ("s" if round(stops, 1) > 1 else "")


def _steps(strengths: Sequence[str | float] | None) -> list[float]:
    chosen: Sequence[str | float] = (
        tuple(float(strength) for strength in STOCK_STRENGTHS) if strengths is None else strengths
    )
    steps = [step for step in dict.fromkeys(map(strength_from_text, chosen)) if step > 0]
    if not steps:
        raise ParameterError("strengths", "one number above 0 at least", list(chosen))
    return steps


def _cost(look: Look) -> str:
    stops = look.light_loss_stops
    return "no light lost" if stops == 0 else f"light loss {stops_text(stops)}"


def _facts(picture: Picture, camera: Camera, *, compensate: bool) -> tuple[str, ...]:
    return (
        f"{picture.width_px} x {picture.height_px} px",
        f"{camera.focal_length_mm:.3g} mm at f/{camera.f_number:.3g}",
        f"image {camera.sensor_width_mm:.4g} mm wide",
        f"field {camera.horizontal_field_deg:.3g} degrees",
        "light loss made up by the stop" if compensate else "light loss shown, not made up",
    )
