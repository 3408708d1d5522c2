"""``frontglass sway``: how halos and dots behave when the camera moves."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import LookOptions, Overwrite, Still, given, targets_of
from frontglass.cli.progress import shown
from frontglass.cli.scene_options import StillOptions
from frontglass.cli.still_read import still_read

if TYPE_CHECKING:
    from frontglass.looks import LookStack


def sway(
    still: Still,
    *,
    looks: LookOptions,
    out: Annotated[
        list[Path] | None,
        typer.Option("--out", "-o", help="WebP, GIF or MP4; else a WebP and an MP4 beside it."),
    ] = None,
    pan: Annotated[float | None, typer.Option(metavar="DEG", help="Radius of it; else 1.")] = None,
    exaggerate: Annotated[
        float | None, typer.Option(metavar="TIMES", help="Show structure this much too strong.")
    ] = None,
    width: Annotated[
        int | None, typer.Option(metavar="PX", help="Width of the loop at most.")
    ] = None,
    beside: Annotated[
        bool,
        typer.Option("--beside", help="All looks beside one another in one loop: glass, haze."),
    ] = False,
    options: StillOptions,
    overwrite: Overwrite = False,
) -> None:
    """Show STILL through looks as the camera moves.

    In a small circle of pan and tilt halos of small lamps boil, dots of nets turn, ghosts of glass
    swim against their lamps, haze does none of this. One line says how visible it will be.
    """
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.sway import check_loop_suffix, side_by_side, sway, write_loop

    at_hand = options.at_hand()
    stacks = at_hand.stacks(still, looks)
    loops = _loops(still, stacks, out, beside=beside)
    for target in (target for _, targets in loops for target in targets):
        check_may_write(target, [still], overwrite=overwrite)
        check_loop_suffix(target)
    recipe = at_hand.recipe(still)
    at_hand.say()
    read = still_read(recipe, still)
    note(*read.notices)
    how = {
        **read.conditions,
        "progress": lambda numbers: shown(numbers, lambda n: f"frame {n + 1}"),
        **given(pan_deg=pan, exaggerate=exaggerate, width_px=width),
    }
    for together, targets in loops:
        made = [sway(read.picture, stack.looks, **how) for stack in together]
        loop = side_by_side(made, list(map(str, together))) if beside else made[0]
        for target in targets:
            write_loop(target, loop)
            typer.echo(str(target))
        typer.echo(loop.verdict)


def _loops(
    still: Path, stacks: Sequence[LookStack], out: list[Path] | None, *, beside: bool
) -> list[tuple[list[LookStack], list[Path]]]:
    """Return where the loop of each choice, or of all beside one another, goes."""
    ends = (".webp", ".mp4")
    if beside:
        return [(list(stacks), out or [still.with_name(f"{still.stem}_sway{e}") for e in ends])]
    if out:
        targets_of(stacks, out[0], lambda _: still)
    return [
        ([stack], out or [still.with_name(f"{_stem(still, stacks, stack)}{end}") for end in ends])
        for stack in stacks
    ]


def _stem(still: Path, stacks: Sequence[LookStack], stack: LookStack) -> str:
    from frontglass.pipeline.still_files import looks_in_a_name

    name = f"_{looks_in_a_name(stack.looks)}" if len(stacks) > 1 else ""
    return f"{still.stem}{name}_sway"
