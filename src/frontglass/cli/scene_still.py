"""``frontglass scene still``: what is known of a still beside its marks."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Annotated, Any

import typer

import frontglass as fg
from frontglass.cli.options import Still, given
from frontglass.cli.scene_files import SceneFile, edited, scene_at, scene_file, told_of_still
from frontglass.cli.scene_marks import say
from frontglass.errors import ParameterError


@dataclass(frozen=True, kw_only=True)
class StillWords:
    """What may be said of a still."""

    white: Annotated[float | None, typer.Option(metavar="CD/M2", help="Luminance of white.")] = None
    lamps: Annotated[
        str | None,
        typer.Option(metavar="KIND|STOPS|off", help="What all lamps are that have no mark."),
    ] = None
    exposure: Annotated[
        str | None, typer.Option(metavar="STOPS|auto", help="Show it this much brighter.")
    ] = None
    crop: Annotated[
        str | None, typer.Option(metavar="X,Y,W,H", help="What of it is shown on boards.")
    ] = None
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="A note.")] = None
    taking: Annotated[
        str | None, typer.Option("--as", metavar="MM,SENSOR,...", help="Its own taking lens.")
    ] = None
    aim: Annotated[
        str | None, typer.Option(metavar="X,Y", help="Where the taking lens points.")
    ] = None
    lens: Annotated[str | None, typer.Option(metavar="MM", help="What it was shot with.")] = None
    stop: Annotated[str | None, typer.Option(metavar="N", help="Its stop.")] = None
    sensor: Annotated[
        str | None, typer.Option(metavar="NAME|WxH", help="Sensor it was shot on.")
    ] = None
    encoding: Annotated[
        str | None, typer.Option(metavar="NAME", help="What its codes are, such as a log encoding.")
    ] = None
    filter_distance: Annotated[
        str | None, typer.Option(metavar="MM", help="Filter to entrance pupil.")
    ] = None
    focus: Annotated[
        str | None, typer.Option(metavar="M|inf", help="What its lens is focused on.")
    ] = None

    def told(self) -> dict[str, Any]:
        """Return what was said, as a still of a scene has it."""
        from frontglass.pipeline.recipe import exposure_from_text

        said = asdict(self)
        white, lamps, exposure, crop = (
            said.pop(name) for name in ("white", "lamps", "exposure", "crop")
        )
        region = crop and fg.Region.from_text(crop)
        return given(
            **said,
            white_cd_per_m2=white,
            others=lamps and _number_or_text(lamps),
            exposure_stops=exposure and exposure_from_text(exposure),
            crop_px=region and (region.x_px, region.y_px, *region.size_px),
        )


def still(
    still: Still,
    *,
    words: StillWords,
    clear: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY", help="Say that no longer: white, lamps, crop, ...; several."),
    ] = None,
    remove: Annotated[
        bool, typer.Option("--remove", help="Take the still out of the scene, not off the disk.")
    ] = False,
    scene: SceneFile = None,
) -> None:
    """Say what else is known of a still.

    White, exposure, crop, a note, its own lens; --remove takes it out of the scene.
    """
    if remove:
        _take_out(still, scene)
        return
    told = words.told() | dict.fromkeys(map(_clearable, clear or ()))
    if not told:
        raise ParameterError("still", "told something, such as --white 20", "nothing")
    say(*told_of_still(still, scene, lambda one: replace(one, **told)))


def _take_out(still: Path, named: Path | None) -> None:
    from frontglass.scene.changes import without_still
    from frontglass.scene.reading import shown_name

    path = scene_file(named, still)
    scene_at(path)

    def without(one: fg.Scene) -> fg.Scene:
        found = one.still_of(still) or one.named(str(still))
        return without_still(one, str(still) if found is None else found.file)

    edited(path, without)
    typer.echo(f"{path}: {shown_name(still.name)} is out of it")


def _clearable(key: str) -> str:
    """Return the field of a key that may be cleared."""
    from frontglass.scene.fields import keys_of

    known = {name: one.name for name, one in keys_of(fg.SceneStill).items() if one.default is None}
    if key not in known:
        raise ParameterError("clear", f"one of {', '.join(known)}", key)
    return known[key]


def _number_or_text(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
