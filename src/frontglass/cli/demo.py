"""``frontglass demo``: the scene that comes with frontglass, through several looks."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frontglass.cli.ladder import close_ups_of, written_ladder
from frontglass.cli.options import Overwrite
from frontglass.cli.progress import working
from frontglass.cli.scene_options import WatchedParts

if TYPE_CHECKING:
    from frontglass.looks import Look
    from frontglass.pipeline.recipe import Recipe

SCENE = "cafe_1280.exr"
SCENE_DISTANCE = "cafe_1280_distance.exr"
SCENE_FIELD_DEG = 52.0
"""Horizontal field that the scene was rendered with."""
SCENE_EXPOSURE_STOPS = 2.5
"""Exposure at which its lamps are bright and its corners dark."""
LOOKS = (
    "harbour-night",
    "wet-quay",
    "rehearsal-room",
    "powder-room",
    "slate-roof",
    "wharf-morning",
)
LADDER_LOOK = "harbour-night"
CLOSE_UPS = ("60,360,180,120", "1060,140,180,120")
"""The table lamp, and fine hair against a rim light."""


def demo(
    *,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FOLDER", help="Folder to write to.")
    ] = Path("frontglass-demo"),
    overwrite: Overwrite = False,
) -> None:
    """See a ferry terminal after closing through several looks.

    The scene comes with frontglass; the files land in a folder, a ladder among them.
    """
    from frontglass.looks import read_look
    from frontglass.pipeline.still_files import render_file
    from frontglass.shipped import shipped_folder

    out.mkdir(parents=True, exist_ok=True)
    still = shipped_folder("examples") / SCENE
    for name in (None, *LOOKS):
        target = out / f"{name or 'bare'}.png"
        looks = () if name is None else (read_look(name),)
        with working(f"rendering {target.name}"):
            render_file(still, target, scene_recipe(looks), overwrite=overwrite)
        typer.echo(str(target))
    target = out / f"{LADDER_LOOK}_ladder.png"
    look = read_look(LADDER_LOOK)
    close_ups = partial(close_ups_of, CLOSE_UPS, WatchedParts(()))
    written_ladder(still, look, target, scene_recipe(), close_ups, overwrite=overwrite)
    typer.echo(f"{target}\nOpen the ladder first, then flip between bare.png and the others.")


def scene_recipe(looks: tuple[Look, ...] = ()) -> Recipe:
    """Return the recipe that shows the scene as it was meant, through `looks`."""
    from frontglass.optics.camera import Camera
    from frontglass.pipeline.framing import Framing
    from frontglass.pipeline.recipe import Recipe
    from frontglass.pipeline.space import Space
    from frontglass.shipped import shipped_folder

    lens_mm = Camera.from_field(SCENE_FIELD_DEG).focal_length_mm
    framing = Framing(lens_mm=lens_mm, f_number=2.8, sensor="36x20.25")
    space = Space(depth=shipped_folder("examples") / SCENE_DISTANCE)
    return Recipe(looks=looks, framing=framing, space=space, exposure_stops=SCENE_EXPOSURE_STOPS)
