"""``frontglass apply``: one still through one or more looks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import Json, LookOptions, Overwrite, Still, targets_of
from frontglass.cli.progress import shown
from frontglass.cli.scene_options import StillOptions
from frontglass.cli.still_read import reading_meanwhile, still_read
from frontglass.cli.texts import print_json, rendered_record


def apply(
    still: Still,
    *,
    looks: LookOptions,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Where to write; else beside the still, named after it."),
    ] = None,
    options: StillOptions,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """See STILL through one or more looks.

    Each --look gives a picture of its own; A+B is B behind A. The extension of --out chooses the
    format: JPEG, PNG, TIFF, OpenEXR or Radiance HDR.
    """
    with reading_meanwhile(still, options.light):
        from frontglass.pipeline.still_files import check_may_write, out_beside, render_new

        at_hand = options.at_hand()
        stacks = at_hand.stacks(still, looks)
        targets = targets_of(stacks, out, lambda stack: out_beside(still, stack.looks))
        for target in targets:
            check_may_write(target, [still], overwrite=overwrite)
        base = at_hand.recipe(still)
    at_hand.say()
    recipes = [replace(base, looks=stack.looks) for stack in stacks]
    picture = still_read(recipes[0], still).picture
    pairs = shown(list(zip(targets, recipes, strict=True)), lambda one: str(one[0]))
    results = [
        render_new(picture, still, *pair, overwrite=overwrite, is_last=pair[1] is recipes[-1])
        for pair in pairs
    ]
    note(*dict.fromkeys(notice for result in results for notice in result.notices))
    if as_json:
        records = [rendered_record(*pair) for pair in zip(results, recipes, strict=True)]
        print_json(records[0] if len(records) == 1 else records)
    else:
        typer.echo("\n".join(str(result.out) for result in results))
