"""Options that say how far things are."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import typer

import frontglass as fg


@dataclass(frozen=True, kw_only=True)
class SpaceOptions:
    """How far everything is; only haze asks."""

    depth: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Distance map: 16-bit PNG or TIFF, float TIFF, OpenEXR, NPY; or a folder of them.",
        ),
    ] = None
    depth_scale: Annotated[
        float | None,
        typer.Option(metavar="METRES", help="What one number of the map is worth: 0.001."),
    ] = None
    depth_is: Annotated[
        Literal["ray", "depth"] | None,
        typer.Option(help="Distance along each ray, or depth along the axis of the lens."),
    ] = None
    room: Annotated[
        str | None,
        typer.Option(
            metavar="NAME=METRES,...",
            help="Simple room instead: camera=1.6,back=9,left=3,right=3,ceiling=3,"
            "horizon=ROW,vanishing=COLUMN.",
        ),
    ] = None
    distance: Annotated[
        list[str] | None,
        typer.Option(
            metavar="X,Y,METRES", help="How far one place of the still is; several times."
        ),
    ] = None

    def space(self, lamps: tuple[fg.LampPlace, ...]) -> fg.Space:
        """Return these options as the library takes them, with the lamps that were marked."""
        return fg.Space(
            depth=self.depth,
            depth_scale_m=self.depth_scale,
            depth_kind=self.depth_is,
            room=fg.Room.from_text(self.room) if self.room is not None else None,
            points=tuple(fg.DistancePoint.from_text(text) for text in self.distance or ()),
            lamps=lamps or None,
        )
