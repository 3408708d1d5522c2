"""What an EXIF block says of orientation, colour, lens and sensor [Exif2.3]."""

from __future__ import annotations

import math
import struct

from frontglass.errors import PictureFileError
from frontglass.files.tags import (
    EXIF_DIRECTORY,
    INTEROP_DIRECTORY,
    RATIONAL,
    SHORT,
    Directory,
    directory_at,
    header_of,
)
from frontglass.optics.camera import ShotData

_ORIENTATION = 274
_MAKE, _MODEL, _MOST_LETTERS = 271, 272, 80
_F_NUMBER, _FOCAL_LENGTH, _FOCAL_LENGTH_35MM = 33437, 37386, 41989
_EXPOSURE_TIME, _ISO = 33434, 34855
_SUBJECT_DISTANCE, _FAR_AWAY = 37382, 2**32 - 1
_COLOUR_SPACE = 40961
_SRGB = 1
_LONGEST_LENS_MM = 10000.0
_SLOWEST_STOP = 1000.0
_LONGEST_TIME_S = 86400.0
_HIGHEST_ISO = 1e7
_FARTHEST_M = 1e5


def orientation_of(exif: bytes | None) -> int:
    """EXIF orientation, 1 ... 8; 1 where the block says nothing usable."""
    main = _main(exif)
    value = main.integers(_ORIENTATION)[:1] if main else ()
    return value[0] if value and value[0] in range(1, 9) else 1


def camera_of(exif: bytes | None) -> str:
    """Return make and model of the camera, as the block has them; empty where it says neither."""
    main = _main(exif)
    tags = [main.tags.get(code) for code in (_MAKE, _MODEL)] if main else []
    texts = [tag.raw.split(b"\0")[0].decode("ascii", "replace").strip() for tag in tags if tag]
    return " ".join(filter(None, texts))[:_MOST_LETTERS]


def upright_exif(exif: bytes) -> bytes:
    """Return the block with orientation 1, all else byte for byte."""
    main = _main(exif)
    tag = main.tags.get(_ORIENTATION) if main else None
    if main is None or tag is None or tag.field_type != SHORT:
        return exif
    patched = bytearray(exif)
    struct.pack_into(f"{main.order}H", patched, tag.position, 1)
    return bytes(patched)


def has_thumbnail(exif: bytes | None) -> bool:
    """Whether the block holds a second directory, the place of the embedded preview."""
    main = _main(exif)
    return main is not None and main.following != 0


def exif_without_thumbnail(exif: bytes) -> bytes:
    """Return the block with its second directory unlinked, all else byte for byte."""
    main = _main(exif)
    if main is None:
        return exif
    patched = bytearray(exif)
    struct.pack_into(f"{main.order}I", patched, main.following_position, 0)
    return bytes(patched)


def shot_from_exif(exif: bytes | None) -> ShotData:
    """Lens data; a zero, infinite or absurd number counts as missing."""
    camera = sub_directory(exif, EXIF_DIRECTORY)
    if camera is None:
        return ShotData()
    return ShotData(
        focal_length_mm=_usable(camera.numbers(_FOCAL_LENGTH), _LONGEST_LENS_MM),
        focal_length_35mm=_usable(camera.numbers(_FOCAL_LENGTH_35MM), _LONGEST_LENS_MM),
        f_number=_usable(camera.numbers(_F_NUMBER), _SLOWEST_STOP),
        exposure_time_s=_usable(camera.numbers(_EXPOSURE_TIME), _LONGEST_TIME_S),
        iso=_usable(camera.numbers(_ISO)[:1], _HIGHEST_ISO),
        focus_m=_focus_m(camera.numbers(_SUBJECT_DISTANCE)),
    ).exposed()


def _focus_m(values: tuple[float, ...]) -> float | None:
    """Distance of what is in focus [m]; a numerator of 32 ones is infinity, 0 is unknown."""
    far_away = len(values) == 1 and values[0] >= _FAR_AWAY
    return math.inf if far_away else _usable(values, _FARTHEST_M)


def exif_with_lens(exif: bytes, shot: ShotData) -> bytes:
    """Return the block with the focal lengths of `shot` where it has focal lengths.

    How the still was exposed stays as it was: time, f-number and ISO tell where white is.
    """
    camera = sub_directory(exif, EXIF_DIRECTORY)
    if camera is None or shot.focal_length_mm is None or shot.focal_length_35mm is None:
        return exif
    patched = bytearray(exif)
    focal, equivalent = camera.tags.get(_FOCAL_LENGTH), camera.tags.get(_FOCAL_LENGTH_35MM)
    if equivalent is None or equivalent.field_type != SHORT:
        return exif
    near = max(1, min(2**16 - 1, round(shot.focal_length_35mm)))
    struct.pack_into(f"{camera.order}H", patched, equivalent.position, near)
    if focal is not None and focal.field_type == RATIONAL:
        (at,) = struct.unpack_from(f"{camera.order}I", exif, focal.position)
        struct.pack_into(f"{camera.order}II", patched, at, round(1000 * shot.focal_length_mm), 1000)
    return bytes(patched)


def colour_space_of(exif: bytes | None) -> str:
    """Return "sRGB", "opRGB" (the DCF optional space), or "" where the block does not say."""
    camera = sub_directory(exif, EXIF_DIRECTORY)
    if camera is None:
        return ""
    if camera.integers(_COLOUR_SPACE)[:1] == (_SRGB,):
        return "sRGB"
    assert exif is not None
    pointer = camera.integers(INTEROP_DIRECTORY)
    try:
        tags = directory_at(exif, header_of(exif), pointer[0]).tags if pointer else {}
    except PictureFileError:
        return ""
    return "opRGB" if 1 in tags and tags[1].raw.startswith(b"R03") else ""


def _main(exif: bytes | None) -> Directory | None:
    if not exif:
        return None
    try:
        header = header_of(exif)
        return directory_at(exif, header, header.first)
    except PictureFileError:
        return None


def sub_directory(exif: bytes | None, code: int) -> Directory | None:
    """Directory that a tag of the block's first one points to; None where it cannot be read."""
    main = _main(exif)
    pointer = main.integers(code) if main else ()
    if exif is None or not pointer:
        return None
    try:
        return directory_at(exif, header_of(exif), pointer[0])
    except PictureFileError:
        return None


def _usable(values: tuple[float, ...], most: float) -> float | None:
    if len(values) != 1 or not math.isfinite(values[0]) or not 0 < values[0] <= most:
        return None
    return float(values[0])
