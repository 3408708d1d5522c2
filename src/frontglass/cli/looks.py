"""``frontglass looks`` and ``frontglass show``: what there is, and what it is made of."""

from __future__ import annotations

from typing import Annotated

import typer

import frontglass as fg
from frontglass.cli.glass_options import GlassOptions
from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, Json, Strengths, steps_of
from frontglass.cli.progress import working
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.texts import print_json
from frontglass.units import STOCK_STRENGTHS

PREVIEW_WIDTH_PX = 1920


def looks(*, as_json: Json = False) -> None:
    """List the looks there are, and what to watch for."""
    shipped = fg.catalogue()
    if as_json:
        print_json([{"name": x.name, "summary": x.summary, "watch": x.watch} for x in shipped])
        return
    for look in shipped:
        typer.echo(f"{look.name}\n    {look.summary}\n    watch: {look.watch}")


def show(
    look: Annotated[
        str,
        typer.Argument(metavar="LOOK[:STRENGTH]", help="Name or file.", show_default=False),
    ],
    *,
    strengths: Strengths = None,
    width: Annotated[
        int, typer.Option(metavar="PX", help="Width of the picture, for radii in pixels.")
    ] = PREVIEW_WIDTH_PX,
    glass: GlassOptions,
    camera: CameraOptions,
    kept: SceneOptions,
    as_json: Json = False,
) -> None:
    """Show what a look is made of and what it does, in numbers."""
    from frontglass.cli.look_texts import look_lines, look_record
    from frontglass.measurement import look_numbers

    name, steps = steps_of(look, strengths)
    at_hand = kept.at_hand(framing=camera.framing())
    (shown,) = at_hand.on_glass(None, glass, [fg.read_look(name)])
    choice = at_hand.framing().camera_for_width(width)
    at_hand.say()
    note(*choice.notices)
    chosen = steps or tuple(map(float, STOCK_STRENGTHS))
    with working(f"computing {look}"):
        numbers = [look_numbers(shown.at(strength), choice.camera, width) for strength in chosen]
    if as_json:
        print_json(look_record(shown, numbers, choice.camera, width))
    else:
        typer.echo("\n".join(look_lines(shown, numbers, choice.camera, width)))
