"""``frontglass ladder``: one look at several strengths on one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

import frontglass as fg
from frontglass.cli.glass_options import GlassOptions
from frontglass.cli.grouped import note
from frontglass.cli.options import (
    LampRange,
    Overwrite,
    SeenOn,
    SheetOut,
    Still,
    Strengths,
    WidthAtMost,
    given,
    looks_from_texts,
    steps_of,
)
from frontglass.cli.scene_options import StillOptions, WatchedParts
from frontglass.cli.still_read import check_sheet, reading_meanwhile, still_read


def ladder(
    still: Still,
    *,
    look: Annotated[
        str, typer.Option(metavar="NAME_OR_FILE[:STRENGTH]", help="The look; at that one strength.")
    ],
    out: SheetOut = None,
    strengths: Strengths = None,
    close_up: Annotated[
        list[str] | None,
        typer.Option(metavar="X,Y,W,H", help="Part to enlarge [px]; may be given several times."),
    ] = None,
    width: WidthAtMost = None,
    columns: Annotated[int | None, typer.Option(metavar="N", help="Pictures across.")] = None,
    seen_on: SeenOn = None,
    beside: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME_OR_FILE:STRENGTH",
            help="Another look on the same sheet, after the strengths; several times.",
        ),
    ] = None,
    lamp_range: LampRange = False,
    glass: GlassOptions,
    options: StillOptions,
    overwrite: Overwrite = False,
) -> None:
    """Lay out STILL through one look at rising strengths."""
    with reading_meanwhile(still, options.light):
        name, steps = steps_of(look, strengths)
        at_hand = options.at_hand()
        others = looks_from_texts(beside) if beside else []
        chosen, *others = at_hand.on_glass(still, glass, [fg.read_look(name), *others])
        target = out or still.with_name(f"{still.stem}_{chosen.name}_ladder.png")
        recipe = at_hand.recipe(still)
        watched = None if close_up else at_hand.watch(still, None)
    at_hand.say()
    notices = written_ladder(
        still,
        chosen,
        target,
        recipe,
        close_ups=close_up or (),
        watched=watched,
        overwrite=overwrite,
        ends=recipe.lamp_range_from(still) if lamp_range else (),
        **given(
            strengths=steps,
            width_px=width,
            columns=columns,
            seen_on=seen_on,
            beside=others or None,
        ),
    )
    note(*notices)
    typer.echo(str(target))


def written_ladder(
    still: Path,
    look: fg.Look,
    target: Path,
    recipe: fg.Recipe,
    *,
    close_ups: Sequence[str],
    watched: WatchedParts | None = None,
    overwrite: bool,
    **how: Any,
) -> tuple[str, ...]:
    """Write the ladder of a look on a still, with what is watched close up where nothing is typed.

    Returns what was assumed.
    """
    from frontglass.picture.wider import region_in
    from frontglass.sheets.ladder import ladder

    check_sheet(target, still, overwrite=overwrite)
    read = still_read(recipe, still)
    regions = [region_in(fg.Region.from_text(text), read.picture) for text in close_ups]
    if watched is not None:
        regions += [part.region for part in watched.inside(read.picture)]
    sheet = ladder(read.picture, look, close_ups=regions, **read.on_a_sheet, **how)
    fg.write_sheet(target, sheet, quality=recipe.quality)
    return sheet.notices
