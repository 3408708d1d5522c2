"""``frontglass demo``: the scene that comes with frontglass, through several looks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import frontglass as fg
from frontglass.cli.ladder import written_ladder
from frontglass.cli.options import Overwrite
from frontglass.cli.progress import working
from frontglass.shipped import shipped_folder

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
    out.mkdir(parents=True, exist_ok=True)
    still = shipped_folder("examples") / SCENE
    for name in (None, *LOOKS):
        target = out / f"{name or 'bare'}.png"
        looks = () if name is None else (fg.read_look(name),)
        with working(f"rendering {target.name}"):
            fg.render_file(still, target, scene_recipe(looks), overwrite=overwrite)
        typer.echo(str(target))
    target = out / f"{LADDER_LOOK}_ladder.png"
    look = fg.read_look(LADDER_LOOK)
    written_ladder(still, look, target, scene_recipe(), close_ups=CLOSE_UPS, overwrite=overwrite)
    typer.echo(f"{target}\nOpen the ladder first, then flip between bare.png and the others.")


def scene_recipe(looks: tuple[fg.Look, ...] = ()) -> fg.Recipe:
    """Return the recipe that shows the scene as it was meant, through `looks`."""
    lens_mm = fg.Camera.from_field(SCENE_FIELD_DEG).focal_length_mm
    framing = fg.Framing(lens_mm=lens_mm, f_number=2.8, sensor="36x20.25")
    space = fg.Space(depth=shipped_folder("examples") / SCENE_DISTANCE)
    return fg.Recipe(looks=looks, framing=framing, space=space, exposure_stops=SCENE_EXPOSURE_STOPS)
