"""``frontglass scene lamp``, ``distance``, ``watch``, ``still``: what is said of one still."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import Still
from frontglass.cli.scene_files import SceneFile, scene_at, scene_file, told_of_still
from frontglass.errors import ParameterError

At = Annotated[
    list[str], typer.Option("--at", metavar="X,Y", help="Pixel, from the left and the top.")
]


def lamp(
    still: Still,
    *,
    at: At,
    kind: Annotated[
        str | None, typer.Option(metavar="KIND", help="What it is: bulb, globe, candle, ...")
    ] = None,
    stops: Annotated[
        float | None, typer.Option(metavar="N", help="Its light above white, in stops, instead.")
    ] = None,
    distance: Annotated[
        str | None, typer.Option(metavar="METRES", help="How far it is; it glows in haze then.")
    ] = None,
    haze: Annotated[
        bool, typer.Option("--haze", help="It glows in haze, as far as the distances say.")
    ] = False,
    remove: Annotated[bool, typer.Option("--remove", help="Take its mark out instead.")] = False,
    scene: SceneFile = None,
) -> None:
    """Say what a lamp in a still is, or how bright.

    Several --at name several lamps of the kind. What `frontglass lamps` lists gives the places.
    """
    from frontglass.scene.changes import with_lamps, without_placed
    from frontglass.scene.reading import shown_name
    from frontglass.scene.seeing import seen_still

    places = [_place(text) for text in at]
    if remove:
        if kind is not None or stops is not None or distance is not None or haze:
            raise ParameterError("remove", "given with --at alone", "--remove")

        def without(one: fg.SceneStill) -> fg.SceneStill:
            for place in places:
                one = replace(one, lamps=without_placed("lamp", one.lamps, place))
            return one

        say(*told_of_still(still, scene, without))
        return
    metres = None if distance is None else _metres(distance)
    lamps = [
        fg.SceneLamp(at_px=place, kind=kind, stops=stops, distance_m=metres, in_haze=haze)
        for place in places
    ]
    if not any(one.is_named or one.glows for one in lamps):
        raise ParameterError("lamp", "told by --kind, --stops, --distance or --haze", at[0])
    seen = seen_still(still, _tried(still, scene, lamps))
    if seen.holds_lamps and any(one.is_named for one in lamps):
        note(f"{still}: holds light above white; what its lamps are decides nothing.")
    boxes = [area.box_px for area in seen.areas]
    path, after = told_of_still(still, scene, lambda one: with_lamps(one, lamps, boxes), seen)
    for one in lamps:
        typer.echo(f"{shown_name(still.name)}: {_lamp_text(one, seen.areas)}")
    say(path, after)


def _tried(still: Path, named: Path | None, lamps: Sequence[fg.SceneLamp]) -> Any:
    """Return the marks with all else that the scene says: one on no clipped area is refused."""
    from frontglass.scene.taken import recovery_from

    path = scene_file(named, still)
    known = scene_at(path).still_of(still) if path.exists() else None
    base = (
        fg.Recovery()
        if known is None
        else recovery_from(replace(known, lamps=()), fg.Recovery(), [])
    )
    marks = (
        fg.LampMark(*one.at_px, stops=one.stops, kind=one.kind) for one in lamps if one.is_named
    )
    return replace(base, marks=tuple(marks))


def _lamp_text(lamp: fg.SceneLamp, areas: Sequence[fg.ClippedLamp]) -> str:
    """Return what is believed of a lamp now."""
    from frontglass.scene.changes import lies_in

    words = ["{:g},{:g}".format(*lamp.at_px)]
    words += [lamp.kind] if lamp.kind else []
    near = [one for one in areas if one.marked and lies_in(lamp.at_px, one.box_px)]
    if lamp.is_named and near:
        area = min(near, key=lambda one: one.area_px)
        words.append(f"{area.stops:.1f} stops above white, {area.share:.0%} of the light lost")
    if lamp.glows:
        far = "" if lamp.distance_m is None else f", {lamp.distance_m:g} m away"
        words.append(f"glows in haze{far}")
    return ", ".join(words)


def distance(
    still: Still,
    *,
    at: Annotated[
        str | None, typer.Option("--at", metavar="X,Y", help="Pixel, from the left and the top.")
    ] = None,
    metres: Annotated[str | None, typer.Option(metavar="M", help="How far that is.")] = None,
    room: Annotated[
        str | None, typer.Option(metavar="NAME=METRES,...", help="The room, as --room takes it.")
    ] = None,
    depth: Annotated[
        Path | None, typer.Option("--map", metavar="FILE", help="Its distance map.")
    ] = None,
    map_scale: Annotated[
        float | None, typer.Option(metavar="METRES", help="What one number of the map is worth.")
    ] = None,
    map_is: Annotated[
        Literal["ray", "depth"] | None,
        typer.Option(help="Distance along each ray, or depth along the axis of the lens."),
    ] = None,
    remove: Annotated[
        bool, typer.Option("--remove", help="Take that distance out; without --at, all of them.")
    ] = False,
    scene: SceneFile = None,
) -> None:
    """Say how far things in a still are, for haze.

    Places with --at and --metres, a room, or a map.
    """
    from frontglass.scene.changes import with_distance, without_placed
    from frontglass.scene.finding import name_in_scene

    if not remove and (at is None) != (metres is None):
        raise ParameterError("distance", "told by --at and --metres together", at or metres)
    if not remove and at is None and room is None and depth is None:
        raise ParameterError("distance", "told by --at and --metres, --room or --map", "nothing")
    path = scene_file(scene, still)

    def change(one: fg.SceneStill) -> fg.SceneStill:
        if remove and at is None:
            return replace(one, distances=(), room=None, map=None, map_scale_m=None, map_kind=None)
        if remove and at is not None:
            return replace(one, distances=without_placed("distance", one.distances, _place(at)))
        if depth is not None:
            name = name_in_scene(path.parent, depth)
            one = replace(one, map=name, map_scale_m=map_scale, map_kind=map_is)
        if room is not None:
            one = replace(one, room=room)
        if at is not None and metres is not None:
            one = with_distance(one, fg.SceneDistance(at_px=_place(at), distance_m=_metres(metres)))
        return one

    say(*told_of_still(still, scene, change))


def watch(
    still: Still,
    parts: Annotated[
        list[str],
        typer.Argument(
            metavar="NAME:X,Y,W,H...",
            help="Parts, such as face:10,20,64,48; with --remove their names.",
            show_default=False,
        ),
    ],
    *,
    remove: Annotated[bool, typer.Option("--remove", help="Watch these no longer.")] = False,
    scene: SceneFile = None,
) -> None:
    """Say which parts of a still to watch.

    As --watch takes them: face:..., hair:..., lamp:..., black:...
    """
    from frontglass.measurement.watch import WatchedRegion
    from frontglass.scene.changes import with_watch

    def change(one: fg.SceneStill) -> fg.SceneStill:
        if remove:
            names = {text.partition(":")[0].strip() for text in parts}
            kept = tuple(part for part in one.watched if part.name not in names)
            missing = names - {part.name for part in one.watched}
            if missing:
                known = ", ".join(part.name for part in one.watched) or "none"
                raise ParameterError("watch", f"a part that is watched ({known})", missing.pop())
            return replace(one, watched=kept)
        for text in parts:
            part = WatchedRegion.from_text(text)
            region = part.region
            place = (region.x_px, region.y_px, *region.size_px)
            one = with_watch(one, fg.SceneWatch(name=part.name, region_px=place))
        return one

    say(*told_of_still(still, scene, change))


def say(path: Path, still: fg.SceneStill) -> None:
    """Say what a scene says of a still now."""
    from frontglass.cli.scene_show import still_words

    typer.echo(f"{path}: {still_words(still)}")


def _place(text: str) -> tuple[float, float]:
    from frontglass.picture.marks import place_from_text

    return place_from_text("at", text)


def _metres(text: str) -> float:
    try:
        return float(text.strip().removesuffix("m"))
    except ValueError:
        raise ParameterError("metres", "a distance such as 3.5", text) from None
