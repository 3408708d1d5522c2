"""Reading a picture file into linear light."""

from __future__ import annotations

import math
import os
import struct
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.checks import check_within
from frontglass.choices import Damage, GainMapUse
from frontglass.errors import PictureFileError
from frontglass.files import boxes, cms, dpx, exif, exr, hdr, heif, jpeg, png, raw
from frontglass.files.icc import IccProfile, ProfileKind, icc_profile_from_bytes
from frontglass.files.limits import megapixels_at_most
from frontglass.files.non_finite import checked_light
from frontglass.files.orientation import upright
from frontglass.files.spaces import Space, space_named
from frontglass.files.still import FileStill
from frontglass.files.tiff import read_tiff
from frontglass.optics.camera import ShotData
from frontglass.picture.codes import radiance_from_codes, tells_finite_light
from frontglass.picture.curves import LINEAR, OPRGB_CURVE, SRGB_CURVE, Curve
from frontglass.picture.encoding import (
    Codes,
    Container,
    Encoding,
    Native,
    NativeKind,
    Sample,
    Tone,
    Triple,
)
from frontglass.picture.gain_map import Beyond, light_beyond
from frontglass.picture.non_finite import NonFinite
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import BT709, OPRGB, Primaries

MOST_STOPS = 40.0
LEAST_TOLD_STOPS = 0.05
# What parsing nonsense ends in, where no reader had a better word for it.
_DAMAGE = (ValueError, IndexError, KeyError, TypeError, OverflowError, struct.error, OSError)
_TURNED = {Container.TIFF, Container.HEIF, Container.AVIF}
"""Formats that tell how a picture lies by themselves."""
_TIFF_SIGNATURES = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_READERS: tuple[tuple[bytes | tuple[bytes, ...], Callable[[bytes], FileStill]], ...] = (
    (png.SIGNATURE, png.read_png),
    (exr.SIGNATURE, exr.read_exr),
    (_TIFF_SIGNATURES, read_tiff),
    (hdr.SIGNATURES, hdr.read_hdr),
    (dpx.SIGNATURES, dpx.read_dpx),
)


def read_picture(
    path: str | os.PathLike[str],
    *,
    exposure_stops: float = 0.0,
    non_finite: NonFinite | str = NonFinite.REFUSE,
    gain_map: GainMapUse | str = GainMapUse.ON,
    encoding: str | None = None,
    damage: Damage | str = Damage.NOTE,
    max_megapixels: float | None = None,
) -> Picture:
    """Return the linear light of a picture file, with all that is needed to write it back.

    Parameters
    ----------
    path : path
        JPEG, HEIC, HEIF, AVIF, PNG, TIFF, OpenEXR, Radiance HDR, DPX, camera raw: by its content.
    exposure_stops : float
        Light is multiplied by 2 to this power. [stop], in [-40, 40]; 0 changes nothing.
    non_finite : "refuse" or "mend"
        What to do with NaN and infinities of float files; see `NonFinite`.
    gain_map : "on" or "off"
        Whether light that a gain map in the file tells goes into `Picture.beyond`.
    encoding : str or None
        What its codes are, by a name of `frontglass encodings`; None goes by the file. Light comes
        with the primaries AP1 then, and goes back into the same encoding.

    damage : "note" or "refuse"
        What to do with a file whose decoder warns of damage; see `Damage`.
    max_megapixels : float or None
        Largest picture that is read, in millions of pixels, <= 4000; None is 200.

    Returns
    -------
    Picture
        Upright; in the file's own primaries; its notices say what was assumed.

    Raises
    ------
    PictureFileError
        If the file is missing, no picture, damaged, cut short or too large.
    ParameterError
        If a number is out of range or a choice unknown.

    Examples
    --------
    >>> import tempfile, numpy as np, frontglass as fg
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     grey = fg.Picture.from_array(np.full((2, 3, 3), 128, np.uint8))
    ...     said = fg.write_picture(f"{folder}/grey.png", grey)
    ...     still = fg.read_picture(f"{folder}/grey.png", exposure_stops=1)
    >>> still.width_px, round(float(still.radiance[0, 0, 1]), 3)
    (3, 0.432)
    """
    check_within("exposure_stops", exposure_stops, -MOST_STOPS, MOST_STOPS)
    rule = NonFinite.of("non_finite", non_finite)
    space = None if encoding is None else space_named(encoding)
    maps = GainMapUse.of("gain_map", gain_map) is GainMapUse.ON and space is None
    with megapixels_at_most(max_megapixels):
        picture = _read(Path(path), rule, space, Damage.of("damage", damage), maps=maps)
    return picture if exposure_stops == 0 else picture.brighter(2.0**exposure_stops)


