"""``frontglass match``: how much of one look equals another."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, Json, LightOptions, Watch, looks_from_texts
from frontglass.cli.scene_options import SceneAtHand, SceneOptions
from frontglass.cli.texts import Record, print_json, table
from frontglass.units import strength_text

if TYPE_CHECKING:
    from frontglass.measurement.match import Effects, Match, Meter

WIDTH_PX = 4096


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
        str,
        typer.Option("--with", metavar="NAME_OR_FILE", help="The look whose strength is sought."),
    ],
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

    What then stays different is said, and the nearest strength that can be rented with what it
    costs.
    """
    from frontglass.looks import read_look
    from frontglass.measurement.match import match

    (reference,), sought = looks_from_texts([look]), read_look(other)
    meter, notices = _meter(still, watch or [], light.typed((), camera), kept.at_hand())
    note(*notices)
    found = match(reference, sought, meter, by)
    if as_json:
        print_json(match_record(found))
    else:
        typer.echo("\n".join(match_lines(found)))
    if found.matched is None:
        raise typer.Exit(1)


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
    from frontglass.measurement.match import SINGLE, Criterion

    assert found.at_stock is not None
    assert found.matched is not None
    if abs(stock / found.matched.strength - 1) < 0.005:
        return f"{strength_text(stock)} is a stock strength."
    asked = SINGLE if found.criterion is Criterion.MIX else (found.criterion,)
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
        "reference": {"name": found.reference.name, "strength": found.reference.strength},
        "by": found.criterion.value,
        **{
            key: look and {"name": look.name, "strength": look.strength}
            for key, look in looks.items()
        },
        "wanted": asdict(found.wanted),
        **{key: value and asdict(value) for key, value in effects.items()},
        "reason": found.reason,
        "left_out": [one.value for one in found.left_out],
    }


def _meter(
    still: Path | None, watch: list[str], typed: Mapping[str, Any], at_hand: SceneAtHand
) -> tuple[Meter, tuple[str, ...]]:
    """Return what measures looks, and what was assumed."""
    from frontglass.errors import ParameterError
    from frontglass.measurement.match import meter_on_targets
    from frontglass.measurement.still import meter_on_still

    if still is None:
        if watch:
            raise ParameterError("watch", "given together with --on STILL", watch[0])
        framing = at_hand.framing(typed["framing"])
        choice = framing.camera_for_width(WIDTH_PX)
        shape = framing.height_for_width(WIDTH_PX) / WIDTH_PX
        return meter_on_targets(choice.camera, shape), choice.notices
    recipe = at_hand.recipe(still, typed)
    watched = at_hand.watch(still, watch)
    at_hand.say()
    picture = recipe.picture_from(still)
    choice = recipe.framing.camera_for(picture)
    parts = tuple(watched.inside(picture))
    meter = meter_on_still(picture, choice.camera, watched=parts, surround=recipe.surround)
    return meter, (*picture.notices, *choice.notices)
