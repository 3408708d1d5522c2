"""Camera raw: linear light by LibRaw, white where the camera's meter puts it."""

from __future__ import annotations

import io
import math
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import PictureFileError
from frontglass.files import exif
from frontglass.files.damage import damaged
from frontglass.files.extra import needed
from frontglass.files.limits import check_size
from frontglass.files.raw_exif import exif_of_raw
from frontglass.files.still import FileStill
from frontglass.files.tags import Directory, directory_at, header_of
from frontglass.optics.camera import ShotData, known
from frontglass.picture.curves import LINEAR
from frontglass.picture.encoding import Container, Metadata
from frontglass.picture.primaries import BT2020

EXTENSIONS = (
    *(".dng", ".cr2", ".cr3", ".crw", ".nef", ".nrw", ".arw", ".srf", ".sr2", ".raf", ".orf"),
    *(".rw2", ".pef", ".srw", ".3fr", ".fff", ".iiq", ".x3f", ".erf", ".mrw", ".kdc", ".dcr"),
)
_SIGNATURES = (b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FOVb", b"\0MRM")
_DNG_VERSION, _PHOTOMETRIC, _SUB_DIRECTORIES = 50706, 262, 330
_BASELINE_EXPOSURE = 50730
_MOSAIC, _LINEAR_RAW = 32803, 34892
_PLACES = ((273, 279), (324, 325))
"""Tags that say where strips and tiles begin, and how long they are."""
HEADROOM = math.sqrt(2)
"""Light at which a sensor clips over diffuse white: half a stop above it [ISO12232]."""
_MOST_STOPS = 6.0


class RawLight(NamedTuple):
    """Light of a raw file, 1 is diffuse white, and where it clips."""

    light: NDArray[np.float32]
    top: float


def is_raw(data: bytes) -> bool:
    """Whether a file is camera raw, by its content."""
    if data.startswith(_SIGNATURES) or data[4:11] == b"ftypcrx" or data[8:11] == b"CR\2":
        return True
    return any(_DNG_VERSION in one.tags or _is_mosaic(one) for one in _directories(data))


def _below(data: bytes, main: Directory) -> list[Directory]:
    found = []
    for offset in main.integers(_SUB_DIRECTORIES)[:8]:
        try:
            found.append(directory_at(data, header_of(data), offset))
        except PictureFileError:
            continue
    return found


def _is_mosaic(directory: Directory) -> bool:
    return directory.integers(_PHOTOMETRIC)[:1] in {(_MOSAIC,), (_LINEAR_RAW,)}


def read_raw(data: bytes) -> FileStill:
    """Read a camera raw file.

    Raises
    ------
    PictureFileError
        If it is damaged, too large, of a camera that LibRaw does not know, or LibRaw is missing.
    """
    rawpy = needed("rawpy", "Camera raw files")
    try:
        with _quiet(), rawpy.imread(io.BytesIO(data)) as raw:
            sizes = raw.sizes
            check_size(max(sizes.raw_width, sizes.width), max(sizes.raw_height, sizes.height))
            _check_whole(raw, data)
            found = _developed(rawpy, raw, 2.0 ** _baseline_stops(data))
            shot = _shot(raw, data)
            metadata = Metadata(exif=exif_of_raw(data, raw, shot))
    except (rawpy.LibRawError, ValueError, MemoryError, OSError, AttributeError) as error:
        # LibRaw's own words come as bytes.
        said = (part.decode("ascii", "replace") for part in error.args if isinstance(part, bytes))
        raise damaged("camera raw", next(map(ValueError, said), error)) from error
    return FileStill(
        container=Container.RAW,
        codes=found.light,
        primaries=BT2020,
        curves=(LINEAR,) * 3,
        metadata=metadata,
        shot=shot,
        top=found.top,
    )


def _check_whole(raw: Any, data: bytes) -> None:
    """Refuse a file whose samples lie beyond its end: LibRaw makes them black and says nothing.

    Raises
    ------
    PictureFileError
        If they do.
    """
    for directory in _directories(data):
        for starts, lengths in _PLACES:
            first, long = directory.integers(starts), directory.integers(lengths)
            ends = (start + length for start, length in zip(first, long, strict=False))
            if _is_mosaic(directory) and any(end > len(data) for end in ends):
                raise PictureFileError("The camera raw file is cut short.")
    if raw.raw_image is not None and not raw.raw_image.any():
        raise PictureFileError("The camera raw file holds no light: it is cut short or damaged.")


def _directories(data: bytes) -> Iterator[Directory]:
    """Yield the first directories of a file that is built like TIFF."""
    if data[:2] not in {b"II", b"MM"}:
        return
    try:
        header = header_of(data)
        main = directory_at(data, header, header.first)
    except PictureFileError:
        return
    yield main
    yield from _below(data, main)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what LibRaw prints of damage away from the user: an error says it in its line."""
    sys.stderr.flush()
    saved, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(saved, 2)
        os.close(saved)
        os.close(nowhere)


def _developed(rawpy: Any, raw: Any, brighter: float) -> RawLight:
    """Linear light in BT.2020 by the camera's own white balance, nothing brightened."""
    balance = [float(value) for value in raw.camera_whitebalance[:3]]
    is_told = all(value > 0 for value in balance)
    codes = raw.postprocess(
        gamma=(1, 1),
        no_auto_bright=True,
        output_bps=16,
        use_camera_wb=is_told,
        output_color=rawpy.ColorSpace(8),  # BT.2020
        # What one channel still tells of a highlight is kept for all.
        highlight_mode=rawpy.HighlightMode.Blend,
    )
    own = balance if is_told else [float(value) for value in raw.daylight_whitebalance[:3]]
    # So that no channel is cut, LibRaw makes all darker: by the strongest over the weakest factor.
    darker = max(own) / min(own) if min(own) > 0 else 1.0
    scale = darker * HEADROOM * brighter / 65535
    # A part in which all channels clip comes out grey, at the mean of where each does.
    even = sum(own) / 3 / min(own) if min(own) > 0 else 1.0
    return RawLight(codes.astype(np.float32) * np.float32(scale), HEADROOM * brighter * even)


def _baseline_stops(data: bytes) -> float:
    """By how much the makers of a DNG's camera move its exposure [stop]."""
    try:
        header = header_of(data)
        said = directory_at(data, header, header.first).numbers(_BASELINE_EXPOSURE)
    except PictureFileError:
        return 0.0
    is_sound = len(said) == 1 and math.isfinite(said[0]) and abs(said[0]) <= _MOST_STOPS
    return said[0] if is_sound else 0.0


def _shot(raw: Any, data: bytes) -> ShotData:
    """Lens and exposure by EXIF where the file is built like one, else by LibRaw."""
    # Raw files built like TIFF are their own EXIF block.
    by_exif = exif.shot_from_exif(data if data[:2] in {b"II", b"MM"} else None)
    other = getattr(raw, "other", None)

    def told(mine: float | None, name: str) -> float | None:
        return mine if mine is not None else known(_positive(getattr(other, name, None)))

    return ShotData(
        focal_length_mm=told(by_exif.focal_length_mm, "focal_length"),
        focal_length_35mm=by_exif.focal_length_35mm,
        f_number=told(by_exif.f_number, "aperture"),
        exposure_time_s=told(by_exif.exposure_time_s, "shutter_speed"),
        iso=told(by_exif.iso, "iso_speed"),
    ).exposed()


def _positive(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) and number > 0 else None
