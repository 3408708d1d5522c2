"""``frontglass ghosts``: which lamps of a still glass mirrors, and what tilt is needed."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import (
    CameraOptions,
    Json,
    LightOptions,
    LookOptions,
    Overwrite,
    Still,
)
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.still_read import check_sheet, still_read
from frontglass.cli.texts import Record, print_json, table
from frontglass.units import percent_text

if TYPE_CHECKING:
    from frontglass.looks import LookStack
    from frontglass.pipeline.still_ghosts import FoundGhosts

SHOWN = 20


def ghosts(
    still: Still,
    *,
    looks: LookOptions,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="PNG or JPEG to draw lamps and ghosts on.")
    ] = None,
    camera: CameraOptions,
    light: LightOptions,
    kept: SceneOptions,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """List the ghosts that glass throws of STILL's lamps.

    Where each falls, how bright, whether it will be seen, and the tilt that hides them all.
    --out draws them on a copy of the still, seen through its glass. Without glass there are none.
    """
    from frontglass.pipeline.still_ghosts import ghosts_of
    from frontglass.sheets.lamp_map import ghost_map

    at_hand = kept.at_hand(**light.typed(camera))
    stacks = at_hand.stacks(still, looks)
    if len(stacks) > 1:
        raise typer.BadParameter("one at a time; A+B is a stack.", param_hint="'--look'")
    if out is not None:
        check_sheet(out, still, overwrite=overwrite)
    recipe = replace(at_hand.recipe(still), looks=stacks[0].looks)
    at_hand.say()
    read = still_read(recipe, still)
    note(*read.notices)
    found = ghosts_of(read.picture, stacks, read.camera)
    if out is not None and found is not None:
        seen = recipe.rendered(read.picture, read.camera)
        fg.write_sheet(out, ghost_map(seen, found.drawn[:SHOWN], found.corner_px))
        note(f"Drawn on {out}.")
    if as_json:
        print_json(_record(still, stacks[0], read.camera, found))
    else:
        typer.echo(_text(stacks[0], read.camera, found))


def _record(still: Path, stack: LookStack, camera: fg.Camera, found: FoundGhosts | None) -> Record:
    told = found.told if found else ()
    tilt = found.ghosts.tilt_deg if found else (0.0, 0.0)
    return {
        "still": str(still),
        "look": stack.text,
        "on_glass": found is not None,
        "focus_m": camera.focus_m,
        "tilt_deg": None if tilt is None else list(tilt),
        "ghosts": [
            {
                "lamp_px": [round(part, 1) for part in ghost.lamp_px],
                "ghost_px": [round(part, 1) for part in ghost.ghost_px],
                "level": float(f"{ghost.level:.4g}"),
                "under": float(f"{ghost.under:.4g}"),
                "width_px": round(ghost.width_px, 1),
                "pupil_share": round(ghost.share, 3),
                "seen": ghost.is_seen,
            }
            for ghost in told
        ],
    }


def _text(stack: LookStack, camera: fg.Camera, found: FoundGhosts | None) -> str:
    from frontglass.elements.ghosts import tilt_words

    if found is None:
        return f"{stack} stands on no glass: no ghosts"
    if not found.told:
        return "no lamp throws a ghost into the frame"
    rows = [["no", "lamp, px", "ghost, px", "of white", "on", "wide, px", "of the pupil", "seen"]]
    for number, ghost in enumerate(found.told[:SHOWN], 1):
        rows.append(
            [
                str(number),
                *(f"{place[0]:.0f},{place[1]:.0f}" for place in (ghost.lamp_px, ghost.ghost_px)),
                percent_text(ghost.level),
                percent_text(ghost.under),
                f"{ghost.width_px:.0f}" if ghost.width_px >= 1 else "sharp",
                f"{ghost.share:.0%}",
                "yes" if ghost.is_seen else "no",
            ]
        )
    rest = len(found.told) - SHOWN
    more = f"\nand {rest} fainter ones" if rest > 0 else ""
    is_far = camera.focus_m is None or math.isinf(camera.focus_m)
    focus = "infinity" if is_far else f"{camera.focus_m:g} m"
    told = tilt_words(found.ghosts.tilt_deg) if found.ghosts.seen else "None will be seen."
    return f"{table(rows)}{more}\nfocus {focus}, f/{camera.f_number:g}. {told}"
