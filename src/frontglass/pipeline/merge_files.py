"""A bracket merged from files to file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files import read_picture, write_picture
from frontglass.files.exif import exposure_stops_of
from frontglass.picture.bracket import Alignment, MergedBracket, Response, merged_bracket

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
        read = [exposure_stops_of(picture.encoding.metadata.exif) for picture in pictures]
        for still, stop in zip(stills, read, strict=True):
            if stop is None:
                said = "does not say time, f-number and ISO; say the exposures with --stops."
                raise PictureFileError(f"{still}: {said}")
        exposures = [stop for stop in read if stop is not None]
    else:
        exposures = _stops_from_text(stops)
    merged = merged_bracket(pictures, exposures, response=response, alignment=alignment)
    write_picture(out, merged.picture)
    return merged


def _stops_from_text(text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise ParameterError("stops", "numbers such as 0,-3,-6", text) from None
