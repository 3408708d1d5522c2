"""A still that is being looked at, and what is read in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from frontglass.errors import FrontglassError, ParameterError
from frontglass.looks import Look
from frontglass.looks.rig import Rig
from frontglass.measurement.watch import WatchedRegion, number_texts, region_numbers
from frontglass.optics.camera import Camera
from frontglass.picture.clipped_lamps import ClippedLamp
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.pipeline.recipe import Recipe
from frontglass.scene.changes import lies_in
from frontglass.scene.marks import SceneWatch

TOLD_SHARE, MOST_LAMPS = 0.95, 12
"""Lamps are circled until they send that much of the light given back, and no more than so many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenStill:
    """A still that is being looked at.

    Parameters
    ----------
    recipe : Recipe
        How it is shown, without looks.
    small, tiny : Picture
        The still as the page works on it, and for small pictures.
    camera : Camera
        What it is rendered for.
    full_px : (int, int)
        Width and height of it in full. [px]
    areas : tuple of ClippedLamp
        Its clipped areas by the pixels of the whole file, most light first.
    corner_px : (int, int)
        Where the taking lens' frame begins in the file. [px]
    notices : tuple of str
        What was assumed.
    light : int
        Another number whenever it is shown otherwise.
    shown : int
        Another number whenever its own light is another, be its lamps and conditions as they may.
    rig : Rig
        How glass stood before the lens then.
    """

    recipe: Recipe
    small: Picture
    tiny: Picture
    camera: Camera
    full_px: tuple[int, int]
    areas: tuple[ClippedLamp, ...]
    corner_px: tuple[int, int]
    notices: tuple[str, ...]
    light: int
    shown: int
    rig: Rig

    def seen(self, looks: Sequence[Look]) -> Picture:
        """Return it through looks."""
        return replace(self.recipe, looks=tuple(looks)).rendered(self.small, self.camera)

    def shows_as(self, other: Picture) -> bool:
        """Return whether another picture has the same light and grain: lamps may be others."""
        own = self.small
        return (
            own.wider is None
            and other.wider is None
            and own.encoding.code_step == other.encoding.code_step
            and np.array_equal(own.radiance, other.radiance)
        )

    def lamps(self) -> list[dict[str, Any]]:
        """Return the lamps that matter and lie in the frame, by the frame's own pixels."""
        shown: list[dict[str, Any]] = []
        before = 0.0
        for number, lamp in enumerate(self.areas):
            x, y = lamp.x_px - self.corner_px[0], lamp.y_px - self.corner_px[1]
            is_inside = 0 <= x < self.full_px[0] and 0 <= y < self.full_px[1]
            matters = lamp.marked or (before < TOLD_SHARE and lamp.stops > 0)
            before += lamp.share
            if is_inside and matters and len(shown) < MOST_LAMPS:
                shown.append(
                    {
                        "number": number,
                        "x": x / self.full_px[0],
                        "y": y / self.full_px[1],
                        "radius": max(lamp.box_px[2:]) / 2 / self.full_px[0],
                        "stops": round(lamp.stops, 1),
                        "unsure": round(lamp.uncertain_stops, 1),
                        "marked": lamp.marked,
                        "kind": self.kind_of(lamp),
                    }
                )
        return shown

    @property
    def camera_text(self) -> str:
        """What it is rendered for, in words."""
        camera = self.camera
        return (
            f"{camera.focal_length_mm:.3g} mm, f/{camera.f_number:.2g},"
            f" {camera.sensor_width_mm:.3g} mm wide,"
            f" filter {camera.filter_distance_mm:.3g} mm before the pupil"
        )

    def kind_of(self, lamp: ClippedLamp) -> str:
        """Return what somebody said a lamp is; empty if nobody did."""
        marks = reversed(self.recipe.recovery.marks)
        own = (one for one in marks if lies_in((one.x_px, one.y_px), lamp.box_px))
        return next((one.kind or "" for one in own), "")

    def in_file(self, x: float, y: float) -> tuple[int, int]:
        """Return the file's pixel at a place of the frame, over its width and height."""
        width, height = self.full_px
        across, down = min(int(x * width), width - 1), min(int(y * height), height - 1)
        return across + self.corner_px[0], down + self.corner_px[1]

    def point_in_frame(self, x_px: float, y_px: float, metres: float) -> dict[str, float]:
        """Return a place of the file in the frame, over its width and height, and how far it is."""
        x, y, _, _ = self.in_frame(Region(int(x_px), int(y_px), 1, 1))
        return {"x": x, "y": y, "metres": metres}

    def in_frame(self, region: Region) -> tuple[float, float, float, float]:
        """Return where a part of the file lies in the frame, over its width and height."""
        width, height = self.full_px
        return (
            (region.x_px - self.corner_px[0]) / width,
            (region.y_px - self.corner_px[1]) / height,
            region.width_px / width,
            region.height_px / height,
        )


def watched_part(
    still: OpenStill, part: SceneWatch, bare: Picture, seen: Picture
) -> dict[str, Any]:
    """Return where a part lies in the frame, and what is read in it, bare and as it is seen."""
    x, y, width, height = still.in_frame(Region(*part.region_px))
    columns, rows = bare.width_px, bare.height_px
    left, top = round(x * columns), round(y * rows)
    region = Region(left, top, round(width * columns), round(height * rows))
    found: dict[str, Any] = {"name": part.name, "place": [x, y, width, height], "problem": ""}
    watched = WatchedRegion(part.name, region)
    camera = still.recipe.framing.camera_for(bare).camera
    try:
        texts = [
            number_texts(region_numbers(watched, one, bare, camera), watched.kinds)
            for one in (bare, seen)
        ]
    except ParameterError as error:
        return {**found, "bare": [], "seen": [], "problem": problem(error)}
    return {**found, "bare": list(texts[0]), "seen": list(texts[1])}


def problem(error: Exception) -> str:
    """Return what went wrong with a still, in one line."""
    if isinstance(error, FrontglassError):
        return " ".join(str(error).split())
    if isinstance(error, MemoryError):
        return "Not enough memory for a still of this size."
    said = getattr(error, "strerror", None)
    return f"Cannot be read ({said})." if said else "Cannot be shown."
