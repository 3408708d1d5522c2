"""``frontglass distance``: how far frontglass takes everything in a still to be."""

from __future__ import annotations

from dataclasses import replace

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import (
    CameraOptions,
    LightOptions,
    Overwrite,
    SheetOut,
    Still,
    WidthAtMost,
    given,
)
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.space_options import SpaceOptions
from frontglass.cli.still_read import check_sheet, still_read


def distance(
    still: Still,
    *,
    out: SheetOut = None,
    width: WidthAtMost = None,
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
    from frontglass.sheets.distance_page import distance_sheet

    target = out or still.with_name(f"{still.stem}_distance_sheet.png")
    check_sheet(target, still, overwrite=overwrite)
    at_hand = kept.at_hand(**light.typed(camera, space))
    recipe = at_hand.recipe(still)
    at_hand.say()
    read = still_read(replace(recipe, space=replace(recipe.space, always=True)), still)
    sheet = distance_sheet(
        read.picture,
        read.camera,
        name=still.name,
        notices=read.notices,
        **given(width_px=width),
    )
    fg.write_sheet(target, sheet, quality=recipe.quality)
    note(*sheet.notices)
    typer.echo(str(target))
