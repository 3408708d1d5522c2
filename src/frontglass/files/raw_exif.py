"""EXIF of a developed raw file: camera, lens, exposure and date, for what is written of it."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from frontglass.errors import PictureFileError
from frontglass.files.exif import sub_directory
from frontglass.files.tags import EXIF_DIRECTORY, Directory, directory_at, header_of
from frontglass.optics.camera import ShotData

_ASCII = 2
_OF_CAMERA = {"make": 271, "model": 272, "date": 306, "artist": 315, "copyright": 33432}
_OF_SHOT = {"taken": 36867, "digitised": 36868, "lens_make": 42035, "lens_model": 42036}
_NUMBERS = {
    "exposure_time_s": 33434,
    "f_number": 33437,
    "focal_length_mm": 37386,
    "focus_m": 37382,
}
_ISO, _FOCAL_LENGTH_35MM = 34855, 41989
_FINEST = 1_000_000
_MOST_LETTERS = 200


def exif_of_raw(data: bytes, raw: Any, shot: ShotData) -> bytes:
    """Return an EXIF block of what a raw file says, its picture upright.

    Parameters
    ----------
    data : bytes
        The file; one that is built like TIFF holds the tags themselves.
    raw : RawPy
        As LibRaw has opened it, which tells what the file says elsewhere.
    shot : ShotData
        Lens and exposure.
    """
    from PIL import Image

    exif = Image.Exif()
    texts = {**_by_libraw(raw), **_by_tags(data)}
    for name, code in _OF_CAMERA.items():
        if name in texts:
            exif[code] = texts[name]
    own = exif.get_ifd(EXIF_DIRECTORY)
    for name, code in _OF_SHOT.items():
        if name in texts:
            own[code] = texts[name]
    for name, code in _NUMBERS.items():
        value = getattr(shot, name)
        if value is not None and math.isfinite(value):
            own[code] = float(Fraction(value).limit_denominator(_FINEST))
    if shot.iso is not None:
        own[_ISO] = min(round(shot.iso), 2**16 - 1)
    if shot.focal_length_35mm is not None:
        own[_FOCAL_LENGTH_35MM] = round(shot.focal_length_35mm)
    return exif.tobytes().removeprefix(b"Exif\0\0")


def _by_tags(data: bytes) -> dict[str, str]:
    """Texts of a file that is built like TIFF."""
    if data[:2] not in {b"II", b"MM"}:
        return {}
    try:
        header = header_of(data)
        main = directory_at(data, header, header.first)
    except PictureFileError:
        return {}
    found = _texts(main, _OF_CAMERA)
    shot = sub_directory(data, EXIF_DIRECTORY)
    return found if shot is None else {**found, **_texts(shot, _OF_SHOT)}


def _texts(directory: Directory, codes: Mapping[str, int]) -> dict[str, str]:
    found = {}
    for name, code in codes.items():
        tag = directory.tags.get(code)
        if tag is not None and tag.field_type == _ASCII:
            found[name] = tag.raw.split(b"\0")[0].decode("ascii", "ignore").strip()
    return {name: text for name, text in found.items() if 0 < len(text) <= _MOST_LETTERS}


def _by_libraw(raw: Any) -> dict[str, str]:
    other, lens = getattr(raw, "other", None), getattr(raw, "lens", None)
    found = {
        "artist": getattr(other, "artist", ""),
        "lens_make": getattr(lens, "make", ""),
        "lens_model": getattr(lens, "model", ""),
    }
    taken = getattr(other, "timestamp", None)
    if isinstance(taken, datetime.datetime) and taken.year > 1970:
        found["taken"] = f"{taken:%Y:%m:%d %H:%M:%S}"
    texts = {name: str(text).encode("ascii", "ignore").decode() for name, text in found.items()}
    return {name: text for name, text in texts.items() if 0 < len(text) <= _MOST_LETTERS}
