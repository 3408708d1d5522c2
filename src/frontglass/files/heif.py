"""HEIF and AVIF: boxes read here, pixels by libheif and libavif."""

from __future__ import annotations

import struct
import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import PictureFileError
from frontglass.files import exif as exif_block
from frontglass.files.boxes import Items, items_of
from frontglass.files.damage import damaged
from frontglass.files.gain_maps import (
    PHONE_NAMES,
    GainSaid,
    headroom_in_xmp,
    phone_gain,
    said_by_iso,
    said_by_xmp,
)
from frontglass.files.icc import ProfileKind, icc_profile_from_bytes
from frontglass.files.limits import check_map_shape, check_map_size, check_size
from frontglass.files.maker_note import phone_headroom
from frontglass.files.nclx import colour_of
from frontglass.files.own_depth import depth_by_numbers, depth_by_phone
from frontglass.files.still import FileStill
from frontglass.picture.encoding import Alpha, AlphaKind, Codes, Container, Metadata
from frontglass.picture.gain_map import GainMap
from frontglass.picture.own_depth import OwnDepth
from frontglass.picture.primaries import Primaries

_AV1 = b"av01"
_THREADS = 2
_DEPTH = (b"urn:mpeg:hevc:2015:auxid:2", b"urn:mpeg:mpegB:cicp:systems:auxiliary:depth")


def read_heif(data: bytes, *, maps: bool = True) -> FileStill:
    """Read the primary picture of a HEIF or AVIF file, with its gain map and its depth.

    Parameters
    ----------
    data : bytes
        The file.
    maps : bool
        Whether to look for a gain map.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short or too large.
    """
    items = items_of(data)
    width, height = items.size(items.primary)
    check_size(width, height)
    is_avif = _is_av1(items, items.primary)
    file = _Avif(data, items) if is_avif else _Heic(data, items)
    codes, alpha = file.picture()
    metadata, notices = _metadata(items, data)
    primaries, curves = _colour(items)
    gain_map = None
    depth = file.own_depth()
    if maps:
        gain_map, said = _gain_map(file, codes.shape[1::-1])
        notices += said
    return FileStill(
        container=Container.AVIF if is_avif else Container.HEIF,
        codes=codes,
        alpha=alpha,
        metadata=metadata,
        primaries=primaries,
        curves=curves,
        bits=file.bits,
        gain_map=gain_map,
        own_depth=depth,
        notices=(*notices, *file.notices),
    )


def _is_av1(items: Items, item: int) -> bool:
    parts = _tiles(items, item) if items.kinds.get(item) == b"grid" else (item,)
    return bool(parts) and items.kinds.get(parts[0]) == _AV1


class _Heic:
    """A file that libheif decodes; it turns pictures upright by their boxes."""

    def __init__(self, data: bytes, items: Items) -> None:
        import pi_heif

        self.data, self.items = data, items
        self.notices: tuple[str, ...] = ()
        self.bits: int | None = None
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # on metadata that nothing here asks for
                self._file: Any = pi_heif.open_heif(
                    data, convert_hdr_to_8bit=False, hdr_to_16bit=False
                )
        except (ValueError, EOFError, RuntimeError, OSError, SyntaxError, MemoryError) as error:
            raise damaged("HEIF", error) from error

    def picture(self) -> tuple[Codes, Alpha | None]:
        """Codes of the primary picture, and its coverage."""
        check_size(*self._file.size)
        mode = str(self._file.mode)
        codes = self._codes(self._file)
        bits = int(mode.rpartition(";")[2]) if ";" in mode else 8
        if bits > 8:
            self.bits = bits
            codes = _stretched(codes, bits)
        alpha = None
        if codes.shape[2] in {2, 4}:
            kind = AlphaKind.PREMULTIPLIED if "a" in mode else AlphaKind.STRAIGHT
            alpha = Alpha(np.ascontiguousarray(codes[..., -1]), kind)
            codes = np.ascontiguousarray(codes[..., :-1])
        return codes, alpha

    def _codes(self, one: Any) -> Codes:
        try:
            codes = np.array(one)
        except (ValueError, EOFError, RuntimeError, OSError, SyntaxError, MemoryError) as error:
            raise damaged("HEIF", error) from error
        return codes[..., np.newaxis] if codes.ndim == 2 else codes

    def auxiliary(self, item: int) -> Codes:
        """Codes of an auxiliary picture."""
        try:
            return self._codes(self._file.get_aux_image(item))
        except (ValueError, EOFError, RuntimeError, OSError, SyntaxError, KeyError) as error:
            raise damaged("HEIF", error) from error

    def own_depth(self) -> OwnDepth | None:
        """Depth that the file holds."""
        maps = self._file.info.get("depth_images") or []
        at = [item for item in self.items.kinds if _aux_type(self.items, item) in _DEPTH]
        if not maps:
            return None
        try:
            said = maps[0].info.get("metadata") or {}
            codes = self._codes(maps[0])[..., 0]
            for item in at:
                found = depth_by_phone(codes, _xmp_of(self.items, self.data, item))
                if found is not None:
                    return found
            return depth_by_numbers(codes, said)
        except PictureFileError as error:
            self.notices += (f"{error} It is left out.",)
            return None


