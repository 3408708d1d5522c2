"""Changes to a scene, each a new scene from the present one."""

from __future__ import annotations

import math
import os
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
    told = {
        name: value
        for name in SceneStill.__slots__
        if (value := getattr(still, name)) not in (None, ())
    }
    if scene.named(still.file) is None:
        return replace(scene, stills=(*scene.stills, still))
    return changed_still(scene, still.file, lambda before: replace(before, **told))


def changed_still(scene: Scene, file: str, change: Callable[[SceneStill], SceneStill]) -> Scene:
    """Scene with a change to one of its stills.

    Raises
    ------
    ParameterError
        If it has no such still, or the change breaks a rule.
    """
    wanted = os.path.normpath(file)
    if scene.named(file) is None:
        raise ParameterError("still", "a still of the scene", file)
    stills = (change(one) if os.path.normpath(one.file) == wanted else one for one in scene.stills)
    return replace(scene, stills=tuple(stills))


def renamed_still(scene: Scene, old: str, new: str) -> Scene:
    """Scene in which a still has moved; choices for it follow."""
    wanted = os.path.normpath(old)
    choices = (
        replace(
            choice,
            stills=tuple(new if os.path.normpath(s) == wanted else s for s in choice.stills),
        )
        for choice in scene.choices
    )
    stills = (
        replace(one, file=new) if os.path.normpath(one.file) == wanted else one
        for one in scene.stills
    )
    return replace(scene, stills=tuple(stills), choices=tuple(choices))


def without_still(scene: Scene, file: str) -> Scene:
    """Scene without one of its stills.

    Raises
    ------
    ParameterError
        If it has no such still, or a choice is for that one.
    """
    wanted = os.path.normpath(file)
    if scene.named(file) is None:
        raise ParameterError("still", "a still of the scene", file)
    for choice in scene.choices:
        if wanted in {os.path.normpath(name) for name in choice.stills}:
            hint = f"{choice} was kept for it; take that choice out first."
            raise ParameterError("still", "one that no choice is for", file, hint)
    stills = tuple(one for one in scene.stills if os.path.normpath(one.file) != wanted)
    return replace(scene, stills=stills)


def with_lamps(still: SceneStill, lamps: Iterable[SceneLamp], areas: Sequence[Box]) -> SceneStill:
    """Still with lamps in place of those that stood in the same clipped areas.

    Parameters
    ----------
    still : SceneStill
        The still.
    lamps : iterable of SceneLamp
        What is told; a distance that stood there stays where none is told.
    areas : sequence of (left, top, width, height)
        Clipped areas. [px]
    """
    for lamp in lamps:
        area = _area_of(lamp.at_px, areas)
        same = [one for one in still.lamps if one.at_px == lamp.at_px or lies_in(one.at_px, area)]
        kept = tuple(one for one in still.lamps if one not in same)
        far = next((one.distance_m for one in same if one.distance_m is not None), None)
        told = lamp if lamp.distance_m is not None else replace(lamp, distance_m=far)
        at = same.index(same[0]) if same else 0
        place = still.lamps.index(same[at]) if same else len(kept)
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
    """Return marks without the one that is nearest to a place.

    Raises
    ------
    ParameterError
        If none is near.
    """
    nearest = min(marks, key=lambda one: math.dist(one.at_px, at), default=None)
    if nearest is None or math.dist(nearest.at_px, at) > REACH_PX:
        known = "; ".join("{:g},{:g}".format(*one.at_px) for one in marks) or "none"
        raise ParameterError("at", f"where a {what} is kept ({known})", "{:g},{:g}".format(*at))
    return tuple(one for one in marks if one is not nearest)


def with_choice(scene: Scene, choice: SceneChoice) -> Scene:
    """Scene with a choice; of one that it has, what is told now is new."""
    for number, one in enumerate(scene.choices):
        if (one.looks, one.stills) == (choice.looks, choice.stills):
            names = ("why", "hearts", "name")
            told: dict[str, Any] = {n: getattr(choice, n) for n in names}
            told = {name: value for name, value in told.items() if value is not None}
            changed = replace(one, **told)
            choices = (*scene.choices[:number], changed, *scene.choices[number + 1 :])
            return replace(scene, choices=choices)
    return replace(scene, choices=(*scene.choices, choice))


def without_choice(scene: Scene, choice: SceneChoice) -> Scene:
    """Scene without a choice: that for the same stills, or the only one of these looks.

    Raises
    ------
    ParameterError
        If there is none, or several are meant.
    """
    same = [one for one in scene.choices if one.looks == choice.looks]
    exact = [one for one in same if one.stills == choice.stills]
    if len(exact or same) != 1:
        known = ", ".join(map(str, scene.choices)) or "none"
        rule = "kept for one set of stills (say which)" if same else f"one that is kept ({known})"
        raise ParameterError("choice", rule, str(choice))
    (meant,) = exact or same
    return replace(scene, choices=tuple(one for one in scene.choices if one is not meant))
