"""``frontglass mood``: a client board of stills through looks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import frontglass as fg
from frontglass.cli.batch_texts import notices_by_still, relative_name, say_left_out
from frontglass.cli.grouped import note
from frontglass.cli.list import WhoOptions
from frontglass.cli.options import LampRange, LookOptions, Overwrite
from frontglass.cli.progress import shown, working
from frontglass.cli.scene_options import SceneAtHand, StillOptions, WatchedParts, say_without_looks
from frontglass.errors import FrontglassError, LookError, ParameterError

if TYPE_CHECKING:
    from frontglass.batch.finding import Found
    from frontglass.looks import LookStack
    from frontglass.sheets.mood import MoodFrame, MoodHead, MoodStill

FOOT = "Simulated on scout stills; a test with the real glass stays the last word."
TITLE = "Mood"


@dataclass(frozen=True, kw_only=True)
class CropOptions:
    """What of each still a board shows."""

    aspect: Annotated[
        str | None, typer.Option(metavar="W:H", help="2.39, 1.85, 16:9, 4:3 or your own.")
    ] = None
    crop_from: Annotated[
        float | None,
        typer.Option(
            metavar="0-1",
            help="Where all crops stand, 0 top or left; else by watched parts, faces, contrast.",
        ),
    ] = None
    crop: Annotated[
        list[str] | None,
        typer.Option(metavar="STILL=0-1|X,Y,W,H", help="The same for one still; repeatable."),
    ] = None

    def of(self, still: Path, at_hand: SceneAtHand, recipe: fg.Recipe) -> Shown:
        """Return what is shown of a still: as typed, else as the scene says."""
        from frontglass.sheets.mood import aspect_from_text

        own = dict(map(_crop_word, self.crop or ())).get(still.name, "")
        parts = WatchedParts(()) if self.aspect is None else at_hand.watch(still, None)
        is_region = "," in own
        # A taking lens frames by itself, and the scene's crop is of the whole still.
        is_framed = recipe.framing.taking is not None
        kept = None if is_region or is_framed else at_hand.crop(still)
        return Shown(
            aspect=None if self.aspect is None else aspect_from_text(self.aspect),
            share=_share(own) if own and not is_region else self.crop_from,
            within=fg.Region.from_text(own) if is_region else kept,
            watched=parts,
        )

    def check(self, stills: Sequence[Path]) -> None:
        """Refuse a crop of a still that is not among them."""
        names = {still.name for still in stills}
        for text in self.crop or ():
            name, _ = _crop_word(text)
            if name not in names:
                raise ParameterError("crop", "of one of the stills, by its file's name", name)


def _crop_word(text: str) -> tuple[str, str]:
    name, equals, where = text.rpartition("=")
    if not equals or not name:
        raise ParameterError("crop", "STILL=0-1 or STILL=X,Y,W,H", text)
    return name, where


def _share(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise ParameterError("crop", "a number from 0 to 1, or X,Y,W,H", text) from None


@dataclass(frozen=True, kw_only=True)
class Shown:
    """What of a still is shown."""

    aspect: float | None = None
    share: float | None = None
    within: fg.Region | None = None
    watched: WatchedParts

    def region(self, picture: fg.Picture) -> tuple[fg.Region, tuple[str, ...]]:
        """Return the part of a picture, and what did not fit in; places are those of the still."""
        from frontglass.picture.wider import region_in
        from frontglass.sheets.crop import crop_of

        within = self.within
        if within is not None and picture.wider is not None:
            within = region_in(within, picture)
        parts = [(part.name, part.region) for part in self.watched.inside(picture)]
        found = crop_of(picture, self.aspect, share=self.share, within=within, watched=parts)
        return found.region, found.notices


@dataclass(frozen=True, kw_only=True)
class _Planned:
    """A still as the board will show it."""

    still: Path
    name: str
    caption: str
    recipe: fg.Recipe
    stacks: tuple[LookStack, ...]
    shown: Shown


def mood(
    stills: Annotated[
        list[str],
        typer.Argument(metavar="STILLS", help="Stills, folders, patterns.", show_default=False),
    ],
    *,
    looks: LookOptions,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FOLDER", help="Folder for the board.")
    ],
    title: Annotated[str | None, typer.Option(help="Title; else the scene's.")] = None,
    who: WhoOptions,
    caption: Annotated[
        list[str] | None,
        typer.Option(help="Caption of a still, in the order of the stills; else its file's name."),
    ] = None,
    crops: CropOptions,
    wipe: Annotated[
        bool, typer.Option("--wipe", help="Put the bare frame behind a wipe in the HTML.")
    ] = False,
    lamp_range: LampRange = False,
    options: StillOptions,
    overwrite: Overwrite = False,
) -> None:
    """Make a client board: STILLS through looks to choose from.

    HTML that works offline, with hearts and notes that answers reads, a PDF, PNGs. Without
    --look: what the scene keeps.
    """
    from frontglass.batch.finding import found_stills
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.mood import MoodHead
    from frontglass.sheets.mood_pages import mood_paths, page_count

    found = found_stills(stills).without(out)
    crops.check(found.stills)
    at_hand = options.at_hand()
    planned = _planned(found, _captions(found.stills, caption or []), at_hand, looks, crops)
    pages = sum((3 if lamp_range else 1) * page_count(len(one.stacks)) for one in planned)
    for path in mood_paths(out, pages):
        check_may_write(path, list(found.stills), overwrite=overwrite)
    made = _Made(lamp_range=lamp_range)
    looking = shown(planned, lambda one: one.name)
    seen = [each for one in looking for each in made.of(one)]
    note(*notices_by_still(made.told))
    if seen:
        head = MoodHead(
            title=title or _title(at_hand, found.stills),
            project=who.project,
            date=who.day(),
            contact=who.contact,
            foot=FOOT,
        )
        typer.echo("\n".join(map(str, _written(out, head, seen, has_wipe=wipe))))
    for reason in made.failed:
        typer.echo("error: " + " ".join(reason.split()), err=True)
    if say_left_out(found) or made.failed:
        raise typer.Exit(1)


def _planned(
    found: Found,
    captions: Sequence[str],
    at_hand: SceneAtHand,
    looks: LookOptions,
    crops: CropOptions,
) -> list[_Planned]:
    """Return stills as the board will show them, as typed or as scenes say, if with looks."""
    planned = []
    for still, caption in zip(found.stills, captions, strict=True):
        recipe = at_hand.recipe(still)
        planned.append(
            _Planned(
                still=still,
                name=relative_name(still, found.root),
                caption=caption,
                recipe=recipe,
                stacks=at_hand.stacks_or_none(still, looks),
                shown=crops.of(still, at_hand, recipe),
            )
        )
    at_hand.say()
    say_without_looks([one.still for one in planned if not one.stacks], len(planned))
    return [one for one in planned if one.stacks]


def _written(
    out: Path, head: MoodHead, stills: Sequence[MoodStill], *, has_wipe: bool
) -> list[Path]:
    """Write the board, all of it or nothing; return its files."""
    from frontglass.sheets.mood import mood_html
    from frontglass.sheets.mood_pages import mood_pages, write_mood

    with working("laying out the board"):
        board, pages = mood_html(head, stills, has_wipe=has_wipe), mood_pages(head, stills)
        is_new = not out.exists()
        out.mkdir(parents=True, exist_ok=True)
        try:
            return write_mood(out, head.title, board, pages)
        except BaseException:
            if is_new:
                out.rmdir()
            raise


def _title(at_hand: SceneAtHand, stills: Sequence[Path]) -> str:
    """Return the title of the scene that the stills belong to."""
    scenes = (at_hand.known(still).scene for still in stills)
    return next((scene.title for scene in scenes if scene is not None and scene.title), TITLE)


def _captions(stills: Sequence[Path], given: Sequence[str]) -> list[str]:
    """Return the caption of each still: what was given, then file names."""
    if len(given) > len(stills):
        raise ParameterError("caption", f"given for {len(stills)} stills at most", len(given))
    return [*given, *(still.stem for still in stills[len(given) :])]


class _Made:
    """Stills of a board as they are made, what was told of each, and which could not be."""

    def __init__(self, *, lamp_range: bool) -> None:
        self.told: list[tuple[str, Sequence[str]]] = []
        self.failed: list[str] = []
        self._lamp_range = lamp_range

    def of(self, one: _Planned) -> list[MoodStill]:
        """Return a still, or it with its lamps at both ends; nothing if it cannot be read."""
        try:
            return list(self._ends(one))
        except (ParameterError, LookError):
            raise
        except FrontglassError as error:
            self.failed.append(str(error))
            return []

    def _ends(self, one: _Planned) -> Iterator[MoodStill]:
        if not self._lamp_range:
            yield self._still(one, one.recipe.picture_from(one.still), "")
            return
        for end, picture in one.recipe.lamp_range_from(one.still):
            yield self._still(one, picture, f", {end}")

    def _still(self, one: _Planned, picture: fg.Picture, end: str) -> MoodStill:
        from frontglass.sheets.mood import MoodStill, frame_codes

        choice = one.recipe.framing.camera_for(picture)
        region, cut = one.shown.region(picture)
        frames: list[MoodFrame] = []
        told: list[str] = [*picture.notices, *choice.notices, *cut]
        for stack in one.stacks:
            recipe = replace(one.recipe, looks=stack.looks)
            seen = recipe.rendered(picture, choice.camera)
            told += seen.notices
            frames.append(_frame(stack, _part(region, seen)))
            del seen  # before the next one is made
        self.told.append((one.name, list(dict.fromkeys(told))))
        bare = frame_codes(_part(region, picture))
        return MoodStill(one.caption + end, one.name, bare, tuple(frames))


def _part(region: fg.Region, picture: fg.Picture) -> fg.Picture:
    return replace(region.of(picture), past_white=picture.past_white)


def _frame(stack: LookStack, part: fg.Picture) -> MoodFrame:
    from frontglass.sheets.ladder import stops_text
    from frontglass.sheets.mood import MoodFrame, frame_codes

    loss = stack.light_loss_stops
    detail = f"costs {stops_text(loss)}" if loss else ""
    return MoodFrame(str(stack), detail, frame_codes(part), stack.text)
