"""``frontglass lamps``: the clipped areas of a still, and what is believed of each."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import (
    Encoding,
    GainMap,
    Json,
    Lamps,
    Overwrite,
    Still,
    White,
    given,
    recovery_from,
)
from frontglass.cli.progress import working
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.still_read import check_sheet
from frontglass.cli.texts import print_json, table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from frontglass.picture.clipped_lamps import RecoveredStill

SHOWN = 20
TOLD_SHARE = 0.99
"""Areas are told until they send that much of the light given back."""


Marks = Annotated[
    list[str] | None,
    typer.Option(
        metavar="X,Y,STOPS|KIND",
        help="What a clipped lamp is, or how far above white; may be given several times.",
    ),
]


def lamps(
    still: Still,
    *,
    clipped: Annotated[
        str | None,
        typer.Option(metavar="auto|off|STOPS", help="As for apply: auto estimates each area."),
    ] = None,
    lamp: Marks = None,
    lamps: Lamps = None,
    white: White = None,
    gain_map: GainMap = None,
    encoding: Encoding = None,
    keep: Annotated[
        bool,
        typer.Option("--keep", help="Keep marks, kind and white in the scene beside the still."),
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="PNG or JPEG to draw the areas on.")
    ] = None,
    kept: SceneOptions,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """List what clips in STILL, and how bright it is taken to be.

    Those that would send most light come first; --out draws them on a copy of the still.
    """
    from frontglass.picture.marks import marks_from_texts
    from frontglass.sheets.lamp_map import lamp_map

    if out is not None:
        check_sheet(out, still, overwrite=overwrite)
    typed = recovery_from(clipped, marks_from_texts(lamp or ()).levels, lamps, white)
    at_hand = kept.at_hand()
    recovery = at_hand.recovery(still, typed or fg.Recovery())
    encoding = at_hand.encoding(still, encoding)
    at_hand.say()
    with working(f"reading {still.name}"):
        found = fg.with_recovered_light(
            fg.read_picture(still, **given(gain_map=gain_map, encoding=encoding)), recovery
        )
    told = _told(found.lamps)
    if out is not None:
        fg.write_sheet(out, lamp_map(found.picture, told))
    if keep:
        values = given(white_cd_per_m2=white, others=lamps)
        note(f"Kept in {_kept_in(kept.scene, still, lamp or [], values, found)}.")
    note(*found.picture.notices)
    if as_json:
        print_json(_record(still, found, told))
    else:
        typer.echo(_text(found, told))


def _kept_in(
    scene: Path | None,
    still: Path,
    texts: list[str],
    told: dict[str, Any],
    found: RecoveredStill,
) -> Path:
    """Write what was typed of a still's lamps into its scene; what was not typed stays there."""
    from frontglass.cli.scene_files import told_of_still
    from frontglass.scene.changes import with_lamps
    from frontglass.scene.old_lamps import lamps_from_texts

    boxes = [lamp.box_px for lamp in found.lamps]

    def change(one: fg.SceneStill) -> fg.SceneStill:
        return with_lamps(replace(one, **told), lamps_from_texts(texts), boxes)

    path, _ = told_of_still(still, scene, change)
    return path


def _told(lamps: Sequence[fg.ClippedLamp]) -> list[fg.ClippedLamp]:
    """Return the areas that matter, and those that somebody marked."""
    told: list[fg.ClippedLamp] = []
    before = 0.0
    for lamp in lamps:
        if (before < TOLD_SHARE and len(told) < SHOWN) or lamp.marked:
            told.append(lamp)
        before += lamp.share
    return told


def _record(
    still: Path, found: RecoveredStill, told: Sequence[fg.ClippedLamp]
) -> dict[str, object]:
    white = found.white
    return {
        "still": str(still),
        "white_cd_per_m2": None if white is None else round(white.cd_per_m2, 2),
        "held_stops": round(found.picture.held_stops, 2),
        "doubt_stops": round(found.doubt_stops, 2),
        "areas": found.areas,
        "lamps": [
            {
                "x_px": round(lamp.x_px, 1),
                "y_px": round(lamp.y_px, 1),
                "box_px": list(lamp.box_px),
                "area_px": lamp.area_px,
                "stops": round(lamp.stops, 2),
                "uncertain_stops": round(lamp.uncertain_stops, 2),
                "share": round(lamp.share, 4),
                "colour": [round(part, 3) for part in lamp.colour],
                "marked": lamp.marked,
            }
            for lamp in told
        ],
    }


def _text(found: RecoveredStill, told: Sequence[fg.ClippedLamp]) -> str:
    held = ""
    if found.picture.beyond is not None:
        held = f"gain map: light up to {found.picture.held_stops:.1f} stops above white\n"
    if not told:
        return f"{held}nothing clips{' at the end of the gain map' if held else ''}"
    if found.white is None:
        known = "white: not known (the file tells no exposure; --white types its cd/m2)"
    else:
        sure = f", by the file's exposure, within {found.white.uncertain_stops:g} stop"
        typed = sure if found.white.uncertain_stops else ""
        known = f"white: {found.white.cd_per_m2:.3g} cd/m2{typed}"
    rows = [["no", "at, px", "area, px", "stops above white", "of the light", "colour, R G B"]]
    for number, lamp in enumerate(told, 1):
        spread = f"+-{lamp.uncertain_stops:.1f}" if lamp.uncertain_stops else "typed"
        level = f"{lamp.stops:.1f} {spread}" if lamp.stops > 0 or lamp.marked else "plain white"
        colour = " ".join(f"{part:.2f}" for part in lamp.colour)
        place = f"{lamp.x_px:.0f},{lamp.y_px:.0f}"
        rows.append([str(number), place, str(lamp.area_px), level, f"{lamp.share:.0%}", colour])
    rest, share = found.areas - len(told), max(0.0, 1 - sum(lamp.share for lamp in told))
    more = f"\nand {rest} that would send {share:.1%} together" if rest > 0 else ""
    return f"{held}{known}\n{table(rows)}{more}"
