"""A ladder: one look on one still at rising strengths, the bare still first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from frontglass.checks import check_within
from frontglass.choices import Surround
from frontglass.errors import ParameterError
from frontglass.looks import Look
from frontglass.optics.camera import Camera
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.pipeline.rendering import render
from frontglass.sheets.ladder_page import (
    Rung,
    set_close_ups,
    set_head,
    set_marks,
    set_stills,
)
from frontglass.sheets.layout import Grid, close_up_size, grid, scale_text
from frontglass.sheets.lettering import SEPARATOR
from frontglass.sheets.sheet import Page, Sheet, Sizes
from frontglass.sheets.views import view
from frontglass.units import STOCK_STRENGTHS, strength_from_text, strength_text
from frontglass.warned import gathered_warnings

SHEET_WIDTH_PX = 2400
NARROWEST_SHEET_PX, WIDEST_SHEET_PX = 320, 20000


def ladder(
    picture: Picture,
    look: Look,
    *,
    camera: Camera,
    strengths: Sequence[str | float] | None = None,
    surround: Surround | str = Surround.MIRROR,
    compensate: bool = True,
    close_ups: Sequence[Region] = (),
    facts: Sequence[str] = (),
    notices: Sequence[str] = (),
    width_px: int = SHEET_WIDTH_PX,
    columns: int | None = None,
    beside: Sequence[Look] = (),
    progress: Callable[[Sequence[Look]], Iterable[Look]] = iter,
) -> Sheet:
    """Return a contact sheet of a still, bare and through a look at several strengths.

    Each strength is rendered at the still's own size and reduced afterwards.

    Parameters
    ----------
    picture : Picture
        The still.
    look : Look
        The look; its own strength plays no part.
    camera : Camera
        What took the still.
    strengths : sequence of str or float, or None
        Strengths in the order shown; None is the stock ones. The bare still is there always.
    surround, compensate
        As in `render`.
    close_ups : sequence of Region
        Parts of the still, each shown in a row of its own, enlarged a whole number of
        times, the same for every strength.
    facts : sequence of str
        What the head of the sheet says of the still before its size: its name, say.
    notices : sequence of str
        What was assumed, said at the head of the sheet.
    width_px : int
        Width of the sheet at most; small stills are enlarged a whole number of times,
        which may fill less. [px], 320 to 20000.
    columns : int or None
        Pictures across; None chooses.
    beside : sequence of Look
        Other looks, each at its own strength, shown after the strengths of this one.
    progress : callable
        Hands on the steps of the ladder one by one, and may show meanwhile how far it is.

    Returns
    -------
    Sheet
        The sheet.

    Raises
    ------
    ParameterError
        If strengths, close-ups, width or columns make no sheet.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> still = fg.Picture.from_array(np.full((60, 90), 90, np.uint8))
    >>> camera = fg.Camera(focal_length_mm=50, sensor_width_mm=24.9)
    >>> look = fg.read_look("harbour-night")
    >>> sheet = fg.ladder(still, look, camera=camera, strengths=["1/4", 1], width_px=600)
    >>> sheet.codes.shape[1] <= 600
    True
    """
    check_within("width_px", width_px, NARROWEST_SHEET_PX, WIDEST_SHEET_PX)
    steps = [*(look.at(strength) for strength in _steps(strengths)), *beside]
    for region in close_ups:
        region.check_inside(picture)
    page, cells = _laid_out(picture, 1 + len(steps), width_px=width_px, columns=columns)
    gap_px = page.sizes.gap
    crop_px = [
        close_up_size(region.size_px, 1 + len(steps), width_px=page.room_px, gap_px=gap_px)
        for region in close_ups
    ]
    said: list[str] = []

    def rung(step: Look | None) -> Rung:
        seen = picture
        if step is not None:
            seen = render(picture, [step], camera=camera, surround=surround, compensate=compensate)
            said.extend(seen.notices[len(picture.notices) :])
        crops = zip(close_ups, crop_px, strict=True)
        strength = "bare" if step is None else strength_text(step.strength)
        return Rung(
            strength=strength if step is None or step.name == look.name else str(step),
            name=strength if step is None else str(step),
            cost="" if step is None else _cost(step),
            still=view(seen, (cells.cell_width_px, cells.cell_height_px)),
            close_ups=tuple(view(region.of(seen), size) for region, size in crops),
        )

    with gathered_warnings() as told:
        rungs = [rung(None), *(rung(step) for step in progress(steps))]
    notices = tuple(dict.fromkeys((*notices, *said, *told)))
    about = SEPARATOR.join((*facts, *_facts(picture, camera, compensate=compensate)))
    top = set_head(page, look, about, notices)
    end = set_stills(page, cells, rungs, top)
    set_marks(page, cells, close_ups, (picture.width_px, top))
    for number, (region, size) in enumerate(zip(close_ups, crop_px, strict=True)):
        title = f"Close-up {number + 1}, {scale_text(region.width_px, size[0])}"
        crops = [(rung.strength, rung.close_ups[number]) for rung in rungs]
        end = set_close_ups(page, title, crops, end + 2 * gap_px)
    return Sheet(page.painted(end + page.sizes.margin), notices)


def still_facts(name: str, exposure_stops: float) -> tuple[str, ...]:
    """Return what a sheet says of a still before its size: its name, and its exposure if changed.

    Examples
    --------
    >>> still_facts("scout.exr", 2.5)
    ('scout.exr', 'shown 2.5 stops brighter')
    """
    if exposure_stops == 0:
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


def _laid_out(
    picture: Picture, count: int, *, width_px: int, columns: int | None
) -> tuple[Page, Grid]:
    """Page for `count` stills, and the cells that they stand in."""
    sizes = Sizes.of(width_px)
    cells = grid(
        count,
        (picture.width_px, picture.height_px),
        width_px=width_px - 2 * sizes.margin,
        gap_px=sizes.gap,
        columns=columns,
    )
    return Page(max(cells.width_px + 2 * sizes.margin, width_px // 2), sizes), cells


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
