"""What a recipe takes from a scene: what options left open, and in words what that was."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any, NamedTuple

from frontglass.files.view import is_lut_file
from frontglass.looks.rig import OnGlass, Rig
from frontglass.optics.camera import (
    f_number_from_text,
    filter_distance_mm_from_text,
    focus_m_from_text,
    lens_mm_from_text,
)
from frontglass.optics.taking import TakingLens
from frontglass.picture.distance import DistancePoint
from frontglass.picture.lamp_place import LampPlace
from frontglass.picture.marks import place_from_text
from frontglass.picture.recovery import AUTO, OFF, LampMark, Recovery
from frontglass.picture.room import Room
from frontglass.pipeline.framing import Framing
from frontglass.pipeline.recipe import Recipe
from frontglass.pipeline.space import Space
from frontglass.scene.parts import SceneStill
from frontglass.scene.scene import Scene

LOOKS = "looks"
SINGULAR = {"lamps in haze": "lamp in haze"}


class Taken(NamedTuple):
    """Something that was taken from a scene: what, and what is said of it."""

    what: str
    text: str
    number: int = 0
    """How many there are, where that is what is said."""


def taken_from(
    scene: Scene, still: SceneStill | None, typed: Mapping[str, Any]
) -> tuple[Recipe, list[Taken]]:
    """Recipe for a still, None if its scene does not name it, and what of it the scene said."""
    values = dict(typed)
    taken: list[Taken] = []
    if still is not None:
        values["recovery"] = recovery_from(still, typed.get("recovery") or Recovery(), taken)
        values["space"] = _space(scene, still, typed.get("space") or Space(), taken)
        if still.exposure_stops is not None and "exposure_stops" not in typed:
            values["exposure_stops"] = still.exposure_stops
            taken.append(Taken("exposure", f"exposure {_stops_text(still.exposure_stops)}"))
    values["framing"] = framing_from(scene, still, typed.get("framing") or Framing(), taken)
    if scene.surround is not None and "surround" not in typed:
        values["surround"] = scene.surround
        taken.append(Taken("surround", f"surround {scene.surround}"))
    if scene.view is not None and "past_white" not in typed:
        values["past_white"] = scene.view
        taken.append(Taken("view", f"view {scene.view}"))
    _add_encodings(values, scene, still, taken)
    return Recipe(**values), taken


def _add_encodings(
    values: dict[str, Any], scene: Scene, still: SceneStill | None, taken: list[Taken]
) -> None:
    """Add what codes are and what pictures are looked at through, where nobody typed it."""
    if "encoding" not in values:
        values["encoding"] = encoding_from(scene, still, taken)
    if scene.lut is not None and "view" not in values:
        values["view"] = lut_of(scene)
        if scene.lut_from is not None:
            values.setdefault("view_from", scene.lut_from)
        taken.append(Taken("lut", f"LUT {scene.lut}"))


def encoding_from(scene: Scene, still: SceneStill | None, taken: list[Taken]) -> str | None:
    """Return what a still's codes are: by its own words, then the scene's."""
    encoding = (still and still.encoding) or scene.encoding
    if encoding is not None:
        taken.append(Taken("encoding", f"encoding {encoding}"))
    return encoding


def lut_of(scene: Scene) -> str:
    """Return a scene's LUT as --view takes it: its file is found from the scene's folder."""
    assert scene.lut is not None
    return str(scene.folder / scene.lut) if is_lut_file(scene.lut) else scene.lut


def _stops_text(stops: float | str) -> str:
    return stops if isinstance(stops, str) else f"{stops:+g} stops"


def recovery_from(still: SceneStill, typed: Recovery, taken: list[Taken]) -> Recovery:
    """Return what is done about a still's lamps."""
    is_off = typed.clipped == OFF and not typed.marks
    named = [] if is_off else [lamp for lamp in still.lamps if lamp.is_named]
    if named:
        taken.append(counted_as_taken("lamps", len(named)))
    marks = tuple(LampMark(*one.at_px, stops=one.stops, kind=one.kind) for one in named)
    clipped, white = typed.clipped, typed.white_cd_per_m2
    if clipped == AUTO and still.others is not None:
        clipped = still.others
        kind = f"{clipped} stops above white" if not isinstance(clipped, str) else clipped
        taken.append(Taken("other lamps", f"other lamps {kind}"))
    if white is None and still.white_cd_per_m2 is not None:
        white = still.white_cd_per_m2
        taken.append(Taken("white", f"white {white:g} cd/m2"))
    # The last mark on an area counts: the typed one.
    marks = (*marks, *typed.marks)
    return replace(typed, clipped=clipped, white_cd_per_m2=white, marks=marks)


