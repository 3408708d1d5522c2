"""``frontglass mood``: a client board of stills through looks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, LampRange, LightOptions, LookOptions, Overwrite
from frontglass.cli.progress import shown
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.space_options import SpaceOptions

if TYPE_CHECKING:
    from frontglass.looks import Look
    from frontglass.picture.picture import Picture
    from frontglass.picture.region import Region
    from frontglass.pipeline.recipe import Recipe
    from frontglass.sheets.mood import MoodFrame

FOOT = "Simulated on scout stills; a test with the real glass stays the last word."


def mood(
    stills: Annotated[
        list[Path], typer.Argument(metavar="STILLS...", help="The stills.", show_default=False)
    ],
    *,
    looks: LookOptions,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FOLDER", help="Folder for the board.")
    ],
    title: Annotated[str, typer.Option(help="Title of the board.")] = "Mood",
    caption: Annotated[
        list[str] | None,
        typer.Option(help="Caption of a frame, in the order of the stills; else its file's name."),
    ] = None,
    aspect: Annotated[
        str | None, typer.Option(metavar="W:H", help="2.39, 1.85, 16:9, 4:3 or your own.")
    ] = None,
    crop_from: Annotated[
        float, typer.Option(metavar="0-1", help="Where the crop stands: 0 top, 1 bottom.")
    ] = 0.5,
    wipe: Annotated[
        bool, typer.Option("--wipe", help="Put the bare frame behind a wipe in the HTML.")
    ] = False,
    lamp_range: LampRange = False,
    camera: CameraOptions,
    space: SpaceOptions,
    light: LightOptions,
    kept: SceneOptions,
    overwrite: Overwrite = False,
) -> None:
    """Make a client board of STILLS through looks.

    One HTML file that works offline, a PDF, and PNGs. The looks are stacked, as in apply. Frames
    are rendered whole and cropped afterwards.
    """
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets import mood as boards

    recipes, crops = _taken(stills, looks, partial(light.typed, camera=camera, space=space), kept)
    shape = None if aspect is None else boards.aspect_from_text(aspect)
    out.mkdir(parents=True, exist_ok=True)
    for path in boards.mood_paths(out, len(stills) * (3 if lamp_range else 1)):
        check_may_write(path, stills, overwrite=overwrite)
    notices: list[str] = []
    frames: list[MoodFrame] = []
    for still, words in _shown(stills, caption or []):
        shown_as = _Shown(shape, crop_from, crops[still])
        for end, picture in _seen_as(recipes[still], still, lamp_range=lamp_range):
            frame, told = _frame(picture, words + end, recipes[still], shown_as, has_wipe=wipe)
            frames.append(frame)
            notices += told
    note(*dict.fromkeys(notices))
    about = _about(len(frames), recipes.values())
    board = boards.mood_html(title, about, frames, foot=FOOT)
    for path in boards.write_mood(out, board, boards.mood_pages(title, about, frames)):
        typer.echo(str(path))


def _about(number: int, recipes: Iterable[Recipe]) -> str:
    """Return what a board shows, in a line."""
    glass = ", ".join(dict.fromkeys(map(_glass, recipes)))
    return f"{number} frame{'s' if number > 1 else ''}, {glass}"


def _taken(
    stills: Sequence[Path],
    looks: LookOptions,
    typed: Callable[[tuple[Look, ...]], dict[str, Any]],
    kept: SceneOptions,
) -> tuple[dict[Path, Recipe], dict[Path, Region | None]]:
    """Return how each still is shown, and what of it."""
    at_hand = kept.at_hand()
    recipes = {}
    for still in stills:
        chosen = looks.looks(() if looks.look else at_hand.looks(still))
        recipes[still] = at_hand.recipe(still, typed(chosen))
    # A taking lens frames by itself.
    crops = {
        still: at_hand.crop(still) if recipe.framing.taking is None else None
        for still, recipe in recipes.items()
    }
    at_hand.say()
    return recipes, crops


def _shown(stills: Sequence[Path], captions: Sequence[str]) -> Iterable[tuple[Path, str]]:
    """Yield each still with its caption, and show meanwhile how far it is."""
    return shown(list(zip(stills, _captions(stills, captions), strict=True)), len(stills), str)


def _captions(stills: Sequence[Path], given: Sequence[str]) -> list[str]:
    """Return the caption of each still: what was given, then file names."""
    from frontglass.errors import ParameterError

    if len(given) > len(stills):
        raise ParameterError("caption", f"given for {len(stills)} stills at most", len(given))
    return [*given, *(still.stem for still in stills[len(given) :])]


def _seen_as(recipe: Recipe, still: Path, *, lamp_range: bool) -> list[tuple[str, Picture]]:
    """Return the still, or it with its lamps at both ends; each with what its caption adds."""
    if not lamp_range:
        return [("", recipe.picture_from(still))]
    return [(f", {end}", picture) for end, picture in recipe.lamp_range_from(still)]


class _Shown(NamedTuple):
    """What of a still is shown."""

    aspect: float | None
    crop_from: float
    crop: Region | None

    def of(self, picture: Picture) -> Picture:
        """Return that part of a picture."""
        from frontglass.sheets.mood import cropped

        whole = picture
        if self.crop is not None:
            self.crop.check_inside(picture)
            whole = self.crop.of(picture)
        return cropped(whole, self.aspect, height_share=self.crop_from)


def _frame(
    picture: Picture,
    caption: str,
    recipe: Recipe,
    shown_as: _Shown,
    *,
    has_wipe: bool,
) -> tuple[MoodFrame, tuple[str, ...]]:
    from frontglass.sheets.ladder import stops_text
    from frontglass.sheets.mood import MoodFrame

    choice = recipe.framing.camera_for(picture)
    seen = recipe.rendered(picture, choice.camera)
    loss = recipe.light_loss_stops
    detail = _glass(recipe) + (f" · costs {stops_text(loss)}" if loss else "")
    bare, through = shown_as.of(picture), shown_as.of(seen)
    frame = MoodFrame(caption, detail, through, bare if has_wipe else None)
    return frame, (*picture.notices, *choice.notices, *seen.notices)


def _glass(recipe: Recipe) -> str:
    return " and ".join(str(look) for look in recipe.looks)
