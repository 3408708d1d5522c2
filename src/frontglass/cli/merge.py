"""``frontglass merge``: bracketed stills into one that holds its lamps."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from frontglass.cli.grouped import note
from frontglass.cli.options import Json, Overwrite
from frontglass.cli.progress import working
from frontglass.cli.texts import print_json


def merge(
    stills: Annotated[
        list[Path],
        typer.Argument(
            metavar="STILLS", help="The same view at two exposures at least.", show_default=False
        ),
    ],
    *,
    out: Annotated[Path, typer.Option("--out", "-o", help="OpenEXR, HDR or float TIFF to write.")],
    stops: Annotated[
        str | None,
        typer.Option(
            metavar="S,S,...", help="Exposure of each, such as 0,-3,-6; else from EXIF data."
        ),
    ] = None,
    response: Annotated[
        Literal["profile", "estimated"],
        typer.Option(help="Curve of the files: as their profile says, or recovered from them."),
    ] = "profile",
    no_align: Annotated[
        bool, typer.Option("--no-align", help="The camera stood still: shift nothing.")
    ] = False,
    overwrite: Overwrite = False,
    as_json: Json = False,
) -> None:
    """Merge bracketed STILLS into a file that holds their lamps.

    White is the white of the brightest exposure; --exposure of other commands shows it anew.
    """
    from frontglass.pipeline.merge_files import merge_files
    from frontglass.pipeline.still_files import check_may_write

    check_may_write(out, stills, overwrite=overwrite)
    alignment = "off" if no_align else "shift"
    with working("merging"):
        merged = merge_files(stills, out, stops, response=response, alignment=alignment)
    note(*merged.picture.notices)
    if as_json:
        print_json(
            {
                "out": str(out),
                "exposure_stops": [round(stop, 3) for stop in merged.exposure_stops],
                "shifts_px": [list(shift) for shift in merged.shifts_px],
                "clipped_share": merged.clipped_share,
                "ghost_share": merged.ghost_share,
            }
        )
    else:
        typer.echo(str(out))
