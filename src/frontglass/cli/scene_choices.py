"""``frontglass scene keep`` and ``camera``: what was chosen, and what all stills share."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

import frontglass as fg
from frontglass.cli.glass_options import GlassOptions
from frontglass.cli.options import LookOptions, given
from frontglass.cli.scene_files import SceneFile, edited, scene_at, scene_file
from frontglass.errors import ParameterError
from frontglass.units import strength_text

Title = Annotated[str | None, typer.Option(help="What the scene is called.")]
Taking = Annotated[
    str | None,
    typer.Option("--as", metavar="MM,SENSOR,...", help="Taking lens: 50mm,super35,2.39."),
]
Surround = Annotated[
    Literal["lampless", "mirror", "dark"] | None,
    typer.Option(help="What lies outside the frames."),
]
SHARED = ("surround", "view", "title", "encoding", "lut", "lut_from")


def keep(
    looks: Annotated[
        list[str],
        typer.Argument(
            metavar="LOOK[:STRENGTH]...",
            help="What was chosen; A:1/2+B:1/4 is B behind A. Several are several choices.",
            show_default=False,
        ),
    ],
    *,
    still: Annotated[
        list[Path] | None,
        typer.Option(metavar="STILL", help="For this still; several times. Else for all."),
    ] = None,
    why: Annotated[str | None, typer.Option(metavar="TEXT", help="What speaks for it.")] = None,
    hearts: Annotated[
        int | None, typer.Option(metavar="N", help="How much it is liked: 0, 1, 2, ...")
    ] = None,
    name: Annotated[str | None, typer.Option(metavar="TEXT", help="What to call it.")] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Keep it no longer.")] = False,
    scene: SceneFile = None,
) -> None:
    """Keep a choice, for which stills and why.

    mood, batch, apply and compare take what is kept where no --look is typed.
    """
    from frontglass.scene.changes import with_choice, without_choice

    path = scene_file(scene, still[0] if still else None)
    before = scene_at(path)
    stacks = [_stack(text, before.folder) for text in looks]
    told = given(why=why, hearts=hearts, name=name)

    def change(one: fg.Scene) -> fg.Scene:
        names = tuple(_still_name(one, each) for each in still or ())
        for stack in stacks:
            choice = fg.SceneChoice(looks=stack, stills=names, **({} if remove else told))
            one = without_choice(one, choice) if remove else with_choice(one, choice)
        return one

    after = edited(path, change)
    number = len(after.choices)
    typer.echo(f"{path}: {number} {'choice' if number == 1 else 'choices'} kept")


def _stack(text: str, folder: Path) -> tuple[str, ...]:
    """Return the looks of a text A:1/2+B as a scene keeps them: checked, each with its strength."""
    from frontglass.scene.finding import name_in_scene

    (stack,) = LookOptions(look=[text]).stacks()
    kept = []
    for source, look in zip(stack.sources, stack.looks, strict=True):
        is_file = source.lower().endswith(".toml")
        name = name_in_scene(folder, Path(source)) if is_file else source
        kept.append(f"{name}:{strength_text(look.strength)}")
    return tuple(kept)


def _still_name(scene: fg.Scene, path: Path) -> str:
    """Return what a scene calls a still."""
    from frontglass.scene.reading import shown_name

    found = scene.still_of(path) or scene.named(str(path))
    if found is None:
        known = ", ".join(shown_name(one.file) for one in scene.stills) or "none"
        hint = f"The scene has {known}; frontglass scene {path} adds it."
        raise ParameterError("still", "a still of the scene", str(path), hint)
    return found.file


@dataclass(frozen=True, kw_only=True)
class CameraWords:
    """What may be said of the camera that all stills are seen with."""

    taking: Taking = None
    aim: Annotated[
        str | None, typer.Option(metavar="X,Y", help="Where the taking lens points.")
    ] = None
    lens: Annotated[
        str | None, typer.Option(metavar="MM", help="As --lens of the other commands.")
    ] = None
    stop: Annotated[str | None, typer.Option(metavar="N", help="As --stop there.")] = None
    sensor: Annotated[str | None, typer.Option(metavar="NAME|WxH", help="As --sensor there.")] = (
        None
    )
    filter_distance: Annotated[
        str | None, typer.Option(metavar="MM", help="As --filter-distance there.")
    ] = None
    focus: Annotated[str | None, typer.Option(metavar="M|inf", help="As --focus there.")] = None


@dataclass(frozen=True, kw_only=True)
class ColourWords:
    """What may be said of the codes of all stills, and of how pictures are looked at."""

    encoding: Annotated[
        str | None, typer.Option(metavar="NAME", help="As --encoding of the other commands.")
    ] = None
    lut: Annotated[
        str | None, typer.Option(metavar="FILE|DISPLAY/VIEW", help="As --view there.")
    ] = None
    lut_from: Annotated[str | None, typer.Option(metavar="NAME", help="As --view-from there.")] = (
        None
    )

    def told(self, scene: Path) -> dict[str, Any]:
        """Return what was said, as the scene of that file has it; a LUT must be one."""
        if self.lut is None:
            return given(encoding=self.encoding, lut_from=self.lut_from)
        from frontglass.files.view import is_lut_file, view_named
        from frontglass.scene.finding import name_in_scene

        before = scene_at(scene)
        view_named(self.lut, self.lut_from or before.lut_from, self.encoding or before.encoding)
        is_file = is_lut_file(self.lut)
        lut = name_in_scene(scene.parent, Path(self.lut)) if is_file else self.lut
        return given(encoding=self.encoding, lut=lut, lut_from=self.lut_from)


def camera(
    *,
    words: CameraWords,
    glass: GlassOptions,
    surround: Surround = None,
    view: Annotated[
        Literal["hue", "clip"] | None,
        typer.Option(help="Light past white: paler in its hue, or clipped channel by channel."),
    ] = None,
    colour: ColourWords,
    title: Title = None,
    clear: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY", help="Say that no longer: as, lens, tilt, ...; several."),
    ] = None,
    scene: SceneFile = None,
) -> None:
    """Say what all stills share.

    Taking camera, glass before the lens, surround, view, encoding, the show's LUT, title.
    """
    from frontglass.cli.scene_show import scene_words
    from frontglass.scene.fields import keys_of

    own: dict[str, Any] = given(**asdict(words), **asdict(glass))
    path = scene_file(scene)
    shared: dict[str, Any] = given(surround=surround, view=view, title=title)
    shared.update(colour.told(path))
    keys = {key: one.name for key, one in keys_of(fg.SceneCamera).items()}
    for key in clear or ():
        name = key.replace("-", "_")
        if name in keys:
            own[keys[name]] = None
        elif name in SHARED:
            shared[name] = None
        else:
            raise ParameterError("clear", f"one of {', '.join([*keys, *SHARED])}", key)
    if not own and not shared:
        raise ParameterError("camera", "told something, such as --as 50mm,super35", "nothing")
    scene_at(path)
    after = edited(path, lambda one: changed_camera(one, own, shared))
    typer.echo(f"{path}: {', '.join(filter(None, (after.title, scene_words(after)))) or 'nothing'}")


def changed_camera(scene: fg.Scene, own: dict[str, Any], shared: dict[str, Any]) -> fg.Scene:
    """Return a scene with other words on its camera and on what its stills share."""
    return replace(scene, camera=replace(scene.camera, **own), **shared)
