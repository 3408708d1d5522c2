"""What the page marks in a still and says of its light path: changes to the scene's file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from frontglass.errors import ParameterError
from frontglass.live.kept import SceneKeeper
from frontglass.picture.clipped_lamps import ClippedLamp
from frontglass.picture.recovery import MOST_STOPS
from frontglass.pipeline.recipe import exposure_from_text
from frontglass.scene.changes import changed_still, lies_in, with_distance, with_lamps, with_watch
from frontglass.scene.marks import SceneDistance, SceneLamp, SceneWatch
from frontglass.scene.parts import SceneStill
from frontglass.scene.scene import Scene

OF_CAMERA = ("lens", "stop", "sensor", "filter_distance", "focus")
SWITCHES = ("coated", "hood")
OF_ALL = ("tilt", *SWITCHES)
"""What one still cannot have of its own."""
SETTINGS = (*OF_CAMERA, *OF_ALL, "exposure", "surround")
"""What of the light path can be set on the page."""
ON = "on"
SAME_PLACE = 0.02
"""A place that is clicked so near to one that is known, over the still's width, means that one."""


class SceneMarker:
    """Marks and settings that the page writes through a keeper of its scene.

    Parameters
    ----------
    keeper : SceneKeeper
        Of the scene.
    """

    def __init__(self, keeper: SceneKeeper) -> None:
        self.keeper = keeper

    def lamp(
        self,
        still: Path,
        lamp: ClippedLamp,
        areas: Sequence[ClippedLamp],
        *,
        stops: float | None = None,
        kind: str | None = None,
    ) -> None:
        """Say how far above white a lamp is, or what; neither leaves it to the estimate again.

        Raises
        ------
        FrontglassError
            If the file cannot be written, or what is said breaks a rule.
        """

        def told(one: SceneStill) -> SceneStill:
            if stops is None and kind is None:
                lamps = (_unnamed(mark, [lamp]) for mark in one.lamps)
                return replace(one, lamps=tuple(lamps))
            return with_lamps(one, [_mark(one, lamp, stops, kind)], [a.box_px for a in areas])

        self.keeper.change_still(still, told)

    def all_lamps(
        self,
        still: Path,
        lamps: Sequence[ClippedLamp],
        areas: Sequence[ClippedLamp],
        by_stops: float | None,
    ) -> None:
        """Make all lamps so many stops brighter; None leaves them to the estimate; as `lamp`."""

        def told(one: SceneStill) -> SceneStill:
            if by_stops is None:
                return replace(one, lamps=tuple(_unnamed(mark, lamps) for mark in one.lamps))
            levels = (min(MOST_STOPS, max(0.0, lamp.stops + by_stops)) for lamp in lamps)
            marks = [
                _mark(one, lamp, round(stops, 2), None)
                for lamp, stops in zip(lamps, levels, strict=True)
            ]
            return with_lamps(one, marks, [area.box_px for area in areas])

        self.keeper.change_still(still, told)

    def watch(self, still: Path, name: str, region_px: tuple[int, int, int, int]) -> None:
        """Watch a part of a still, in place of one of that name; raises as `lamp`."""
        part = SceneWatch(name=name, region_px=region_px)
        self.keeper.change_still(still, lambda one: with_watch(one, part))

    def unwatch(self, still: Path, name: str) -> None:
        """Watch a part no longer; raises as `lamp`."""

        def told(one: SceneStill) -> SceneStill:
            return replace(one, watched=tuple(part for part in one.watched if part.name != name))

        self.keeper.change_still(still, told)

    def distance(
        self, still: Path, at_px: tuple[float, float], width_px: int, metres: float | None
    ) -> None:
        """Say how far a place is; None forgets what was said of it; raises as `lamp`."""

        def told(one: SceneStill) -> SceneStill:
            near = [
                known
                for known in one.distances
                if math.dist(known.at_px, at_px) <= SAME_PLACE * width_px
            ]
            rest = tuple(known for known in one.distances if known not in near)
            if metres is None:
                return replace(one, distances=rest)
            at = near[0].at_px if near else at_px
            told_now = SceneDistance(at_px=at, distance_m=metres)
            return with_distance(replace(one, distances=rest), told_now)

        self.keeper.change_still(still, told)

    def setting(self, still: Path, name: str, text: str, *, for_all: bool) -> None:
        """Say something of the light path, as its option takes it; nothing takes that back.

        A switch is on, or nothing is said of it.

        Raises
        ------
        FrontglassError
            If the file cannot be written, or the text says nothing of it.
        """
        if name not in SETTINGS:
            raise ParameterError("setting", f"one of {', '.join(SETTINGS)}", name)
        if name in SWITCHES and text not in {"", ON}:
            raise ParameterError(name, f"{ON} or nothing", text)
        value: Any = (name in SWITCHES or text) if text else None
        if name == "surround":
            self.keeper.change(still, lambda scene, _: replace(scene, surround=value))
        elif name == "exposure":
            stops = None if value is None else exposure_from_text(value)
            self.keeper.change_still(still, lambda one: replace(one, exposure_stops=stops))
        elif not for_all and name not in OF_ALL:
            own: Any = {name: value}
            self.keeper.change_still(still, lambda one: replace(one, **own))
        else:
            said = dict[str, Any]({name: value})
            none = dict[str, Any]({name: None} if name not in OF_ALL else {})

            def change(scene: Scene, file: str) -> Scene:
                shared = changed_still(scene, file, lambda one: replace(one, **none))
                return replace(shared, camera=replace(shared.camera, **said))

            self.keeper.change(still, change)

    def said(self, still: Path) -> dict[str, str]:
        """Return what the scene says of a still's light path, each as its option takes it."""
        scene = self.keeper.scene()
        known = scene.still_of(still)
        found = {
            name: getattr(known, name, None) or getattr(scene.camera, name) or ""
            for name in OF_CAMERA
        }
        stops = None if known is None else known.exposure_stops
        exposure = "" if stops is None else stops if isinstance(stops, str) else f"{stops:g}"
        surround = "" if scene.surround is None else str(scene.surround)
        rig = {name: getattr(scene.camera, name) or "" for name in OF_ALL}
        rig |= {name: ON for name in SWITCHES if rig[name]}
        return {**found, **rig, "exposure": exposure, "surround": surround}

    def marked(self, still: Path) -> SceneStill | None:
        """Return what the scene says of a still."""
        return self.keeper.scene().still_of(still)


def _mark(still: SceneStill, lamp: ClippedLamp, stops: float | None, kind: str | None) -> SceneLamp:
    """Return a mark of a lamp, where one stands already if there is one."""
    own = (mark.at_px for mark in still.lamps if lies_in(mark.at_px, lamp.box_px))
    at = next(own, (round(lamp.x_px), round(lamp.y_px)))
    return SceneLamp(at_px=at, stops=stops, kind=kind)


def _unnamed(mark: SceneLamp, lamps: Sequence[ClippedLamp]) -> SceneLamp:
    """Return a mark of which nobody says what it is, if it is one of these lamps'."""
    is_one = any(lies_in(mark.at_px, lamp.box_px) for lamp in lamps)
    return replace(mark, kind=None, stops=None) if is_one else mark
