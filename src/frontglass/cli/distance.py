"""``frontglass distance``: how far frontglass takes everything in a still to be."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, LightOptions, Overwrite, Still
from frontglass.cli.progress import picture_read
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.space_options import SpaceOptions


def distance(
    still: Still,
    *,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="PNG or JPEG to write; else beside the still."),
    ] = None,
    width: Annotated[
        int | None, typer.Option(metavar="PX", help="Width of the sheet at most.")
    ] = None,
    space: SpaceOptions,
    camera: CameraOptions,
    light: LightOptions,
    kept: SceneOptions,
    overwrite: Overwrite = False,
) -> None:
    """Show how far everything in STILL is, in metres.

    Look at it before you trust haze: the still with the lamps that glow in haze, and beside it
    the distances it is given.
    """
    from frontglass.cli.options import given
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.distance_page import distance_sheet
    from frontglass.sheets.sheet import check_suffix

    target = out or still.with_name(f"{still.stem}_distance_sheet.png")
    check_may_write(target, [still], overwrite=overwrite)
    check_suffix(target)
    at_hand = kept.at_hand()
    recipe = at_hand.recipe(still, light.typed((), camera, space))
    at_hand.say()
    recipe = replace(recipe, space=replace(recipe.space, always=True))
    picture = picture_read(recipe, still)
    choice = recipe.framing.camera_for(picture)
    sheet = distance_sheet(
        picture,
        choice.camera,
        name=still.name,
        notices=(*picture.notices, *choice.notices),
        **given(width_px=width),
    )
    fg.write_sheet(target, sheet, quality=recipe.quality)
    note(*sheet.notices)
    typer.echo(str(target))
