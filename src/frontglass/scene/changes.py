"""Changes to a scene, each a new scene from the present one."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from frontglass.errors import ParameterError
from frontglass.scene.marks import SceneDistance, SceneLamp, SceneWatch
from frontglass.scene.parts import SceneChoice, SceneStill
from frontglass.scene.scene import Scene

Placed = TypeVar("Placed", SceneLamp, SceneDistance)
Box = tuple[float, float, float, float]

REACH_PX = 8.0
"""A place that is typed means the mark that lies so near."""


def with_still(scene: Scene, still: SceneStill) -> Scene:
    """Scene with a still that it does not have, or with what is told of one it has.

    What `still` leaves open stays as it is.
    """
    if scene.named(still.file) is None:
        return replace(scene, stills=(*scene.stills, still))
    told = {
        name: value
        for name in SceneStill.__slots__
        if (value := getattr(still, name)) not in (None, ())
    }
    return changed_still(scene, still.file, lambda before: replace(before, **told))


def changed_still(scene: Scene, file: str, change: Callable[[SceneStill], SceneStill]) -> Scene:
    """Scene with a change to one of its stills; ParameterError if it has no such still."""
    still = _still(scene, file)
    return replace(scene, stills=tuple(change(s) if s is still else s for s in scene.stills))


def renamed_still(scene: Scene, old: str, new: str) -> Scene:
    """Scene in which a still has moved; choices for it follow."""
    still = _still(scene, old)
    choices = (
        replace(
            choice,
            stills=tuple(new if scene.named(name) is still else name for name in choice.stills),
        )
        for choice in scene.choices
    )
    stills = (replace(one, file=new) if one is still else one for one in scene.stills)
    return replace(scene, stills=tuple(stills), choices=tuple(choices))


def without_still(scene: Scene, file: str) -> Scene:
    """Scene without one of its stills, which no choice may be for."""
    still = _still(scene, file)
    for choice in scene.choices:
        if any(scene.named(name) is still for name in choice.stills):
            hint = f"{choice} was kept for it; take that choice out first."
            raise ParameterError("still", "one that no choice is for", file, hint)
    return replace(scene, stills=tuple(one for one in scene.stills if one is not still))


def _still(scene: Scene, file: str) -> SceneStill:
    still = scene.named(file)
    if still is None:
        raise ParameterError("still", "a still of the scene", file)
    return still


def with_lamps(still: SceneStill, lamps: Iterable[SceneLamp], areas: Sequence[Box]) -> SceneStill:
    """Still with lamps in place of those that stood in the same clipped areas [px].

    A distance that stood there stays where none is told.
    """
    for lamp in lamps:
        area = _area_of(lamp.at_px, areas)
        same = [one for one in still.lamps if one.at_px == lamp.at_px or lies_in(one.at_px, area)]
        kept = tuple(one for one in still.lamps if one not in same)
        far = next((one.distance_m for one in same if one.distance_m is not None), None)
        told = lamp if lamp.distance_m is not None else replace(lamp, distance_m=far)
        place = still.lamps.index(same[0]) if same else len(kept)
        still = replace(still, lamps=(*kept[:place], told, *kept[place:]))
    return still


def _area_of(at: tuple[float, float], areas: Sequence[Box]) -> Box | None:
    """Return the smallest area that a place lies in or close beside."""
    near = [area for area in areas if lies_in(at, area)]
    return min(near, key=lambda area: area[2] * area[3], default=None)


def lies_in(at: tuple[float, float], area: Box | None) -> bool:
    """Whether a place lies in an area, or close beside it."""
    if area is None:
        return False
    left, top, width, height = area
    across, down = at[0] - left, at[1] - top
    return -REACH_PX <= across <= width + REACH_PX and -REACH_PX <= down <= height + REACH_PX


def with_distance(still: SceneStill, distance: SceneDistance) -> SceneStill:
    """Still with a distance, in place of one at the same pixel."""
    kept = tuple(one for one in still.distances if one.at_px != distance.at_px)
    return replace(still, distances=(*kept, distance))


def with_watch(still: SceneStill, part: SceneWatch) -> SceneStill:
    """Still with a watched part, in place of one of the same name."""
    names = [one.name for one in still.watched]
    if part.name not in names:
        return replace(still, watched=(*still.watched, part))
    parts = (part if one.name == part.name else one for one in still.watched)
    return replace(still, watched=tuple(parts))


def without_placed(
    what: str, marks: Sequence[Placed], at: tuple[float, float]
) -> tuple[Placed, ...]:
    """Return marks without the one that is nearest to a place; ParameterError if none is near."""
    nearest = min(marks, key=lambda one: math.dist(one.at_px, at), default=None)
    if nearest is None or math.dist(nearest.at_px, at) > REACH_PX:
        known = "; ".join("{:g},{:g}".format(*one.at_px) for one in marks) or "none"
        raise ParameterError("at", f"where a {what} is kept ({known})", "{:g},{:g}".format(*at))
    return tuple(one for one in marks if one is not nearest)


def with_choice(scene: Scene, choice: SceneChoice) -> Scene:
    """Scene with a choice; of one that it has, what is told now is new."""
    for before in scene.choices:
        if (before.looks, before.stills) == (choice.looks, choice.stills):
            told = {name: getattr(choice, name) for name in ("why", "hearts", "name")}
            said: dict[str, Any] = {key: one for key, one in told.items() if one is not None}
            after = replace(before, **said)
            return replace(scene, choices=tuple(after if c is before else c for c in scene.choices))
    return replace(scene, choices=(*scene.choices, choice))


def without_choice(scene: Scene, choice: SceneChoice) -> Scene:
    """Scene without a choice: that for the same stills, or the only one of these looks."""
    same = [one for one in scene.choices if one.looks == choice.looks]
    exact = [one for one in same if one.stills == choice.stills]
    if len(exact or same) != 1:
        known = ", ".join(map(str, scene.choices)) or "none"
        rule = "kept for one set of stills (say which)" if same else f"one that is kept ({known})"
        raise ParameterError("choice", rule, str(choice))
    (meant,) = exact or same
    return replace(scene, choices=tuple(one for one in scene.choices if one is not meant))