class _Avif:
    """A file that libavif decodes; pictures come as they are stored."""

    def __init__(self, data: bytes, items: Items) -> None:
        self.data, self.items = data, items
        self.notices: tuple[str, ...] = ()
        self.bits: int | None = None

    def picture(self) -> tuple[Codes, Alpha | None]:
        """Codes of the primary picture, and its coverage."""
        codes = self._decoded(self.data, self.items.primary)
        alpha = None
        if codes.shape[2] in {2, 4}:
            alpha = Alpha(np.ascontiguousarray(codes[..., -1]))
            codes = np.ascontiguousarray(codes[..., :-1])
        return codes, alpha

    def auxiliary(self, item: int) -> Codes:
        """Codes of any picture of the file: one that names it as its own is decoded."""
        at, size = self.items.primary_at
        renamed = self.data[:at] + item.to_bytes(size, "big") + self.data[at + size :]
        return self._decoded(renamed, item)

    def own_depth(self) -> OwnDepth | None:
        """No AVIF file of a phone holds any, so far."""
        return None

    def _decoded(self, data: bytes, item: int) -> Codes:
        import imagecodecs

        try:
            codes = np.asarray(imagecodecs.avif_decode(data, numthreads=_THREADS))
        except (RuntimeError, ValueError, MemoryError) as error:
            raise damaged("AVIF", error) from error
        if codes.ndim not in {2, 3}:
            codes = codes[0]  # of a sequence, its first
        if codes.ndim == 2:
            codes = codes[..., np.newaxis]
        said = self.items.said(item, b"pixi")
        bits = said[5] if said is not None and len(said) > 5 else 8
        if codes.dtype == np.uint16:
            bits = bits if 8 < bits <= 16 else 10
            codes = _stretched(codes, bits)
            if item == self.items.primary:
                self.bits = bits
        return _turned(codes, self.items, item)


def _turned(codes: Codes, items: Items, item: int) -> Codes:
    """Turn a stored picture as its boxes say, in their order [ISO23008-12] 6.5.10 and 6.5.12."""
    for name, content in items.properties.get(item, ()):
        if name == b"irot" and content:
            codes = np.rot90(codes, content[0] & 3)
        elif name == b"imir" and content:
            codes = codes[:, ::-1] if content[0] & 1 else codes[::-1]
    return np.ascontiguousarray(codes)


def _stretched(codes: Codes, bits: int) -> NDArray[np.uint16]:
    """Codes of 9 to 15 bits on the scale of 16: the light they stand for is exactly the same."""
    if bits >= 16:
        return np.asarray(codes, np.uint16)
    top = 2**bits - 1
    table = np.round(np.arange(top + 1) * (65535 / top)).astype(np.uint16)
    return np.asarray(np.take(table, np.minimum(codes, top)), np.uint16)


