"""``frontglass scene show``: what a scene says, to be read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import Json
from frontglass.cli.scene_files import SceneFile, scene_at, scene_file
from frontglass.cli.texts import print_json, table
from frontglass.errors import FrontglassError


def show(*, scene: SceneFile = None, as_json: Json = False) -> None:
    """Show what the scene says.

    Camera, stills with their marks, choices; and what is not there any more or has changed.
    """
    from frontglass.scene.finding import found_again
    from frontglass.scene.writing import plain

    path = scene_file(scene)
    shown = scene_at(path)
    lost = found_again(shown)
    if as_json:
        print_json({"scene": str(path), **plain(shown), "missing": sorted(lost)})
    else:
        typer.echo("\n".join(_lines(shown, lost)))
    note(*_not_as_said(shown, lost))


def _not_as_said(scene: fg.Scene, lost: Mapping[str, Path | None]) -> Iterator[str]:
    """Say which stills are gone, have moved or have changed, and which looks there are not."""
    from frontglass.scene.finding import digest_of
    from frontglass.scene.reading import shown_name

    for still in scene.stills:
        name = shown_name(still.file)
        if still.file in lost:
            now = lost[still.file]
            hint = "" if now is None else f"; it lies at {now} now: frontglass scene {now}"
            yield f"{name}: is not there{hint}."
        elif still.sha256 is not None and digest_of(scene.folder / still.file) != still.sha256:
            yield f"{name}: has changed since; frontglass scene {name} takes it in anew."
    for choice in scene.choices:
        try:
            scene.looks_of(choice)
        except FrontglassError as error:
            yield f"choice {choice}: {error}"


def _lines(scene: fg.Scene, lost: Mapping[str, Path | None]) -> Iterator[str]:
    from frontglass.scene.reading import shown_name

    yield scene.title or str(scene.path)
    if scene_words(scene):
        yield f"  {scene_words(scene)}"
    yield ""
    if scene.stills:
        yield table([["still", "size", "what is said of it"], *_still_rows(scene, lost)])
    for still in scene.stills:
        waiting = [lamp for lamp in still.lamps if not lamp.is_named and not lamp.glows]
        if waiting and still.others is None:
            places = "; ".join("{:g},{:g}".format(*lamp.at_px) for lamp in waiting)
            yield f"not named yet in {_name(still)}: {places}"
    if scene.choices:
        rows = [
            [
                str(choice),
                _hearts(choice.hearts or 0),
                ", ".join(map(shown_name, choice.stills)) or "all stills",
                " ".join(" ".join(filter(None, (choice.name, choice.why))).split()),
            ]
            for choice in scene.choices
        ]
        yield ""
        yield table([["kept", "hearts", "for", "why"], *rows])


def _still_rows(scene: fg.Scene, lost: Mapping[str, Path | None]) -> Iterator[list[str]]:
    for still in scene.stills:
        size = "" if still.size_px is None else f"{still.size_px[0]} x {still.size_px[1]}"
        words = still_words(still)
        yield [_name(still), "not there" if still.file in lost else size, words]


def _hearts(number: int) -> str:
    return "\u2665" * number if number <= 5 else f"{number} \u2665"


def _name(still: fg.SceneStill) -> str:
    from frontglass.scene.reading import shown_name

    return shown_name(still.file)


def scene_words(scene: fg.Scene) -> str:
    """Return what is said of all stills in one line."""
    camera = scene.camera
    switches = {("coated", True): "coated", ("coated", False): "uncoated"}
    switches |= {("hood", True): "hood", ("hood", False): "no hood"}
    words = [
        f"{name} {value}"
        for name, value in (
            *_lens_words(camera),
            ("tilt", camera.tilt),
            ("returns", camera.returns),
            ("surround", scene.surround),
            ("view", scene.view),
            ("encoding", scene.encoding),
            ("LUT", scene.lut),
            ("for", scene.lut_from),
        )
        if value is not None
    ]
    words += [text for (name, is_on), text in switches.items() if getattr(camera, name) is is_on]
    return ", ".join(words)


def _lens_words(part: fg.SceneCamera | fg.SceneStill) -> list[tuple[str, str | None]]:
    return [
        ("as", part.taking),
        ("aimed at", part.aim),
        ("lens", part.lens),
        ("stop", part.stop),
        ("sensor", part.sensor),
        ("filter distance", part.filter_distance),
        ("focus", part.focus),
    ]


def still_words(still: fg.SceneStill) -> str:
    """Return what a scene says of a still in one line."""
    from frontglass.scene.taken import counted

    kinds: dict[str, int] = {}
    for lamp in still.lamps:
        if lamp.is_named:
            kind = lamp.kind or f"{lamp.stops:g}-stop lamp"
            kinds[kind] = kinds.get(kind, 0) + 1
    named = [f"{number} {kind}s" if number > 1 else kind for kind, number in kinds.items()]
    words = [] if not named else [f"{'lamps' if len(named) > 1 else 'lamp'}: {', '.join(named)}"]
    glowing = sum(lamp.glows for lamp in still.lamps)
    words += [counted(glowing, "lamps in haze")] if glowing else []
    for text, value in (
        ("other lamps {}", still.others),
        ("white {:g} cd/m2", still.white_cd_per_m2),
        ("exposure {}", still.exposure_stops),
        ("room", still.room),
        ("map {}", still.map),
        ("encoding {}", still.encoding),
        *((f"{name} {{}}", value) for name, value in _lens_words(still)),
    ):
        words += [text.format(value)] if value is not None else []
    words += [counted(len(still.distances), "distances")] if still.distances else []
    words += [f"watch {', '.join(part.name for part in still.watched)}"] if still.watched else []
    words += ["crop {},{},{},{}".format(*still.crop_px)] if still.crop_px else []
    words += [f'"{" ".join(still.note.split())}"'] if still.note else []
    return ", ".join(words) or "nothing yet"
