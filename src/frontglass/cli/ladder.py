"""``frontglass ladder``: one look at several strengths on one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import (
    CameraOptions,
    LampRange,
    LightOptions,
    Overwrite,
    Still,
    Strengths,
    given,
)
from frontglass.cli.progress import picture_read, shown
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.space_options import SpaceOptions

if TYPE_CHECKING:
    from frontglass.looks import Look
    from frontglass.pipeline.recipe import Recipe


def ladder(
    still: Still,
    *,
    look: Annotated[str, typer.Option(metavar="NAME_OR_FILE", help="The look.")],
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="PNG or JPEG to write; else beside the still."),
    ] = None,
    strengths: Strengths = None,
    close_up: Annotated[
        list[str] | None,
        typer.Option(metavar="X,Y,W,H", help="Part to enlarge [px]; may be given several times."),
    ] = None,
    width: Annotated[
        int | None, typer.Option(metavar="PX", help="Width of the sheet at most.")
    ] = None,
    columns: Annotated[int | None, typer.Option(metavar="N", help="Pictures across.")] = None,
    beside: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME_OR_FILE:STRENGTH",
            help="Another look on the same sheet, after the strengths; several times.",
        ),
    ] = None,
    lamp_range: LampRange = False,
    camera: CameraOptions,
    space: SpaceOptions,
    light: LightOptions,
    kept: SceneOptions,
    overwrite: Overwrite = False,
) -> None:
    """Lay out STILL through one look at rising strengths.

    One sheet: the bare still first, then each strength with the light it costs.
    """
    from frontglass.looks import look_from_text, read_look

    chosen = read_look(look)
    target = out or still.with_name(f"{still.stem}_{chosen.name}_ladder.png")
    how = given(
        strengths=strengths and strengths.split(","),
        width_px=width,
        columns=columns,
        beside=beside and [look_from_text(text) for text in beside],
    )
    at_hand = kept.at_hand()
    recipe = at_hand.recipe(still, light.typed((), camera, space))
    regions = close_up or [part.rpartition(":")[2] for part in at_hand.watch(still, None)]
    at_hand.say()
    if lamp_range:
        how["ends"] = recipe.lamp_range_from(still)
    notices = written_ladder(still, chosen, target, recipe, regions, overwrite=overwrite, **how)
    note(*notices)
    typer.echo(str(target))


def written_ladder(
    still: Path,
    look: Look,
    target: Path,
    recipe: Recipe,
    close_ups: Sequence[str] = (),
    *,
    overwrite: bool,
    **how: Any,
) -> tuple[str, ...]:
    """Write the ladder of a look on a still; return what was assumed."""
    from frontglass.picture.region import Region
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.ladder import ladder, still_facts
    from frontglass.sheets.sheet import check_suffix, write_sheet

    check_may_write(target, [still], overwrite=overwrite)
    check_suffix(target)
    picture = picture_read(recipe, still)
    choice = recipe.framing.camera_for(picture)
    sheet = ladder(
        picture,
        look,
        camera=choice.camera,
        surround=recipe.surround,
        compensate=recipe.compensate,
        facts=still_facts(still.name, recipe.exposure_stops),
        notices=(*picture.notices, *choice.notices),
        close_ups=[Region.from_text(text) for text in close_ups],
        progress=lambda steps: shown(steps, len(steps), str),
        **how,
    )
    write_sheet(target, sheet, quality=recipe.quality)
    return sheet.notices
