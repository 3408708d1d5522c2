"""``frontglass batch``: looks over many stills."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

import frontglass as fg
from frontglass.cli.batch_texts import print_outcomes, print_plan
from frontglass.cli.grouped import note
from frontglass.cli.options import Json, LookOptions, Overwrite, Stills, given
from frontglass.cli.progress import shown_of
from frontglass.cli.scene_options import SceneAtHand, StillOptions, say_without_looks

if TYPE_CHECKING:
    from frontglass.batch.run import Batch


@dataclass(frozen=True, kw_only=True)
class BatchOptions:
    """How pictures are named, and which are made."""

    file_format: Annotated[
        str | None,
        typer.Option("--format", metavar="EXT", help="Extension to write: jpg, png, ..."),
    ] = None
    folders: Annotated[
        bool,
        typer.Option("--folders", help="A folder for each look, not its name in every file's."),
    ] = False
    again: Annotated[
        bool,
        typer.Option("--again", help="Render what is done already, or was with other options."),
    ] = False
    patience: Annotated[
        float | None,
        typer.Option(
            metavar="S",
            help="Leave a still that takes longer [s], inf for none; else by its pixels.",
        ),
    ] = None
    cluster: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="Let the workers of a dask.distributed scheduler do it; local:4 starts four here.",
        ),
    ] = None

    def planned(self) -> dict[str, Any]:
        """Return these options as the library takes them."""
        naming = "folder" if self.folders else "name"
        return given(naming=naming, again=self.again, suffix=self.file_format)


def batch(
    stills: Stills,
    *,
    looks: LookOptions,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FOLDER", help="Folder for the pictures.")
    ],
    jobs: Annotated[
        int | None,
        typer.Option(metavar="N", help="Stills worked on at a time; else by cores and memory."),
    ] = None,
    no_contact: Annotated[
        bool, typer.Option("--no-contact", help="Make no contact sheet of the folder.")
    ] = False,
    batching: BatchOptions,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be done, and do nothing.")
    ] = False,
    overwrite: Overwrite = False,
    options: StillOptions,
    as_json: Json = False,
) -> None:
    """Render many STILLS through looks into a folder.

    A picture for each still and --look, named after both, and a contact sheet. A run that was
    broken off goes on where it stopped. What an earlier run made with other looks or options stays,
    and so does what was retouched since. Without --look: what the scene keeps.
    """
    from frontglass.cli.contact import written_contact
    from frontglass.sheets.contact import small_copy

    how = {"overwrite": overwrite, **batching.planned()}
    todo = _planned(stills, out, options.at_hand(), looks, **how)
    if dry_run:
        print_plan(todo, as_json=as_json)
        return
    total = len(todo.jobs) + len(todo.done) + len(todo.kept)
    if jobs is None and batching.cluster is None:
        jobs, said = todo.fitting_jobs()
        note(*([said] if said else []))
    small = None if no_contact else small_copy
    running = todo.run(
        **given(processes=jobs, small=small, patience_s=batching.patience, cluster=batching.cluster)
    )
    outcomes = list(shown_of(total, running, lambda ended: ended.job.name))
    contact = None if no_contact else written_contact(todo, outcomes)
    print_outcomes(todo, outcomes, contact, as_json=as_json)


def _planned(
    stills: list[str], out: Path, at_hand: SceneAtHand, looks: LookOptions, **how: Any
) -> Batch:
    """Return the batch of stills, each as typed or as its scene says."""
    from frontglass.batch.run import planned_batch

    @cache
    def recipe_of(still: Path) -> fg.Recipe:
        return at_hand.recipe(still)

    @cache
    def choices_of(still: Path) -> list[tuple[fg.Look, ...]]:
        return [stack.looks for stack in at_hand.stacks_or_none(still, looks)]

    said = {**at_hand.typed, "rig": looks.rig()}
    todo = planned_batch(stills, out, recipe_of, choices_of, typed=said, **how)
    at_hand.say()
    all_stills = todo.found.stills
    say_without_looks([still for still in all_stills if not choices_of(still)], len(all_stills))
    return todo
