"""``frontglass match``: how much of one look equals another."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, Json, LightOptions, Watch, looks_from_texts
from frontglass.cli.progress import working
from frontglass.cli.scene_options import SceneAtHand, SceneOptions
from frontglass.cli.still_read import still_read
from frontglass.cli.texts import Record, named, print_json, table
from frontglass.errors import ParameterError
from frontglass.units import strength_text

if TYPE_CHECKING:
    from frontglass.measurement.match import Effects, Match, Meter

WIDTH_PX = 4096
RANKED_WIDTH_PX, ROUGH_WIDTH_PX = 1280, 960
"""Width at which a still is good enough to rank looks on it, and to begin to match them."""
LEAST_PART_PX = 6
"""What watched parts keep at least there."""


def match(
    look: Annotated[
        str,
        typer.Argument(
            metavar="LOOK[:STRENGTH]",
            help="The look to equal, at 1 if it says no strength.",
            show_default=False,
        ),
    ],
    *,
    other: Annotated[
        str | None,
        typer.Option("--with", metavar="NAME_OR_FILE", help="The look whose strength is sought."),
    ] = None,
    among: Annotated[
        list[str] | None,
        typer.Option(
            metavar="all|NAME|FILE|FOLDER",
            help="Rank these as stand-ins instead: all that come along, or your own; repeatable.",
        ),
    ] = None,
    by: Annotated[
        Literal["halo", "black", "texture", "mix"],
        typer.Option(help="In what they are to be equal; mix weighs all three alike."),
    ] = "mix",
    still: Annotated[
        Path | None,
        typer.Option("--on", metavar="STILL", help="Judge on this still, not on standard targets."),
    ] = None,
    watch: Watch = None,
    camera: CameraOptions,
    light: LightOptions,
    kept: SceneOptions,
    as_json: Json = False,
) -> None:
    """Find the strength at which one look equals another.

    What stays different is said, at the nearest stock strength too. --among all ranks every look.
    """
    from frontglass.measurement.match import match

    if (other is None) == (not among):
        raise ParameterError("match", "given either --with LOOK or --among all", other or "neither")
    (reference,) = looks_from_texts([look])
    at_hand = kept.at_hand(**light.typed(camera))
    widest = RANKED_WIDTH_PX if other is None else math.inf
    judge = _judge(still, watch or [], at_hand, widest)
    note(*judge.notices)
    if other is None:
        _rank(reference, among or [], by, judge, as_json=as_json)
        return
    with working(f"matching {reference}"):
        found = match(reference, fg.read_look(other), judge.meter, by, rough=judge.rough)
    if as_json:
        print_json(match_record(found))
    else:
        typer.echo("\n".join(match_lines(found)))
    if found.matched is None:
        raise typer.Exit(1)


def _rank(reference: fg.Look, among: list[str], by: str, judge: _Judge, *, as_json: bool) -> None:
    """Print which looks come closest to one."""
    from frontglass.cli.stand_ins import (
        candidates,
        looked_through,
        ranking_lines,
        ranking_record,
    )
    from frontglass.measurement.stand_ins import ranked_stand_ins

    looks = candidates(among)
    found = ranked_stand_ins(
        reference,
        looks,
        judge.camera,
        judge.height_of_width,
        meter=judge.meter,
        criterion=by,
        progress=looked_through,
    )
    if as_json:
        print_json(ranking_record(found))
    else:
        typer.echo("\n".join(ranking_lines(found)))


def match_lines(found: Match) -> Iterator[str]:
    """Yield what came of a match in lines of text."""
    if found.matched is None or found.got is None:
        yield f"no match: {found.reason}."
        return
    assert found.stock is not None
    assert found.at_stock is not None
    strength, stock = found.matched.strength, found.stock.strength
    name = found.matched.name
    yield f"{name} {strength:.3g} equals {found.reference} in {found.criterion.value}."
    if found.left_out:
        left = " and ".join(one.value for one in found.left_out)
        yield f"The mix leaves out {left}: one of the two does nothing there."
    yield ""
    yield table(
        [
            ["", str(found.reference), f"{name} {strength:.3g}", "difference",
             f"{name} {strength_text(stock)} (stock)", "difference"],
            *_rows(found.wanted, found.got, found.at_stock),
        ]
    )  # fmt: skip
    yield ""
    yield _stock_line(found, stock)


def _stock_line(found: Match, stock: float) -> str:
    from frontglass.measurement.match import SINGLE

    assert found.at_stock is not None
    assert found.matched is not None
    if abs(stock / found.matched.strength - 1) < 0.005:
        return f"{strength_text(stock)} is a stock strength."
    asked = SINGLE if found.criterion is fg.Criterion.MIX else (found.criterion,)
    costs = [
        f"{100 * (found.at_stock.of(one) / found.wanted.of(one) - 1):+.0f} % in {one.value}"
        for one in asked
        if one not in found.left_out
    ]
    return f"Nearest stock strength: {strength_text(stock)}, {', '.join(costs)}."


def _rows(wanted: Effects, got: Effects, stock: Effects) -> list[list[str]]:
    def row(title: str, name: str, scale: float, unit: str) -> list[str]:
        values = [scale * getattr(effects, name) for effects in (wanted, got, stock)]
        first, *others = values
        cells = [f"{first + 0.0:.2f} {unit}"]
        for value in others:
            cells += [f"{value + 0.0:.2f} {unit}", f"{round(value - first, 2) + 0.0:+.2f}"]
        return [title, *cells]

    return [
        row("halo light", "halo", 100, "%"),
        row("black lift", "black_stops", 1, "stops"),
        row("texture lost", "texture", 100, "%"),
        row("light loss", "light_loss_stops", 1, "stops"),
    ]


def match_record(found: Match) -> Record:
    """Return a match as a script wants to read it; null where there is none."""
    looks = {"matched": found.matched, "stock": found.stock}
    effects = {"got": found.got, "at_stock": found.at_stock}
    return {
        "reference": named(found.reference),
        "by": found.criterion.value,
        **{key: look and named(look) for key, look in looks.items()},
        "wanted": asdict(found.wanted),
        **{key: value and asdict(value) for key, value in effects.items()},
        "reason": found.reason,
        "left_out": [one.value for one in found.left_out],
    }


@dataclass(frozen=True)
class _Judge:
    """What measures looks, with which camera on which shape of frame, and what was assumed."""

    meter: Meter
    camera: fg.Camera
    height_of_width: float
    notices: tuple[str, ...]
    rough: Meter | None = None
    """On a small still, which says nearly the same."""


def _judge(still: Path | None, watch: list[str], at_hand: SceneAtHand, width_px: float) -> _Judge:
    """Return what measures looks, on targets or on a still no wider than that."""
    from frontglass.choices import Surround
    from frontglass.measurement.still import meter_on_still
    from frontglass.picture.reduced import reduced, reduced_region

    if still is None:
        if watch:
            raise ParameterError("watch", "given together with --on STILL", watch[0])
        framing = at_hand.framing()
        at_hand.say()
        choice = framing.camera_for_width(WIDTH_PX)
        shape = framing.height_for_width(WIDTH_PX) / WIDTH_PX
        meter = fg.meter_on_targets(choice.camera, shape)
        return _Judge(meter, choice.camera, shape, choice.notices)
    recipe = at_hand.recipe(still)
    watched = at_hand.watch(still, watch)
    at_hand.say()
    read = still_read(recipe, still)
    picture = read.picture
    parts = tuple(watched.inside(picture))

    def meter_at(widest_px: float, surround: Surround) -> Meter:
        scale = widest_px / picture.width_px
        if scale >= 1:
            return meter_on_still(picture, read.camera, watched=parts, surround=surround)
        small = tuple(replace(one, region=reduced_region(one.region, scale)) for one in parts)
        seen = reduced(picture, int(widest_px))
        return meter_on_still(seen, read.camera, watched=small, surround=surround)

    least_px = min((min(one.region.size_px) for one in parts), default=picture.width_px)
    rough_px = max(ROUGH_WIDTH_PX, LEAST_PART_PX / least_px * picture.width_px)
    is_large = picture.width_px >= 2 * rough_px and math.isinf(width_px)
    return _Judge(
        meter_at(width_px, recipe.surround),
        read.camera,
        picture.height_px / picture.width_px,
        read.notices,
        # Among mirror images a small still takes a fifth of the time, and is as near.
        meter_at(rough_px, Surround.MIRROR) if is_large else None,
    )
