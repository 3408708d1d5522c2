"""``frontglass batch``: a look over many stills."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frontglass.cli.options import CameraOptions, Json, LightOptions, LookOptions, given
from frontglass.cli.progress import shown
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.space_options import SpaceOptions
from frontglass.cli.texts import print_outcomes, print_plan

if TYPE_CHECKING:
    from frontglass.pipeline.recipe import Recipe


def batch(
    stills: Annotated[
        list[str],
        typer.Argument(
            metavar="STILLS",
            help='Stills, folders with their sub-folders, or patterns such as "day*/*.jpg".',
            show_default=False,
        ),
    ],
    *,
    looks: LookOptions,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FOLDER", help="Folder for the rendered stills.")
    ],
    jobs: Annotated[
        int | None, typer.Option(metavar="N", help="Stills worked on at a time; else one a core.")
    ] = None,
    file_format: Annotated[
        str | None,
        typer.Option("--format", metavar="EXT", help="Extension to write: jpg, png, ..."),
    ] = None,
    again: Annotated[
        bool, typer.Option("--again", help="Render what is done already, and replace it.")
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be done, and do nothing.")
    ] = False,
    camera: CameraOptions,
    space: SpaceOptions,
    light: LightOptions,
    kept: SceneOptions,
    as_json: Json = False,
) -> None:
    """Render many STILLS through looks into a folder.

    A run that was broken off goes on where it stopped; what is done already is not done again.
    """
    from frontglass.batch.run import planned_batch

    at_hand = kept.at_hand()

    @cache
    def recipe_of(still: Path) -> Recipe:
        chosen = looks.looks(() if looks.look else at_hand.looks(still))
        return at_hand.recipe(still, light.typed(chosen, camera, space))

    todo = planned_batch(stills, out, recipe_of, again=again, **given(suffix=file_format))
    for job in (*todo.jobs, *todo.done):
        recipe_of(job.still)
    at_hand.say()
    if dry_run:
        print_plan(todo, as_json=as_json)
        return
    total = len(todo.jobs) + len(todo.done)
    outcomes = shown(todo.run(**given(processes=jobs)), total, lambda ended: ended.job.name)
    print_outcomes(todo, list(outcomes), as_json=as_json)