def _space(scene: Scene, still: SceneStill, typed: Space, taken: list[Taken]) -> Space:
    """Return what is known of the space before a still's lens."""
    space = typed
    if not typed.has_distance:
        if still.map is not None:
            taken.append(Taken("map", f"map {still.map}"))
            space = replace(
                space,
                depth=scene.folder / still.map,
                depth_scale_m=space.depth_scale_m or still.map_scale_m,
                depth_kind=space.depth_kind or still.map_kind,
            )
        else:
            if still.room is not None:
                taken.append(Taken("room", "room"))
                space = replace(space, room=Room.from_text(still.room))
            if still.distances:
                taken.append(counted_as_taken("distances", len(still.distances)))
                space = replace(space, points=tuple(_points(still)))
    places = tuple(
        LampPlace(x_px=lamp.at_px[0], y_px=lamp.at_px[1], distance_m=lamp.distance_m)
        for lamp in still.lamps
        if lamp.glows
    )
    if places and typed.lamps is None:
        taken.append(counted_as_taken("lamps in haze", len(places)))
        space = replace(space, lamps=places)
    return space


def _points(still: SceneStill) -> Iterator[DistancePoint]:
    for one in still.distances:
        x, y = one.at_px
        yield DistancePoint(x_px=x, y_px=y, distance_m=one.distance_m)


def framing_from(
    scene: Scene, still: SceneStill | None, typed: Framing, taken: list[Taken]
) -> Framing:
    """Return lens, stop, sensor and taking lens: the still's own, then the scene's."""

    def said(key: str) -> str | None:
        own: str | None = getattr(still, key, None)
        return own or getattr(scene.camera, key)

    values = {one.name: getattr(typed, one.name) for one in fields(typed)}
    if typed.taking is None and (text := said("taking")) is not None:
        taking = TakingLens.from_text(text)
        # A stop that is typed wins over one in the text.
        values["taking"] = taking if typed.f_number is None else replace(taking, f_number=None)
        taken.append(Taken("as", f"as {text}"))
    if values["taking"] is not None and typed.aim is None and (text := said("aim")) is not None:
        values["aim"] = place_from_text("aim", text)
        taken.append(Taken("aim", f"aim {text}"))
    has_stop = values["taking"] is not None and values["taking"].f_number is not None
    for key, name, from_text in (
        ("lens", "lens_mm", lens_mm_from_text),
        ("stop", "f_number", f_number_from_text),
        ("sensor", "sensor", str),
        ("filter_distance", "filter_distance_mm", filter_distance_mm_from_text),
        ("focus", "focus_m", focus_m_from_text),
    ):
        text = said(key)
        if text is not None and values[name] is None and not (has_stop and key == "stop"):
            values[name] = from_text(text)
            taken.append(Taken(key, f"{key.replace('_', ' ')} {text}"))
    return Framing(**values)


def rig_from(scene: Scene, typed: Rig, looks: Sequence[OnGlass], taken: list[Taken]) -> Rig:
    """Return how glass stands: as typed, else as the scene says; told where it changes a look."""
    kept, camera = scene.camera.rig, scene.camera
    texts = {
        "tilt_deg": f"tilt {camera.tilt}",
        "coated": "coated" if camera.coated else "uncoated",
        "returns": f"returns {camera.returns}",
        "hood": "hood" if camera.hood else "no hood",
    }
    for name, text in texts.items():
        value = getattr(kept, name)
        if value is None or getattr(typed, name) is not None:
            continue
        alone = replace(Rig(), **{name: value})
        if any(alone.on(look) != look for look in looks):
            taken.append(Taken(name.removesuffix("_deg"), text))
    return typed.over(kept)


def counted_as_taken(what: str, count: int) -> Taken:
    """Return what is counted; its plural says what it is."""
    return Taken(what, counted(count, what), count)


def counted(count: int, plural: str) -> str:
    """Return a number with what it counts.

    Examples
    --------
    >>> counted(1, "lamps in haze"), counted(2, "lamps")
    ('1 lamp in haze', '2 lamps')
    """
    return f"{count} {plural if count != 1 else SINGULAR.get(plural, plural.removesuffix('s'))}"


def taken_words(each: list[tuple[Taken, ...]]) -> str:
    """Return in one line what was taken for each of several stills; empty if nothing."""
    # Those of the still that says most first, so that the order is as for one still.
    said = [one for taken in sorted(each, key=len, reverse=True) for one in taken]
    kinds = dict.fromkeys(one.what for one in sorted(said, key=lambda one: one.what != LOOKS))
    return ", ".join(word for what in kinds for word in _words_on(what, each))


def _words_on(what: str, each: list[tuple[Taken, ...]]) -> Iterator[str]:
    """Yield what is said of one thing that was taken for some stills."""
    same = [one for taken in each for one in taken if one.what == what]
    if what == LOOKS:
        yield from dict.fromkeys(text for one in same for text in one.text.split(", "))
    elif same[0].number:
        yield counted(sum(one.number for one in same), what)
    elif len(same) == len(each) and len({one.text for one in same}) == 1:
        yield same[0].text
    else:
        yield f"{what} of {counted(len(same), 'stills')}"
