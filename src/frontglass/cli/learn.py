"""``frontglass learn``: a look from stills without and with a piece of glass."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, Json, Lamps, Overwrite, White, recovery_from
from frontglass.cli.progress import working
from frontglass.cli.texts import print_json
from frontglass.errors import ParameterError
from frontglass.units import strength_from_text

if TYPE_CHECKING:
    from frontglass.learning.on_disk import PairOnDisk


@dataclass(frozen=True, kw_only=True)
class PairOptions:
    """Which stills."""

    bare: Annotated[
        list[Path] | None,
        typer.Option(help="Still without the glass; several are a bracket.", show_default=False),
    ] = None
    with_: Annotated[
        list[Path] | None,
        typer.Option("--with", help="The same view with it, as many.", show_default=False),
    ] = None
    pairs: Annotated[
        Path | None, typer.Option(help="TOML list of several pairs, fitted together.")
    ] = None
    strength: Annotated[str, typer.Option(help="What the piece in hand carries: 1/4.")] = "1"
    stops: Annotated[
        str | None,
        typer.Option(metavar="S,S,...", help="Exposures of the frames, if no EXIF data say them."),
    ] = None
    lamp: Annotated[
        list[str] | None,
        typer.Option(
            metavar="X,Y,STOPS|KIND", help="A clipped lamp of a single bare still, as in apply."
        ),
    ] = None
    lamps: Lamps = None
    white: White = None

    def listed(self) -> tuple[PairOnDisk, ...]:
        """Return the pairs that were typed or listed, with what was typed of their lamps."""
        from frontglass.picture.marks import marks_from_texts

        listed = self._pairs()
        marks = marks_from_texts(self.lamp or ()).levels
        recovery = recovery_from(None, marks, self.lamps, self.white)
        if recovery is None:
            return listed
        if self.pairs is not None and self.lamp:
            hint = "The list says the lamps of each pair."
            raise ParameterError("lamp", "given without --pairs", self.lamp[0], hint)
        # Marks of a list stay; what is said of all lamps is said of those of every pair.
        return tuple(
            replace(
                pair,
                recovery=replace(recovery, marks=(*pair.recovery.marks, *recovery.marks)),
            )
            for pair in listed
        )

    def _pairs(self) -> tuple[PairOnDisk, ...]:
        from frontglass.learning.on_disk import PairOnDisk, pairs_from_file, stops_from_text

        strength = strength_from_text(self.strength)
        bare, other = tuple(self.bare or ()), tuple(self.with_ or ())
        if self.pairs is not None:
            if bare or other or self.stops is not None:
                hint = "The list says strength and stops of each pair, too."
                rule = "given without --bare, --with, --stops"
                raise ParameterError("pairs", rule, self.pairs, hint)
            return pairs_from_file(self.pairs)
        if not bare or not other:
            missing = "--with" if bare else "--bare"
            raise ParameterError("pair", "--bare B --with W, or --pairs LIST", f"no {missing}")
        if len(bare) != len(other):
            got = f"{len(bare)} and {len(other)}"
            raise ParameterError("pair", "as many frames without as with the glass", got)
        stops = None if self.stops is None else stops_from_text(self.stops)
        return (PairOnDisk(bare=bare, with_glass=other, strength=strength, stops=stops),)


def learn(
    *,
    chosen: PairOptions,
    name: Annotated[
        str | None, typer.Option(help="Name of the look; else that of the file.")
    ] = None,
    out: Annotated[Path, typer.Option("--out", "-o", help="Look file to write.")] = Path(
        "my-glass.toml"
    ),
    picture: Annotated[
        Path | None, typer.Option(help="PNG or JPEG that shows how good it is.")
    ] = None,
    camera: CameraOptions,
    surround: Annotated[
        Literal["lampless", "mirror", "dark"], typer.Option(help="What lies outside the frames.")
    ] = "lampless",
    form: Annotated[
        Literal["lobes", "table"],
        typer.Option(help="Lobes of the catalogue where few of them fit, or a table at once."),
    ] = "lobes",
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """Learn a look from one view without and with the glass.

    What the pair tells well, and what it does not, is said; a pair that is none is refused.
    """
    from frontglass.cli import learn_texts as texts
    from frontglass.files.whole import write_all_whole
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.sheet import check_suffix

    listed = chosen.listed()
    files = [path for pair in listed for path in pair.files]
    for target in filter(None, (out, picture)):
        check_may_write(target, files, overwrite=overwrite)
    if picture is not None:
        check_suffix(picture)
    with working("reading stills"):
        stills = [pair.read() for pair in listed]
    framing = camera.framing()
    choice = None if framing == fg.Framing() else framing.camera_for(stills[0].bare)
    with working("learning the glass") as step:
        learned = fg.learn_look(
            stills,
            camera=choice and choice.camera,
            name=name or texts.name_of(out),
            surround=surround,
            form=form,
            step=step,
        )
    note(*(choice.notices if choice else ()), *learned.notices)
    write_all_whole(texts.writers(learned, out, picture))
    if as_json:
        print_json(texts.learned_record(learned, out, picture))
    else:
        typer.echo("\n".join(texts.learned_lines(learned, out, picture)))
