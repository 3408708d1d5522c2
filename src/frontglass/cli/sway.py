"""``frontglass sway``: how halos and dots behave when the camera moves."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import (
    CameraOptions,
    LightOptions,
    LookOptions,
    Overwrite,
    Still,
    given,
)
from frontglass.cli.progress import shown
from frontglass.cli.scene_options import SceneOptions


def sway(
    still: Still,
    *,
    looks: LookOptions,
    out: Annotated[
        list[Path] | None,
        typer.Option("--out", "-o", help="WebP, GIF or MP4; else a WebP and an MP4 beside it."),
    ] = None,
    pan: Annotated[
        float | None, typer.Option(metavar="DEGREES", help="Radius of the move; else 1.")
    ] = None,
    exaggerate: Annotated[
        float | None, typer.Option(metavar="TIMES", help="Show structure this much too strong.")
    ] = None,
    width: Annotated[
        int | None, typer.Option(metavar="PX", help="Width of the loop at most.")
    ] = None,
    camera: CameraOptions,
    light: LightOptions,
    kept: SceneOptions,
    overwrite: Overwrite = False,
) -> None:
    """Show STILL through looks as the camera moves.

    The move is a small circle of pan and tilt. Halos of small lamps boil as the pupil slides
    over the filter, dots of nets turn, haze and veils do neither. One line says how visible it will
    be with this lens and stop.
    """
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.sway import check_loop_suffix, sway, write_loop

    targets = out or [still.with_name(f"{still.stem}_sway{end}") for end in (".webp", ".mp4")]
    for target in targets:
        check_may_write(target, [still], overwrite=overwrite)
        check_loop_suffix(target)
    at_hand = kept.at_hand()
    chosen = looks.looks(() if looks.look else at_hand.looks(still))
    recipe = at_hand.recipe(still, light.typed(chosen, camera))
    at_hand.say()
    picture = recipe.picture_from(still)
    choice = recipe.framing.camera_for(picture)
    loop = sway(
        picture,
        chosen,
        camera=choice.camera,
        surround=recipe.surround,
        compensate=recipe.compensate,
        progress=lambda numbers: shown(numbers, len(numbers), lambda n: f"frame {n + 1}"),
        **given(pan_deg=pan, exaggerate=exaggerate, width_px=width),
    )
    note(*picture.notices, *choice.notices)
    for target in targets:
        write_loop(target, loop)
        typer.echo(str(target))
    typer.echo(loop.verdict)
