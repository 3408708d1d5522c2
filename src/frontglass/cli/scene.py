"""``frontglass scene``: what is known of stills and what was chosen, in one file beside them."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

import frontglass as fg
from frontglass.cli.batch_texts import say_left_out
from frontglass.cli.grouped import note, register
from frontglass.cli.options import Stills, given
from frontglass.cli.progress import shown
from frontglass.cli.scene_choices import Surround, Taking, Title, camera, changed_camera, keep
from frontglass.cli.scene_files import SceneFile, edited, scene_file
from frontglass.cli.scene_marks import distance, lamp, watch
from frontglass.cli.scene_show import show
from frontglass.cli.scene_still import still
from frontglass.cli.texts import table
from frontglass.errors import FrontglassError

if TYPE_CHECKING:
    from frontglass.scene.seeing import SeenStill


class SceneGroup(TyperGroup):
    """Commands of a scene; what is none of them are stills to start one with."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Take words that name no command for those of `start`."""
        if args and args[0] not in self.commands:
            close = difflib.get_close_matches(args[0], self.commands, n=1)
            if close and not Path(args[0]).exists():
                ctx.fail(f"No such still or command '{args[0]}'. Did you mean {close[0]}?")
            args = ["start", *args]
        return super().resolve_command(ctx, args)

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """Say first what is typed first."""
        del ctx
        return ["STILLS... | COMMAND [ARGS]..."]


scene_app = typer.Typer(
    cls=SceneGroup,
    rich_markup_mode=None,
    no_args_is_help=True,
    # What stands before the stills is for `start`.
    context_settings={"ignore_unknown_options": True, "allow_interspersed_args": False},
    help="Keep what is known of stills and what is chosen; STILLS start a scene.",
)


def start(
    stills: Stills,
    *,
    title: Title = None,
    taking: Taking = None,
    stop: Annotated[str | None, typer.Option(metavar="N", help="Its stop.")] = None,
    surround: Surround = None,
    scene: SceneFile = None,
) -> None:
    """Start a scene, or add stills to it.

    The word start may be left out: frontglass scene STILLS. Lens and white are read from each file
    and its clipped lamps are found; lamps.toml beside the stills is taken over. What is said
    already of a still stays.
    """
    from frontglass.batch.finding import found_stills
    from frontglass.scene.finding import as_typed, name_in_scene
    from frontglass.scene.scene import FILE_NAME
    from frontglass.scene.seeing import found_lamps, with_seen

    found = found_stills(stills)
    is_missed = say_left_out(found)
    first = scene_file(scene, found.stills[0])
    path = as_typed(first if scene is not None or first.exists() else found.root / FILE_NAME)
    seen, failed = _looked_at(found.stills)
    own, shared = given(taking=taking, stop=stop), given(title=title, surround=surround)

    def change(before: fg.Scene) -> fg.Scene:
        after = before
        for one in seen:
            after = with_seen(after, one, lamps=found_lamps(one))
        return changed_camera(after, own, shared)

    if seen:
        folders = {one.path.parent for one in seen}
        about = {name_in_scene(path.parent, one.path): str(one) for one in seen}
        after = edited(path, change, about=about, folders=folders)
        _say(path, after, seen)
    for reason in failed:
        typer.echo("error: " + " ".join(f"{reason} Left out.".split()), err=True)
    if failed or is_missed:
        raise typer.Exit(1)


def _say(path: Path, scene: fg.Scene, seen: Sequence[SeenStill]) -> None:
    """Say what was found, and what is not known that will be asked for."""
    typer.echo(table([["still", "size", "lens", "white", "clipped lamps"], *map(_row, seen)]))
    unknown = [one.path for one in seen if not one.lens_text]
    if unknown and scene.camera.taking is not None:
        names = ", ".join(map(str, unknown))
        how = f"frontglass scene still {unknown[0]} --lens 26mm --sensor full-frame"
        note(f"{names}: no lens in the file, which --as needs; {how} says it.")
    number = len(scene.stills)
    typer.echo(f"{path}: {number} {'still' if number == 1 else 'stills'}")


def _looked_at(stills: Sequence[Path]) -> tuple[list[SeenStill], list[str]]:
    """Return what each still shows, and what is wrong with those that cannot be taken in."""
    from frontglass.scene.fields import checked_file
    from frontglass.scene.seeing import seen_still

    seen, failed = [], []
    for one in shown(stills):
        try:
            checked_file("name", str(one))
            seen.append(seen_still(one))
        except FrontglassError as error:
            said = str(error)
            failed.append(said if str(one) in said else f"{one}: {said}")
    return seen, failed


def _row(seen: SeenStill) -> list[str]:
    from frontglass.scene.reading import shown_name

    lamps = [f"{one.x_px:.0f},{one.y_px:.0f} ({one.stops:.1f} stops)" for one in seen.lamps]
    size = f"{seen.size_px[0]} x {seen.size_px[1]}"
    white = seen.white_text or "not known"
    name = shown_name(seen.path.name)
    return [name, size, seen.lens_text or "not known", white, ", ".join(lamps) or "none"]


for function in (start, lamp, distance, watch, still, keep, camera, show):
    register(scene_app, function)
