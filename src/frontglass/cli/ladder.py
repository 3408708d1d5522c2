"""``frontglass ladder``: one look at several strengths on one sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

import frontglass as fg
from frontglass.cli.glass_options import GlassOptions
from frontglass.cli.grouped import note
from frontglass.cli.options import (
    CameraOptions,
    LampRange,
    LightOptions,
    Overwrite,
    SeenOn,
    Still,
    Strengths,
    given,
    looks_from_texts,
    steps_of,
)
from frontglass.cli.progress import picture_read, shown
from frontglass.cli.scene_options import SceneOptions, WatchedParts
from frontglass.cli.space_options import SpaceOptions


def ladder(
    still: Still,
    *,
    look: Annotated[
        str, typer.Option(metavar="NAME_OR_FILE[:STRENGTH]", help="The look; at that one strength.")
    ],
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
    camera: CameraOptions,
    space: SpaceOptions,
    light: LightOptions,
    kept: SceneOptions,
    overwrite: Overwrite = False,
) -> None:
    """Lay out STILL through one look at rising strengths."""
    name, steps = steps_of(look, strengths)
    at_hand = kept.at_hand()
    others = looks_from_texts(beside) if beside else []
    chosen, *others = at_hand.on_glass(still, glass, [fg.read_look(name), *others])
    target = out or still.with_name(f"{still.stem}_{chosen.name}_ladder.png")
    how = given(
        strengths=steps,
        width_px=width,
        columns=columns,
        seen_on=seen_on,
        beside=others or None,
    )
    recipe = at_hand.recipe(still, light.typed((), camera, space))
    watched = WatchedParts(()) if close_up else at_hand.watch(still, None)
    at_hand.say()
    if lamp_range:
        how["ends"] = recipe.lamp_range_from(still)
    close_ups = partial(close_ups_of, close_up or (), watched)
    notices = written_ladder(still, chosen, target, recipe, close_ups, overwrite=overwrite, **how)
    note(*notices)
    typer.echo(str(target))


def close_ups_of(
    typed: Sequence[str], watched: WatchedParts, picture: fg.Picture
) -> Sequence[fg.Region]:
    """Return parts to enlarge: those that were typed, else what the scene watches."""
    from frontglass.picture.wider import region_in

    if typed:
        return [region_in(fg.Region.from_text(text), picture) for text in typed]
    return [part.region for part in watched.inside(picture)]


def written_ladder(
    still: Path,
    look: fg.Look,
    target: Path,
    recipe: fg.Recipe,
    close_ups: Callable[[fg.Picture], Sequence[fg.Region]] = lambda _: (),
    *,
    overwrite: bool,
    **how: Any,
) -> tuple[str, ...]:
    """Write the ladder of a look on a still; return what was assumed."""
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.ladder import ladder, still_facts
    from frontglass.sheets.sheet import check_suffix

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
        grain=recipe.grain,
        facts=still_facts(still.name, recipe.exposure_stops),
        notices=(*picture.notices, *choice.notices),
        close_ups=close_ups(picture),
        progress=lambda steps: shown(steps, len(steps), str),
        **how,
    )
    fg.write_sheet(target, sheet, quality=recipe.quality)
    return sheet.notices
