"""``frontglass lamps``: the clipped areas of a still, and what is believed of each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import Json, Overwrite, Still, given, recovery_from
from frontglass.cli.texts import print_json, table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from frontglass.picture.clipped_lamps import ClippedLamp

SHOWN = 20


def lamps(
    still: Still,
    *,
    clipped: Annotated[
        str | None,
        typer.Option(metavar="auto|off|STOPS", help="As for apply: auto estimates each area."),
    ] = None,
    lamp: Annotated[
        list[str] | None,
        typer.Option(
            metavar="X,Y,STOPS", help="Level of a clipped lamp; may be given several times."
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="PNG or JPEG to draw the areas on.")
    ] = None,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """List what clips in STILL, and how bright it is taken to be.

    Those that would send most light come first; --out draws them on a copy of the still.
    """
    from frontglass.files import read_picture
    from frontglass.picture.clipped_lamps import with_recovered_light
    from frontglass.picture.marks import marks_from_texts
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.lamp_map import lamp_map
    from frontglass.sheets.sheet import check_suffix, write_sheet

    if out is not None:
        check_may_write(out, [still], overwrite=overwrite)
        check_suffix(out)
    recovery = given(recovery=recovery_from(clipped, marks_from_texts(lamp or ()).levels))
    found = with_recovered_light(read_picture(still), **recovery)
    if out is not None:
        write_sheet(out, lamp_map(found.picture, found.lamps[:SHOWN]), **given(quality=None))
    note(*found.picture.notices)
    if as_json:
        print_json({"still": str(still), "lamps": [_record(one) for one in found.lamps]})
    else:
        typer.echo(_text(found.lamps))


def _record(lamp: ClippedLamp) -> dict[str, object]:
    return {
        "x_px": round(lamp.x_px, 1),
        "y_px": round(lamp.y_px, 1),
        "area_px": lamp.area_px,
        "stops": round(lamp.stops, 2),
        "uncertain_stops": round(lamp.uncertain_stops, 2),
        "colour": [round(part, 3) for part in lamp.colour],
        "marked": lamp.marked,
    }


def _text(lamps: Sequence[ClippedLamp]) -> str:
    if not lamps:
        return "nothing clips"
    rows = [["no", "at, px", "area, px", "stops above white", "colour, R G B"]]
    for number, lamp in enumerate(lamps[:SHOWN], 1):
        spread = "typed" if lamp.marked else f"+-{lamp.uncertain_stops:.1f}"
        level = f"{lamp.stops:.1f} {spread}" if lamp.stops > 0 or lamp.marked else "plain white"
        colour = " ".join(f"{part:.2f}" for part in lamp.colour)
        place = f"{lamp.x_px:.0f},{lamp.y_px:.0f}"
        rows.append([str(number), place, str(lamp.area_px), level, colour])
    more = len(lamps) - SHOWN
    return table(rows) + (f"\nand {more} that would send less" if more > 0 else "")
