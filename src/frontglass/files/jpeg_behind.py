"""What phones write into a JPEG file beside its picture: gain map and depth."""

from __future__ import annotations

import io
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.damage import damaged, quiet_pillow
from frontglass.files.gain_maps import (
    ISO_NAME,
    PHONE_NAMES,
    GainSaid,
    headroom_in_xmp,
    phone_gain,
    said_by_iso,
    said_by_xmp,
    values_of,
)
from frontglass.files.icc import icc_profile_from_bytes
from frontglass.files.jpeg_codes import codes_of
from frontglass.files.jpeg_segments import (
    APP1,
    APP2,
    EXIF,
    SIGNATURE,
    XMP,
    XMP_MORE,
    Segment,
    content_after,
    icc_of,
    segments_of,
    size_of,
)
from frontglass.files.limits import check_map_shape, check_map_size, check_size
from frontglass.files.maker_note import phone_headroom
from frontglass.files.mpf import SIGNATURE as INDEX
from frontglass.files.mpf import pictures_behind
from frontglass.files.own_depth import depth_by_phone, depth_in_xmp
from frontglass.picture.gain_map import GainMap
from frontglass.picture.own_depth import OwnDepth
from frontglass.picture.primaries import Primaries

_GUID_AND_PLACE = 40


class Behind(NamedTuple):
    """What was found, and what has to be said of it."""

    gain_map: GainMap | None
    own_depth: OwnDepth | None
    notices: tuple[str, ...]


def what_follows(
    data: bytes, segments: list[Segment], size: tuple[int, ...], *, maps: bool
) -> Behind:
    """Find the gain map and the depth of a JPEG file.

    Parameters
    ----------
    data : bytes
        The file.
    segments : list of Segment
        Of its first picture.
    size : tuple of int
        Width and height of that.
    maps : bool
        Whether a gain map is wanted.
    """
    gain_map = own_depth = None
    notices: tuple[str, ...] = ()
    for picture in _pictures(data, segments):
        try:
            own = segments_of(picture)
            xmp = content_after(own, APP1, XMP) or b""
            if own_depth is None and values_of(xmp, "apdi:AuxiliaryImageType") in _DEPTHS:
                check_size(*size_of(own))
                own_depth = depth_by_phone(_grey(picture), xmp)
            elif maps and gain_map is None:
                gain_map = _gain_map(picture, own, xmp, segments, (size[0], size[1]))
        except PictureFileError as error:
            notices += (f"{error} The picture is read without it.",)
    if own_depth is None:
        try:
            own_depth = depth_in_xmp(_whole_xmp(segments))
        except PictureFileError as error:
            notices += (f"{error} It is left out.",)
    return Behind(gain_map, own_depth, notices)


_DEPTHS = (["disparity"], ["depth"])


def _pictures(data: bytes, segments: list[Segment]) -> list[bytes]:
    """Pictures behind the first: by their index, else by the length that XMP tells."""
    index = content_after(segments, APP2, INDEX)
    if index is not None:
        found = pictures_behind(data, index, data.find(INDEX + index) + len(INDEX))
        if found:
            return found
    xmp = content_after(segments, APP1, XMP) or b""
    lengths = [text for text in values_of(xmp, "Item:Length") if text.isdecimal()]
    tail = (
        data[-int(lengths[0]) :] if len(lengths) == 1 and 0 < int(lengths[0]) < len(data) else b""
    )
    return [tail] if tail.startswith(SIGNATURE) else []


def _gain_map(
    picture: bytes,
    own: list[Segment],
    xmp: bytes,
    first: list[Segment],
    size: tuple[int, int],
) -> GainMap | None:
    """Gain map that a picture behind the first is, or None."""
    said, primaries = _said(own, xmp, first)
    if said is None:
        return None
    check_map_size(size_of(own), size)
    codes = _colours(picture)
    check_map_shape((codes.shape[1], codes.shape[0]), size)
    return GainMap(codes=codes, gain=said.gain, primaries=primaries)


def _said(
    own: list[Segment], xmp: bytes, first: list[Segment]
) -> tuple[GainSaid | None, Primaries | None]:
    iso = content_after(own, APP2, ISO_NAME)
    if iso is not None and len(iso) > 4:
        said = said_by_iso(iso)
        icc = None if said.is_own_colour else icc_of(own)
        return said, None if icc is None else icc_profile_from_bytes(icc).primaries
    older = said_by_xmp(xmp)
    if older is not None:
        return older, None
    kinds = [name.decode() for name in PHONE_NAMES]
    if any(kind in kinds for kind in values_of(xmp, "apdi:AuxiliaryImageType")):
        headroom = headroom_in_xmp(xmp) or phone_headroom(content_after(first, APP1, EXIF))
        if headroom is None:
            raise PictureFileError("The file's gain map does not say how bright it is.")
        return phone_gain(headroom), None
    return None, None


def _colours(picture: bytes) -> NDArray[np.uint8]:
    from PIL import JpegImagePlugin

    try:
        with quiet_pillow(), JpegImagePlugin.JpegImageFile(io.BytesIO(picture)) as still:
            if still.mode in {"L", "RGB"}:
                codes, _ = codes_of(still, picture)
            else:
                codes = np.array(still.convert("RGB"))
    except (OSError, SyntaxError, ValueError, ParameterError) as error:
        raise damaged("gain map's JPEG", error) from error
    return codes[..., np.newaxis] if codes.ndim == 2 else codes


def _grey(picture: bytes) -> NDArray[np.uint8]:
    return _colours(picture)[..., 0]


def _whole_xmp(segments: list[Segment]) -> bytes:
    """XMP with what was too long for one segment, in its order."""
    short = content_after(segments, APP1, XMP) or b""
    parts = [c for marker, c in segments if marker == APP1 and c.startswith(XMP_MORE)]
    head = len(XMP_MORE) + _GUID_AND_PLACE
    parts.sort(key=lambda part: part[head - 4 : head])
    return short + b"".join(part[head:] for part in parts)