def _metadata(items: Items, data: bytes) -> tuple[Metadata, tuple[str, ...]]:
    exif = xmp = None
    notices: tuple[str, ...] = ()
    for item in items.pointing_at(b"cdsc", items.primary):
        kind = items.kinds.get(item)
        try:
            content = items.bytes_of(item, data)
        except PictureFileError as error:
            notices = (f"{error} It is left out.",)
            continue
        if kind == b"Exif" and exif is None:
            exif = _exif(content)
        elif kind == b"mime" and items.names.get(item) == b"application/rdf+xml" and xmp is None:
            xmp = content
    if exif is not None:
        # Boxes have turned the picture; what EXIF says of that is told twice.
        exif = exif_block.upright_exif(exif)
    return Metadata(icc=_icc(items, items.primary), exif=exif, xmp=xmp), notices


def _exif(content: bytes) -> bytes | None:
    """EXIF block behind the offset that stands before it [ISO23008-12] annex A."""
    if len(content) < 8:
        return None
    (skip,) = struct.unpack_from(">I", content)
    block = content[4 + skip :]
    return block if block[:2] in {b"II", b"MM"} else None


def _icc(items: Items, item: int) -> bytes | None:
    for one in (item, *_tiles(items, item)[:1]):
        for name, content in items.properties.get(one, ()):
            if name == b"colr" and content[:4] in {b"prof", b"rICC"} and len(content) > 4:
                return content[4:]
    return None


def _tiles(items: Items, item: int) -> tuple[int, ...]:
    """Items that a picture is put together of."""
    for name, source, parts in items.references:
        if name == b"dimg" and source == item:
            return parts
    return ()


def _colour(items: Items) -> tuple[Primaries | None, Any]:
    """Return what is said of colour without a profile."""
    for one in (items.primary, *_tiles(items, items.primary)[:1]):
        for name, content in items.properties.get(one, ()):
            if name == b"colr" and content.startswith(b"nclx"):
                primaries, curve = colour_of(content)
                return primaries, None if curve is None else (curve,) * 3
    return None, None


def _aux_type(items: Items, item: int) -> bytes:
    content = items.said(item, b"auxC")
    return b"" if content is None else content[4:].partition(b"\0")[0]


def _xmp_of(items: Items, data: bytes, item: int) -> bytes:
    parts = [items.bytes_of(one, data) for one in items.pointing_at(b"cdsc", item)]
    return b"".join(parts)


def _gain_map(file: _Heic | _Avif, size: tuple[int, int]) -> tuple[GainMap | None, tuple[str, ...]]:
    """Gain map of a file; where there is one that cannot be used, a note says so."""
    try:
        found = _found_gain_map(file.items, file.data)
        if found is None:
            return None, ()
        item, said, primaries = found
        check_map_size(file.items.size(item), size)
        codes = file.auxiliary(item)[..., :3]
        if codes.shape[2] == 2:
            codes = codes[..., :1]
        check_map_shape(codes.shape[1::-1], size)
        return GainMap(codes=codes, gain=said.gain, primaries=primaries), ()
    except PictureFileError as error:
        return None, (f"{error} The picture is read without it.",)


def _found_gain_map(items: Items, data: bytes) -> tuple[int, GainSaid, Primaries | None] | None:
    """Item of the gain map, what is said of it, and its primaries if not the still's."""
    for kind, tone_map, parts in items.references:
        is_ours = kind == b"dimg" and items.kinds.get(tone_map) == b"tmap" and len(parts) == 2
        if is_ours and parts[0] == items.primary:
            said = said_by_iso(items.bytes_of(tone_map, data)[1:])
            primaries = None if said.is_own_colour else _primaries(items, tone_map)
            return parts[1], said, primaries
    for item in items.pointing_at(b"auxl", items.primary):
        if _aux_type(items, item) not in PHONE_NAMES:
            continue
        xmp = _xmp_of(items, data, item)
        older = said_by_xmp(xmp)
        if older is None:
            exif, _ = _metadata(items, data)
            headroom = headroom_in_xmp(xmp) or phone_headroom(exif.exif)
            if headroom is None:
                raise PictureFileError("The file's gain map does not say how bright it is.")
            older = phone_gain(headroom)
        return item, older, None
    return None


def _primaries(items: Items, item: int) -> Primaries | None:
    icc = _icc(items, item)
    if icc is not None:
        profile = icc_profile_from_bytes(icc)
        return profile.primaries if profile.kind is ProfileKind.RGB else None
    return colour_of(items.said(item, b"colr") or b"")[0]
