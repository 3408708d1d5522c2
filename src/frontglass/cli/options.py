"""Options that several commands share, and what they mean to the library."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

import frontglass as fg
from frontglass.cli.glass_options import GlassOptions
from frontglass.errors import ParameterError
from frontglass.units import strengths_from_text

if TYPE_CHECKING:
    from frontglass.cli.space_options import SpaceOptions
    from frontglass.looks import LookStack

Still = Annotated[Path, typer.Argument(metavar="STILL", help="The still.", show_default=False)]
Stills = Annotated[
    list[str],
    typer.Argument(
        metavar="STILLS",
        help='Stills, folders with their sub-folders, or patterns such as "day*/*.jpg".',
        show_default=False,
    ),
]
SheetOut = Annotated[
    Path | None, typer.Option("--out", "-o", help="PNG or JPEG to write; else beside the still.")
]
WidthAtMost = Annotated[int | None, typer.Option(metavar="PX", help="Width of the sheet at most.")]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace a file that exists.")]
Strengths = Annotated[
    str | None,
    typer.Option(metavar="S,S,...", help="Strengths, such as 1/8,1/4,1/2; else the stock ones."),
]
SeenOn = Annotated[
    Literal["desk", "phone"] | None,
    typer.Option("--for", help="Lay the sheet out for a phone: type that can be read there."),
]
Watch = Annotated[
    list[str] | None,
    typer.Option(
        metavar="NAME:X,Y,W,H",
        help="Part to watch [px], such as face:..., hair:..., lamp:..., black:...; repeatable.",
    ),
]

Lamps = Annotated[
    str | None,
    typer.Option(metavar="KIND", help="What all clipped lamps are that nothing else names."),
]
White = Annotated[
    float | None,
    typer.Option(metavar="CD/M2", help="Luminance of white in the still; else by its exposure."),
]
GainMap = Annotated[
    Literal["on", "off"] | None,
    typer.Option(help="Light that a phone's gain map tells: taken (as usual), or left."),
]
Encoding = Annotated[
    str | None,
    typer.Option(metavar="NAME", help="What the still's codes are, such as a log encoding."),
]
LampRange = Annotated[
    bool,
    typer.Option("--lamp-range", help="Show clipped lamps as dim and as bright as is likely."),
]


def given(**options: Any) -> dict[str, Any]:
    """Return the options that were given; what is left out is for the library to decide."""
    return {name: value for name, value in options.items() if value is not None}


@dataclass(frozen=True, kw_only=True)
class CameraOptions:
    """Lens and sensor of the still, where its file does not say, and of the film."""

    lens: Annotated[
        str | None, typer.Option(metavar="MM", help="What the still was shot with: 50mm.")
    ] = None
    stop: Annotated[str | None, typer.Option(metavar="N", help="Stop: 2.8, f/2.8 or T2.8.")] = None
    sensor: Annotated[
        str | None,
        typer.Option(metavar="NAME|WxH", help="full-frame, super35, ... or 24.9x14 in mm."),
    ] = None
    filter_distance: Annotated[
        str | None, typer.Option(metavar="MM", help="Filter to entrance pupil: 80mm.")
    ] = None
    taking: Annotated[
        str | None,
        typer.Option(
            "--as",
            metavar="MM,SENSOR[,SHAPE][,STOP][,2x]",
            help="What the film is shot with, such as 50mm,super35,2.39,T2.8: the still is cut to"
            " what that sees.",
        ),
    ] = None
    aim: Annotated[
        str | None,
        typer.Option(metavar="X,Y", help="Pixel of the still in the middle of that frame."),
    ] = None
    focus: Annotated[
        str | None,
        typer.Option(metavar="M|inf", help="What the lens is focused on: 3m; else by the file."),
    ] = None
    no_exif: Annotated[
        bool,
        typer.Option("--no-exif", help="The still's lens data are wrong: go by what is typed."),
    ] = False

    def framing(self) -> fg.Framing:
        """Return these options as the library takes them."""
        from frontglass.optics import camera
        from frontglass.picture.marks import place_from_text

        return fg.Framing(
            lens_mm=_parsed(camera.lens_mm_from_text, self.lens),
            f_number=_parsed(camera.f_number_from_text, self.stop),
            sensor=self.sensor,
            filter_distance_mm=_parsed(camera.filter_distance_mm_from_text, self.filter_distance),
            **given(
                taking=self.taking and fg.TakingLens.from_text(self.taking),
                aim=self.aim and place_from_text("aim", self.aim),
                lens_from="typed" if self.no_exif else None,
                focus_m=_parsed(camera.focus_m_from_text, self.focus),
            ),
        )


def _parsed(number_from_text: Callable[[str], float], text: str | None) -> float | None:
    return None if text is None else number_from_text(text)


@dataclass(frozen=True, kw_only=True)
class LookOptions(GlassOptions):
    """Which looks, and how strong."""

    look: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LOOK[:STRENGTH][+LOOK...]",
            help="Look, by name or file; several are shown each by itself, and A+B is B behind A."
            " Else what the scene keeps.",
        ),
    ] = None
    strength: Annotated[
        str | None, typer.Option(help="Strength of looks that name none: 1/8, 0.3, 2.")
    ] = None

    def stacks(self, kept: Sequence[LookStack] = ()) -> tuple[LookStack, ...]:
        """Return each look, or stack of looks, that was typed, else what a scene keeps.

        A look that names no strength is at 1, and says so. Its glass stands as the look has it.
        """
        from frontglass.looks.stack import looks_of_text, stack_from_text

        if not self.look and not kept:
            raise typer.BadParameter("name a look; no scene keeps one.", param_hint="'--look'")
        stated = given(default_strength=self.strength)
        typed = [stack_from_text(text, **stated) for text in self.look or ()]
        if self.strength is None:
            say_silent([part for text in self.look or () for part in looks_of_text(text)])
        return tuple({stack.text: stack for stack in typed or kept}.values())


def targets_of(
    stacks: Sequence[LookStack], out: Path | None, beside: Callable[[LookStack], Path]
) -> list[Path]:
    """Return where the picture of each choice goes: to `out` if there is one, else beside."""
    if out is not None and len(stacks) > 1:
        hint = "Leave it out: each picture is named after its look. A+B stacks looks into one."
        raise ParameterError("out", "left out where there are several looks", str(out), hint)
    return [out] if out is not None else [beside(stack) for stack in stacks]


def looks_from_texts(texts: Sequence[str], default_strength: str | None = None) -> list[fg.Look]:
    """Return looks at their strengths; those that say none are at 1, which a note says."""
    from frontglass.looks import look_from_text

    found = [look_from_text(text, **given(default_strength=default_strength)) for text in texts]
    if default_strength is None:
        say_silent(texts)
    return found


def say_silent(texts: Sequence[str]) -> None:
    """Say of looks that name no strength that they are at 1."""
    from frontglass.cli.grouped import note_later
    from frontglass.looks.catalogue import name_and_strength

    pairs = dict(map(name_and_strength, texts))
    silent = [Path(name).stem for name, strength in pairs.items() if not strength]
    if silent:
        verb = "is" if len(silent) == 1 else "are"
        note_later(
            f"{' and '.join(silent)} {verb} at strength 1; {silent[0]}:1/4 is a quarter of it."
        )


def steps_of(look: str, strengths: str | None) -> tuple[str, tuple[float, ...] | None]:
    """Return name and strengths of a look that is shown at several; None is the stock ones."""
    from frontglass.looks.catalogue import name_and_strength

    name, strength = name_and_strength(look)
    if strength and strengths is not None:
        hint = f"Write {name} --strengths {strength},{strengths}, or one of the two."
        raise ParameterError("strengths", f"left out beside {look}", strengths, hint)
    text = strength or strengths
    return name, None if text is None else strengths_from_text(text)


@dataclass(frozen=True, kw_only=True)
class LightOptions:
    """How the still is exposed, and what its light does."""

    surround: Annotated[
        Literal["lampless", "mirror", "dark"] | None,
        typer.Option(
            help="What lies outside the frame: its mirror image without its lamps (as usual), "
            "or with them, or nothing."
        ),
    ] = None
    exposure: Annotated[
        str | None,
        typer.Option(
            metavar="STOPS|auto",
            help="Show the still this much brighter (or darker); auto finds it.",
        ),
    ] = None
    no_compensate: Annotated[
        bool, typer.Option("--no-compensate", help="Show the light lost; do not open the stop.")
    ] = False
    no_grain: Annotated[
        bool, typer.Option("--no-grain", help="Spread the sensor's noise like light.")
    ] = False
    non_finite: Annotated[
        Literal["refuse", "mend"] | None,
        typer.Option(help="Pixels that are no number: refuse the still, or mend them."),
    ] = None
    clip: Annotated[
        bool,
        typer.Option("--clip", help="Clip light past white channel by channel; hues shift."),
    ] = False
    strict: Annotated[bool, typer.Option("--strict", help="Refuse what seems damaged.")] = False
    max_megapixels: Annotated[
        float | None, typer.Option(metavar="MP", help="Largest still that is read; else 200.")
    ] = None
    gain_map: GainMap = None
    encoding: Encoding = None
    view: Annotated[
        str | None,
        typer.Option(
            metavar="FILE|DISPLAY/VIEW",
            help="The show's LUT (.cube, .clf, .cdl, ...), or a display: put on last.",
        ),
    ] = None
    view_from: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Encoding that the LUT expects; else the still's."),
    ] = None
    quality: Annotated[int | None, typer.Option(metavar="1-100", help="Quality of a JPEG.")] = None
    clipped: Annotated[
        str | None,
        typer.Option(
            metavar="auto|off|STOPS",
            help="Light of clipped lamps: estimated, left out, or this far above white.",
        ),
    ] = None
    lamp: Annotated[
        list[str] | None,
        typer.Option(
            metavar="X,Y[,METRESm][,STOPS|KIND]",
            help="A lamp: where, how far for haze (3.5m), and if it is clipped, how far above white"
            " or what it is (bulb).",
        ),
    ] = None
    lamps: Lamps = None
    white: White = None

    def reading(self) -> dict[str, Any]:
        """Return how the still's file is to be read, as far as that was typed."""
        return given(
            non_finite=self.non_finite,
            damage="refuse" if self.strict else None,
            max_megapixels=self.max_megapixels,
            gain_map=self.gain_map,
            encoding=self.encoding,
        )

    def typed(self, camera: CameraOptions, space: SpaceOptions | None = None) -> dict[str, Any]:
        """Return the parameters of a recipe that were typed; a scene may say the others."""
        from frontglass.picture.marks import marks_from_texts
        from frontglass.pipeline.recipe import exposure_from_text

        marks = marks_from_texts(self.lamp or ())
        return {
            "framing": camera.framing(),
            **given(
                space=space and space.space(marks.places),
                surround=self.surround,
                exposure_stops=self.exposure and exposure_from_text(self.exposure),
                compensate=False if self.no_compensate else None,
                grain=False if self.no_grain else None,
                **self.reading(),
                view=self.view,
                view_from=self.view_from,
                past_white="clip" if self.clip else None,
                quality=self.quality,
                recovery=recovery_from(self.clipped, marks.levels, self.lamps, self.white),
            ),
        }


def recovery_from(
    clipped: str | None,
    marks: tuple[fg.LampMark, ...],
    lamps: str | None = None,
    white: float | None = None,
) -> fg.Recovery | None:
    """Return what the options say of clipped lamps; None if nothing."""
    from frontglass.picture.lamp_kinds import kind_named
    from frontglass.picture.recovery import AUTO

    if clipped is None and lamps is None and white is None and not marks:
        return None
    if clipped is not None and lamps is not None:
        hint = "Both say what all clipped lamps are."
        raise ParameterError("lamps", "given without --clipped", lamps, hint)
    everywhere = clipped if lamps is None else kind_named(lamps).name
    found = fg.Recovery.from_text(AUTO if everywhere is None else everywhere, marks)
    return replace(found, white_cd_per_m2=white)