def _read(
    where: Path, rule: NonFinite, space: Space | None, damage: Damage, *, maps: bool
) -> Picture:
    data = _content(where)
    try:
        still = _undoubted(_decoded(data, maps=maps), damage)
        still = upright(_with_exif_orientation(still))
        return _picture(still, rule) if space is None else _named(still, space, rule)
    except PictureFileError as error:
        raise PictureFileError(f"{where}: {error}") from error
    except _DAMAGE as error:
        raise PictureFileError(f"{where}: the file is damaged: {error}.") from error
    except MemoryError:
        raise PictureFileError(f"{where}: there is not enough memory to read it.") from None


def _undoubted(still: FileStill, damage: Damage) -> FileStill:
    """Return a still with its decoder's warnings among its notices, or refuse it."""
    if not still.doubts:
        return still
    said = "; ".join(still.doubts)
    if damage is Damage.REFUSE:
        raise PictureFileError(f"The file is damaged, its decoder says: {said}.")
    notice = f"The file may be damaged, its decoder says: {said}. Look at the picture."
    return replace(still, doubts=(), notices=(notice, *still.notices))


def _content(path: Path) -> bytes:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise PictureFileError(f"{path}: there is no such file.") from None
    except IsADirectoryError:
        raise PictureFileError(f"{path} is a folder. Name a picture file.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise PictureFileError(f"{path}: cannot be read: {reason}.") from error
    if not data:
        raise PictureFileError(f"{path}: the file is empty.")
    return data


def _decoded(data: bytes, *, maps: bool) -> FileStill:
    if data.startswith(jpeg.SIGNATURE):
        return jpeg.read_jpeg(data, maps=maps)
    if boxes.is_heif(data):
        return heif.read_heif(data, maps=maps)
    if raw.is_raw(data):  # many of them begin as TIFF does
        return raw.read_raw(data)
    for signatures, read in _READERS:
        if data.startswith(signatures):
            return read(data)
    raise PictureFileError(
        "it is no JPEG, HEIC, AVIF, PNG, TIFF, OpenEXR, Radiance HDR, DPX or camera raw file."
    )


def _with_exif_orientation(still: FileStill) -> FileStill:
    if still.container in _TURNED or still.metadata.exif is None:
        return still
    return replace(still, orientation=exif.orientation_of(still.metadata.exif))


def _named(still: FileStill, space: Space, rule: NonFinite) -> Picture:
    """Picture of a still whose encoding was named."""
    if still.native is not None or still.container is Container.RAW:
        raise PictureFileError("No encoding can be named for a file of such codes.")
    codes, sample = still.codes, Sample.of(still.codes)
    grey = codes.shape[2] == 1
    light = space.decoded(np.repeat(codes, 3, axis=2) if grey else codes)
    said: tuple[str, ...] = ()
    if not sample.is_integer:
        light, said = checked_light(light, rule)
    top = float(space.decoded(np.ones((1, 1, 3), np.float32)).max())
    return Picture(
        radiance=light,
        primaries=space.primaries,
        encoding=Encoding(
            container=still.container,
            sample=sample,
            primaries=space.primaries,
            codes=None if grey else codes,
            alpha=still.alpha,
            metadata=still.metadata,
            carried=still.carried,
            top=(top, top, top) if sample.is_integer else None,
            space=space,
        ),
        shot=_shot(still),
        own_depth=still.own_depth,
        notices=still.notices + said,
    )


class _Colour(NamedTuple):
    """Codes with a curve per channel and what their channels mean."""

    still: FileStill
    primaries: Primaries
    curves: tuple[Curve, ...]
    notices: tuple[str, ...]


def _picture(still: FileStill, rule: NonFinite) -> Picture:
    still, primaries, curves, notices = _colour(still)
    sample = Sample.of(still.codes)
    with np.errstate(invalid="ignore", over="ignore"):
        radiance = radiance_from_codes(still.codes, curves)
    if not sample.is_integer:
        radiance, said = checked_light(radiance, rule)
        notices += said
    # Linear float codes are the light itself; a second copy would say nothing new.
    is_light = not sample.is_integer and all(curve == LINEAR for curve in curves)
    encoding = Encoding(
        container=still.container,
        sample=sample,
        tone=Tone(still.codes.shape[2]),
        curves=curves,
        primaries=primaries,
        codes=None if is_light else still.codes,
        alpha=still.alpha,
        native=still.native,
        metadata=still.metadata,
        carried=still.carried,
        top=_top(still, sample, curves),
    )
    beyond = None
    if still.gain_map is not None:
        beyond = light_beyond(radiance, primaries, still.gain_map)
        top = encoding.ends
        encoding = replace(
            encoding, top=(top[0] / beyond.lift, top[1] / beyond.lift, top[2] / beyond.lift)
        )
        notices += (_said_of(beyond),)
    # What is looked up in finite tables need not be looked through.
    is_known = beyond is None and sample.is_integer and tells_finite_light(sample, curves)
    picture = Picture(
        radiance=radiance[:1, :1] if is_known else radiance,
        primaries=primaries,
        encoding=encoding,
        shot=_shot(still),
        beyond=None if beyond is None else beyond.light,
        lift=1.0 if beyond is None else beyond.lift,
        own_depth=still.own_depth,
        notices=still.notices + notices,
    )
    return picture.but(radiance=radiance) if is_known else picture


def _said_of(beyond: Beyond) -> str:
    stops = math.log2(max(beyond.highest, 1.0))
    if stops < LEAST_TOLD_STOPS:
        return "The file's gain map tells no light above white."
    return (
        f"The file's gain map tells light up to {stops:.1f} stops above white: it goes into what"
        " spreads (--gain-map off leaves it)."
    )


def _top(still: FileStill, sample: Sample, curves: tuple[Curve, ...]) -> Triple | None:
    """Light of the highest codes, where that is not white."""
    if still.gain_map is not None:
        return still.gain_map.top()
    if still.top is not None:
        return still.top, still.top, still.top
    if not sample.is_integer:
        return None
    tops = [float(np.asarray(curve.decode(1.0))) for curve in (curves * 3)[:3]]
    # Curves of profiles miss 1 by their rounding.
    return None if max(tops) < 1.01 else (tops[0], tops[1], tops[2])


def _shot(still: FileStill) -> ShotData:
    from_exif = exif.shot_from_exif(still.metadata.exif)
    return still.shot if still.shot is not None else from_exif


def _colour(still: FileStill) -> _Colour:
    icc = still.metadata.icc
    if icc is not None:
        try:
            return _colour_by_profile(still, icc_profile_from_bytes(icc), icc)
        except PictureFileError as error:
            # A profile that cannot be used is not written back as if it had been.
            without = replace(still, metadata=replace(still.metadata, icc=None))
            plain = _colour_without_profile(without)
            return plain._replace(notices=(f"{error} It is left out.", *plain.notices))
    return _colour_without_profile(still)


def _colour_by_profile(still: FileStill, profile: IccProfile, icc: bytes) -> _Colour:
    is_cmyk = still.native is not None and still.native.kind is NativeKind.CMYK
    if is_cmyk != (profile.kind is ProfileKind.CMYK_TABLE):
        raise PictureFileError("The colour profile is for another kind of codes.")
    channels = still.codes.shape[2]
    if profile.kind is ProfileKind.GREY and channels == 1:
        return _Colour(still, still.primaries or BT709, profile.curves, ())
    if profile.kind is ProfileKind.RGB and profile.primaries is not None:
        if channels == 1:
            return _Colour(still, profile.primaries, profile.curves[1:2], ())
        return _Colour(still, profile.primaries, profile.curves, ())
    if profile.kind in {ProfileKind.CMYK_TABLE, ProfileKind.RGB_TABLE} and channels > 1:
        return _colour_by_table(still, icc)
    raise PictureFileError("The colour profile is for another kind of codes.")


def _colour_by_table(still: FileStill, icc: bytes) -> _Colour:
    own = still.codes if still.native is None else still.native.codes
    if own.ndim == 2:
        own = still.codes
    wide = cms.wide_from_native(_eight_bit(own), icc)
    native = still.native or Native(NativeKind.TABLE_RGB, own)
    notices = ("The colour profile's tables are applied by littleCMS at 8 bits.",)
    return _Colour(
        replace(still, codes=wide, native=native), cms.WIDE_PRIMARIES, cms.WIDE_CURVES, notices
    )


def _eight_bit(codes: Codes) -> NDArray[np.uint8]:
    if codes.dtype == np.uint8:
        return codes
    if codes.dtype != np.uint16:
        raise PictureFileError("The colour profile's tables cannot be applied to float samples.")
    return np.round(codes / 257).astype(np.uint8)


def _colour_without_profile(still: FileStill) -> _Colour:
    channels = still.codes.shape[2]
    if still.native is not None and still.native.kind is NativeKind.CMYK:
        short = _eight_bit(still.native.codes)
        notice = "CMYK without a profile: inks are taken as plain shares of sRGB."
        codes = cms.rgb_from_plain_cmyk(short)
        return _Colour(replace(still, codes=codes), BT709, (SRGB_CURVE,) * 3, (notice,))
    primaries, curves = still.primaries, still.curves
    if primaries is not None and curves is not None:
        return _Colour(still, primaries, curves[:channels], ())
    if primaries is None and curves is None:
        space = exif.colour_space_of(still.metadata.exif)
        if space == "opRGB":
            notice = "EXIF names the DCF optional colour space: read as opRGB (IEC 61966-2-5)."
            return _Colour(still, OPRGB, (OPRGB_CURVE,) * channels, (notice,))
        if space == "sRGB" and Sample.of(still.codes).is_integer:
            return _Colour(still, BT709, (SRGB_CURVE,) * channels, ())
    is_integer = Sample.of(still.codes).is_integer
    stock = SRGB_CURVE if is_integer else LINEAR
    said = []
    if primaries is None:
        said.append("BT.709 primaries")
    if curves is None:
        said.append("the sRGB curve" if is_integer else "linear light")
    notice = f"No colour profile: {' and '.join(said)} assumed."
    return _Colour(
        still,
        primaries or BT709,
        (curves or (stock,) * 3)[:channels],
        (notice,),
    )
