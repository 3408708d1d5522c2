"""``frontglass measure``: the spec sheet of looks, from standard targets."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, Json, Overwrite, Strengths, looks_from_texts
from frontglass.cli.progress import shown
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.texts import print_json
from frontglass.units import strengths_from_text

WIDTH_PX = 4096


def measure(
    looks: Annotated[
        list[str],
        typer.Argument(
            metavar="LOOK[:STRENGTH]...", help="Names or files, 1 if none.", show_default=False
        ),
    ],
    *,
    strengths: Strengths = None,
    width: Annotated[
        int, typer.Option(metavar="PX", help="Width of the picture: how fine its pixels are.")
    ] = WIDTH_PX,
    csv: Annotated[Path | None, typer.Option("--csv", help="Write the numbers there too.")] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", "-o", help="PNG or JPEG of the curves to write.")
    ] = None,
    camera: CameraOptions,
    kept: SceneOptions,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """Measure looks on standard targets.

    Detail, glare, halos, contrast and texture: a slanted edge, a black disc, a ten-stop wedge, a
    small lamp and gratings go through the engine that renders stills. With --strengths every look
    is measured at each of them.
    """
    from frontglass.cli import measure_texts as texts
    from frontglass.files.whole import write_bytes_whole
    from frontglass.measurement.measure import measure
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.sheet import check_suffix

    for target in filter(None, (csv, picture)):
        check_may_write(target, [], overwrite=overwrite)
    if picture:
        check_suffix(picture)
    steps = strengths and strengths_from_text(strengths)
    named = looks_from_texts(looks, "1" if steps else None)
    if steps:
        named = [look.at(strength) for look in named for strength in steps]
    at_hand = kept.at_hand(framing=camera.framing())
    framing = at_hand.framing()
    at_hand.say()
    choice, height = framing.camera_for_width(width), framing.height_for_width(width)
    measured = [measure(look, choice.camera, width, height) for look in shown(named)]
    notices = tuple(dict.fromkeys((*choice.notices, *(n for m in measured for n in m.notices))))
    note(*notices)
    if csv:
        write_bytes_whole(csv, texts.measures_csv(measured).encode(errors="backslashreplace"))
    if picture:
        fg.write_sheet(picture, texts.measures_sheet(measured, choice.camera, width, notices))
    if as_json:
        print_json(texts.measures_record(measured, choice.camera, width))
    else:
        typer.echo(texts.measures_text(measured))
