"""``frontglass apply``: one still through one or more looks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, Json, LightOptions, LookOptions, Overwrite, Still
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.space_options import SpaceOptions
from frontglass.cli.texts import print_json, rendered_record


def apply(
    still: Still,
    *,
    looks: LookOptions,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Where to write; else beside the still, named after it."),
    ] = None,
    camera: CameraOptions,
    space: SpaceOptions,
    light: LightOptions,
    kept: SceneOptions,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """See STILL through one or more looks.

    The extension of --out chooses the format: JPEG, PNG, TIFF, OpenEXR or Radiance HDR.
    """
    from frontglass.pipeline.still_files import render_file

    at_hand = kept.at_hand()
    chosen = looks.looks(() if looks.look else at_hand.looks(still))
    recipe = at_hand.recipe(still, light.typed(chosen, camera, space))
    at_hand.say()
    result = render_file(still, out, recipe, overwrite=overwrite)
    note(*result.notices)
    if as_json:
        print_json(rendered_record(result, recipe))
    else:
        typer.echo(str(result.out))
