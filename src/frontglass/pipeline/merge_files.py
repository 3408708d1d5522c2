"""A bracket merged from files to file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.optics.camera import ShotData
from frontglass.picture.bracket import Alignment, MergedBracket, Response, merged_bracket
from frontglass.picture.encoding import Metadata
from frontglass.picture.picture import Picture

FLOAT_SUFFIXES = (".exr", ".hdr", ".tif", ".tiff")


def merge_files(
    stills: Sequence[Path],
    out: Path,
    stops: str | None = None,
    *,
    response: Response | str = Response.PROFILE,
    alignment: Alignment | str = Alignment.SHIFT,
) -> MergedBracket:
    """Merge bracketed stills into a file that holds light above white.

    Parameters
    ----------
    stills : sequence of Path
        Files of one view.
    out : Path
        Where to write: OpenEXR, Radiance HDR or float TIFF, by its extension.
    stops : str or None
        Exposure of each, such as "0,-3,-6"; None reads time, f-number and ISO from EXIF data.
    response, alignment
        As in `merged_bracket`.

    Raises
    ------
    FrontglassError
        If a still cannot be read, or does not say how it was exposed, or the file not written.
    """
    if out.suffix.lower() not in FLOAT_SUFFIXES:
        said = "cannot hold light above white; end its name with .exr."
        raise PictureFileError(f"{out}: {said}")
    pictures = [read_picture(still) for still in stills]
    if stops is None:
        read = [picture.shot.exposure_stops for picture in pictures]
        for still, stop in zip(stills, read, strict=True):
            if stop is None:
                said = "does not say time, f-number and ISO; say the exposures with --stops."
                raise PictureFileError(f"{still}: {said}")
        exposures = [stop for stop in read if stop is not None]
    else:
        exposures = _stops_from_text(stops)
    merged = merged_bracket(pictures, exposures, response=response, alignment=alignment)
    brightest = pictures[int(np.argmax(exposures))]
    merged = replace(merged, picture=_with_lens(merged.picture, brightest, out))
    write_picture(out, merged.picture)
    return merged


def _with_lens(merged: Picture, brightest: Picture, out: Path) -> Picture:
    """Return what was merged with lens and exposure of the frame whose white it has."""
    suffix, exif = out.suffix.lower(), brightest.encoding.metadata.exif
    if suffix == ".hdr" and merged.shot != ShotData():
        said = "Radiance HDR has no place for lens and exposure; OpenEXR keeps them."
        return replace(merged, notices=(*merged.notices, said))
    if suffix == ".exr":  # its attributes are written from `Picture.shot`
        return merged
    return replace(merged, encoding=replace(merged.encoding, metadata=Metadata(exif=exif)))


def _stops_from_text(text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise ParameterError("stops", "numbers such as 0,-3,-6", text) from None
