"""``frontglass compare``: several looks on one still, side by side and in numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import (
    Json,
    LampRange,
    LookOptions,
    Overwrite,
    SeenOn,
    SheetOut,
    Still,
    Watch,
    given,
)
from frontglass.cli.scene_options import StillOptions
from frontglass.cli.still_read import check_sheet, reading_meanwhile, still_read
from frontglass.cli.texts import Record, print_json

if TYPE_CHECKING:
    from frontglass.looks import LookStack


def compare(
    still: Still,
    *,
    looks: LookOptions,
    watch: Watch = None,
    out: SheetOut = None,
    width: Annotated[int | None, typer.Option(metavar="PX", help="Width of the sheet.")] = None,
    seen_on: SeenOn = None,
    lamp_range: LampRange = False,
    options: StillOptions,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """Set looks side by side on STILL, in numbers too.

    The bare still first, then each look, with close-ups of watched parts. --json prints the
    numbers too.
    """
    with reading_meanwhile(still, options.light):
        from frontglass.sheets.compare import compare

        target = out or still.with_name(f"{still.stem}_compare.png")
        check_sheet(target, still, overwrite=overwrite)
        at_hand = options.at_hand()
        chosen = at_hand.stacks(still, looks)
        recipe, parts = at_hand.recipe(still), at_hand.watch(still, watch)
    at_hand.say()
    read = still_read(recipe, still)
    numbers = _Numbers(read.picture, read.camera)
    ends = recipe.lamp_range_from(still) if lamp_range else ()
    sheet = compare(
        read.picture,
        chosen,
        watched=[(one.name, one.region) for one in parts.inside(read.picture)],
        numbers=numbers.texts,
        ends=ends,
        **read.on_a_sheet,
        **given(width_px=width, seen_on=seen_on),
    )
    fg.write_sheet(target, sheet, quality=recipe.quality)
    note(*sheet.notices)
    if as_json:
        ghosts = {str(look): ghosts_record(read.picture, look, read.camera) for look in chosen}
        ends_named = [end for end, _ in ends]
        print_json({**_record(target, chosen, ends_named, numbers.read), "ghosts_seen": ghosts})
    else:
        typer.echo(str(target))


def ghosts_record(picture: fg.Picture, look: LookStack, camera: fg.Camera) -> int | None:
    """Return how many ghosts will be seen; None for what stands on no glass."""
    from frontglass.pipeline.still_ghosts import ghosts_of

    found = ghosts_of(picture, [look], camera)
    return None if found is None else len(found.ghosts.seen)


class _Numbers:
    """Numbers of watched parts as each look shows them: as texts, and kept for a script."""

    def __init__(self, bare: fg.Picture, camera: fg.Camera) -> None:
        self.read: dict[str, list[object]] = {}
        self._bare, self._camera = bare, camera

    def texts(self, name: str, region: fg.Region, seen: fg.Picture) -> tuple[str, ...]:
        """Return what a sheet says of a part of the still as it is seen."""
        from frontglass.measurement.watch import WatchedRegion, number_texts, region_numbers

        part = WatchedRegion(name, region)
        found = region_numbers(part, seen, self._bare, self._camera)
        self.read.setdefault(name, []).append(asdict(found))
        return number_texts(found, part.kinds)


def _record(
    target: Path,
    looks: Sequence[LookStack],
    ends: Sequence[str],
    read: Mapping[str, Sequence[object]],
) -> Record:
    """Return a sheet's numbers as a script wants to read them."""
    named = [f"{look}, {end}" for look in looks for end in ends] or [str(look) for look in looks]
    names = ["bare", *named]
    return {
        "out": str(target),
        "light_loss_stops": {str(look): look.light_loss_stops for look in looks},
        "watched": {part: dict(zip(names, found, strict=True)) for part, found in read.items()},
    }
