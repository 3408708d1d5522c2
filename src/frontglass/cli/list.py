"""``frontglass list``: what to ask for at the rental counter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, Json, Overwrite
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.texts import print_json
from frontglass.errors import ParameterError, PictureFileError

if TYPE_CHECKING:
    from frontglass.looks import LookStack
    from frontglass.measurement.rental import Piece
    from frontglass.optics.camera import CameraChoice
    from frontglass.sheets.rental import RentalRow

WIDTH_PX = 4096
FOR = "@"
TITLE = "Filters to rent"
FOOT = "Looks are simulations; the nearest glass of the house is found by eye."


@dataclass(frozen=True, kw_only=True)
class WhoOptions:
    """What stands at the head of a page that goes out."""

    project: Annotated[str, typer.Option(help="Project.")] = ""
    date: Annotated[str | None, typer.Option(help="Date; else today's.")] = None
    contact: Annotated[str, typer.Option(help="Whom to call or write to.")] = ""

    def lines(self) -> list[str]:
        """Return them as lines, what is not given left out."""
        return [line for line in (self.project, self.day(), self.contact) if line]

    def day(self) -> str:
        """Return the date as it is to be written."""
        import datetime

        if self.date is not None:
            return self.date
        today = datetime.datetime.now().astimezone().date()
        return f"{today.day} {today:%B %Y}"


@dataclass(frozen=True, kw_only=True)
class FilterOptions:
    """How large the filters are."""

    size: Annotated[
        str | None,
        typer.Option(metavar="WxH|MM", help="Size of the filters: 4x5.65, 6.6x6.6, 138mm."),
    ] = None
    front: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Diameter of the lens' front, which they must cover."),
    ] = None

    def said(self) -> str:
        """Return the size to write; says if that is too small."""
        from frontglass.measurement.rental import filter_size

        size, wrong = filter_size(self.size, self.front)
        note(*([f"{wrong}."] if wrong else []))
        return size

    def lines(self) -> list[str]:
        """Return what the head of a list says."""
        return [f"lens front {self.front:g} mm"] if self.front else []


def list_(
    choices: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="LOOK[:STRENGTH][+LOOK...][@STILL,STILL]...",
            help="What was chosen, for which stills if not for all; else what the scene keeps.",
            show_default=False,
        ),
    ] = None,
    *,
    filters: FilterOptions,
    stand_ins: Annotated[
        int, typer.Option(metavar="N", help="Stand-ins for each piece, 0 for none.")
    ] = 2,
    among: Annotated[
        list[str] | None,
        typer.Option(metavar="all|NAME|FILE|FOLDER", help="Where they are looked for; else all."),
    ] = None,
    out: Annotated[
        list[Path] | None,
        typer.Option("--out", "-o", help="PDF or text (.txt) to write; repeatable."),
    ] = None,
    who: WhoOptions,
    camera: CameraOptions,
    scene: SceneOptions,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """List what to rent, and what each piece costs in light.

    A box to tick, stand-ins at strengths that can be rented. Every look of a stack is a piece.
    """
    from frontglass.cli.rental_texts import rental_record, rental_rows, rental_text
    from frontglass.measurement.rental import pieces
    from frontglass.pipeline.still_files import check_may_write

    check_suffixes(out or [])
    for target in out or ():
        check_may_write(target, [], overwrite=overwrite)
    at_hand = scene.at_hand(framing=camera.framing())
    kept = at_hand.here()
    found = pieces(map(chosen, choices) if choices else _kept(kept))
    framing = at_hand.framing()
    at_hand.say()
    choice = framing.camera_for_width(WIDTH_PX)
    note(*choice.notices)
    size = filters.said()
    if stand_ins:
        found = _with_stand_ins(found, among or ["all"], choice, framing, stand_ins)
    rows = rental_rows(found, size)
    title = [kept.title] if kept is not None and kept.title and not who.project else []
    head = [*title, *who.lines(), *filters.lines()]
    text = rental_text(TITLE, head, rows)
    for target in out or ():
        _write(target, text, head, rows)
    if as_json:
        print_json(rental_record(found, size))
    else:
        typer.echo("\n".join(map(str, out)) if out else text)


def check_suffixes(targets: Sequence[Path]) -> None:
    """Refuse a target that is neither a PDF nor a text."""
    for target in targets:
        if target.suffix.lower() not in {".pdf", ".txt"}:
            msg = f"{target}: a list is a PDF or a text; end its name with .pdf or .txt."
            raise PictureFileError(msg)


def chosen(text: str) -> tuple[LookStack, tuple[str, ...]]:
    """Return looks and stills of a text such as late-tram:1/2+slate-roof@gate.jpg,door.jpg."""
    from frontglass.looks import stack_from_text

    looks, _, stills = text.partition(FOR)
    names = (name.strip() for name in stills.split(","))
    return stack_from_text(looks), tuple(name for name in names if name)


def _kept(scene: fg.Scene | None) -> list[tuple[LookStack, tuple[str, ...]]]:
    """Return what a scene keeps, and for which stills."""
    if scene is None or not scene.choices:
        words = "name what was chosen; no scene here keeps anything."
        raise typer.BadParameter(words, param_hint="'LOOK'")
    return [(scene.stack_of(choice), choice.stills) for choice in scene.choices]


def _with_stand_ins(
    found: Sequence[Piece],
    among: list[str],
    choice: CameraChoice,
    framing: fg.Framing,
    most: int,
) -> list[Piece]:
    """Return pieces with what may stand in for each."""
    from frontglass.cli.stand_ins import candidates, looked_through
    from frontglass.measurement.rental import stand_in_lines
    from frontglass.measurement.stand_ins import Curve, ranked_stand_ins

    looks = candidates(among)
    shape = framing.height_for_width(WIDTH_PX) / WIDTH_PX
    known: dict[str, Curve] = {}
    done = []
    for piece in found:
        try:
            ranked = ranked_stand_ins(
                piece.look, looks, choice.camera, shape, known=known, progress=looked_through
            )
            lines = stand_in_lines(ranked.stand_ins, ranked.wanted, most)
        except ParameterError:  # Haze, and what does nothing in the middle of the frame.
            lines = ("no stand-in looked for",)
        done.append(replace(piece, stand_ins=lines))
    return done


def _write(target: Path, text: str, head: Sequence[str], rows: Sequence[RentalRow]) -> None:
    """Write a list as its name asks."""
    from frontglass.files.whole import write_bytes_whole
    from frontglass.sheets.pdf import write_pdf
    from frontglass.sheets.rental import rental_pages

    if target.suffix.lower() == ".txt":
        write_bytes_whole(target, (text + "\n").encode(errors="backslashreplace"))
        return
    write_pdf(target, TITLE, rental_pages(TITLE, head, rows, FOOT))
