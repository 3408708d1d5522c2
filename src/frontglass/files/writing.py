"""Writing a picture into a file, in the codes it came in wherever that is possible."""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from frontglass.choices import PastWhite
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files import cms
from frontglass.files.alpha import alpha_in_sample, alpha_kind_in, light_with_alpha_kind
from frontglass.files.exif import (
    exif_with_lens,
    exif_without_thumbnail,
    has_thumbnail,
    shot_from_exif,
)
from frontglass.files.exr import write_exr_file
from frontglass.files.gain_maps import without_gain_map
from frontglass.files.hdr import hdr_bytes
from frontglass.files.icc import ProfileKind, icc_profile_bytes, icc_profile_from_bytes
from frontglass.files.jpeg import jpeg_bytes
from frontglass.files.outgoing import Outgoing
from frontglass.files.plan import LINEAR_CONTAINERS, Plan, container_of, plan_for
from frontglass.files.png_writing import SRGB_CHUNK, png_bytes
from frontglass.files.tiff_writing import tiff_bytes
from frontglass.files.whole import write_bytes_whole, write_whole
from frontglass.optics.camera import ShotData
from frontglass.picture.codes import CodedLight, FloatArray, Target, codes_from_radiance, is_grey
from frontglass.picture.curves import LINEAR, SRGB_CURVE
from frontglass.picture.encoding import (
    Alpha,
    Codes,
    Container,
    Native,
    NativeKind,
    Sample,
    Tone,
)
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import BT709
from frontglass.units import percent_text

_HALF_MAX = 65504.0
_CMYK_CONTAINERS = {Container.JPEG, Container.TIFF}


def write_picture(
    path: str | os.PathLike[str],
    picture: Picture,
    *,
    quality: int | None = None,
    overwrite: bool = True,
) -> tuple[str, ...]:
    """Write a picture; its name's extension decides the format.

    Format, depth, profile and metadata are those of the file it was read from, unless the
    extension asks for another format. Samples whose light never changed keep their codes.

    Parameters
    ----------
    path : path
        Where to; .jpg .jpeg .png .tif .tiff .exr .hdr.
    picture : Picture
        Finite light and how it was encoded.
    quality : int or None
        JPEG quality 1 ... 100; None keeps the tables of a JPEG input, else 95.
    overwrite : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    tuple of str
        What the file could not hold as it was, one sentence each.

    Raises
    ------
    PictureFileError
        If the extension is unknown or the file cannot be written; nothing is left behind.
    ParameterError
        If `quality` is out of range.

    Examples
    --------
    >>> import tempfile, numpy as np, frontglass as fg
    >>> bright = fg.Picture.from_array(np.full((2, 3, 3), 1.5))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     fg.write_picture(f"{folder}/bright.exr", bright)
    ...     fg.write_picture(f"{folder}/bright.png", bright)
    ()
    ('100 % of pixels clipped at white.',)
    """
    where = Path(path)
    container = container_of(where)
    _check_quality(quality)
    if not overwrite and where.exists():
        raise PictureFileError(f"{where} exists already. Name another file or allow overwriting.")
    encoder = _Encoder(picture, plan_for(picture, container))
    if quality is not None and container is not Container.JPEG:
        encoder.notices.append("Quality is for JPEG only; ignored.")
    try:
        outgoing = encoder.outgoing()
        _store(where, outgoing, container, quality, encoder.notices)
    except PictureFileError as error:
        text = str(error)
        raise PictureFileError(text if str(where) in text else f"{where}: {text}") from error
    return tuple(encoder.notices)


def _check_quality(quality: int | None) -> None:
    if quality is not None and quality not in range(1, 101):
        raise ParameterError("quality", "an integer in [1, 100]", quality)


def _store(
    path: Path,
    outgoing: Outgoing,
    container: Container,
    quality: int | None,
    notices: list[str],
) -> None:
    if container is Container.EXR:
        write_whole(path, lambda beside: write_exr_file(beside, outgoing))
        return
    if container is Container.JPEG:
        data, said = jpeg_bytes(outgoing, quality)
        notices += said
    else:
        data = {Container.PNG: png_bytes, Container.TIFF: tiff_bytes, Container.HDR: hdr_bytes}[
            container
        ](outgoing)
    write_bytes_whole(path, data)


@dataclass(slots=True)
class _Encoder:
    """Codes and metadata of a picture for a file, and what has to be said about them."""

    picture: Picture
    plan: Plan
    notices: list[str] = field(default_factory=list)

    def outgoing(self) -> Outgoing:
        """Codes and metadata ready to be stored."""
        light, alpha = self._light_and_alpha()
        self._choose_range(light)
        coded = self._coded(light)
        native, coded = self._native(coded)
        self._tell_clipping(coded)
        self._settle_metadata(coded)
        same_container = self.plan.container is self.picture.encoding.container
        carried = dict(self.picture.encoding.carried) if same_container else {}
        if not self.plan.keeps_colour:
            carried.pop("png_colour", None)
            if self.plan.metadata.icc is None and self.plan.curves[0] is SRGB_CURVE:
                carried["png_colour"] = (SRGB_CHUNK,)
        if alpha is not None and not (native and native.palette_alpha):
            alpha = alpha_in_sample(alpha, Sample.of(coded.codes), alpha.kind)
        elif native is not None and native.palette_alpha:
            alpha = None
        return Outgoing(
            codes=coded.codes,
            alpha=alpha,
            native=native,
            metadata=self.plan.metadata,
            primaries=self.plan.primaries,
            shot=self.picture.shot,
            carried=carried,
        )

    def _light_and_alpha(self) -> tuple[FloatArray, Alpha | None]:
        light, alpha = self.picture.radiance, self.picture.encoding.alpha
        if self.picture.beyond is not None and not self.plan.sample.is_integer:
            light = self.picture.light
        if alpha is None:
            return light, None
        if alpha.codes.shape != light.shape[:2]:
            self.notices.append("Alpha is left out: the picture has another size now.")
            return light, None
        if self.plan.container in {Container.JPEG, Container.HDR}:
            self.notices.append(f"Alpha is left out: {self.plan.container.value} cannot hold it.")
            return light, None
        kind = alpha_kind_in(self.plan.container, alpha)
        if kind is not alpha.kind:
            self.notices.append(f"Colours are made {kind.value} with alpha for this format.")
            light = light_with_alpha_kind(light, alpha, kind)
        return light, Alpha(alpha.codes, kind)

    def _choose_range(self, light: FloatArray) -> None:
        if self.plan.sample is not Sample.HALF:
            return
        brightest = float(max(light.max(), -light.min()))
        if brightest > _HALF_MAX:
            self.plan = replace(self.plan, sample=Sample.FLOAT)
            self.notices.append(
                f"Light of {brightest:g} is beyond half float; written as 32-bit float."
            )

    def _coded(self, light: FloatArray) -> CodedLight:
        encoding, plan = self.picture.encoding, self.plan
        if plan.space is not None or self.picture.display is not None:
            return self._coded_by_name(light)
        matrix = None
        if plan.primaries != self.picture.primaries:
            matrix = self.picture.primaries.matrix_to(plan.primaries)
        original = encoding.codes if plan.keeps_colour and matrix is None else None
        if original is not None:
            is_same = original.dtype == plan.sample.dtype and light is self.picture.radiance
            original = original if is_same and original.shape[:2] == light.shape[:2] else None
        curves = plan.curves
        if encoding.tone is Tone.GREY and plan.container is not Container.HDR:
            if is_grey(light):
                curves = curves[:1]
            else:
                self._grey_becomes_colour()
                curves = self.plan.curves
                if original is not None:
                    original = np.repeat(original, 3, axis=-1)
        if plan.container is Container.HDR:
            light = self._without_negatives(light, matrix)
            matrix = None
        keeps_hue = self.picture.past_white is PastWhite.HUE
        target = Target(
            sample=plan.sample,
            curves=curves,
            matrix=matrix,
            original=original,
            primaries=plan.primaries if keeps_hue else None,
        )
        return codes_from_radiance(light, target)

    def _coded_by_name(self, light: FloatArray) -> CodedLight:
        """Codes for the show's LUT, or in the encoding that the still came in."""
        picture, plan = self.picture, self.plan
        linear = Target(sample=plan.sample, curves=(LINEAR,) * 3)
        if picture.display is not None:
            codes = picture.display.codes(picture.scene, picture.primaries)
            return codes_from_radiance(codes, linear)
        assert plan.space is not None
        coded = codes_from_radiance(plan.space.encoded(light, picture.primaries), linear)
        before = picture.encoding.codes
        if before is None or before.shape != coded.codes.shape or before.dtype != coded.codes.dtype:
            return coded
        same = plan.space.decoded(before).view(np.int32) == light.view(np.int32)
        return coded._replace(
            codes=np.where(same, before, coded.codes), is_unchanged=bool(same.all())
        )

    def _grey_becomes_colour(self) -> None:
        self.notices.append("The grey picture has become coloured; written as RGB.")
        metadata = self.plan.metadata
        if metadata.icc is not None:
            profile = icc_profile_bytes(self.plan.primaries, self.plan.curves, "As the grey input")
            self.plan = replace(self.plan, metadata=replace(metadata, icc=profile))

    def _without_negatives(self, light: FloatArray, matrix: Codes | None) -> FloatArray:
        if matrix is not None:
            light = light @ matrix.T.astype(np.float32)
        if light.min() >= 0:
            return light
        share = float(np.mean((light < 0).any(axis=-1)))
        self.notices.append(
            f"{_percent(share)} of pixels held negative values, clipped to 0 for this format."
        )
        return np.maximum(light, 0)

    def _tell_clipping(self, coded: CodedLight) -> None:
        if coded.share_above > 0:
            self.notices.append(f"{_percent(coded.share_above)} of pixels clipped at white.")
        if coded.share_below > 0:
            self.notices.append(
                f"{_percent(coded.share_below)} of pixels held colours outside the file's "
                "primaries; their negative channels clipped to 0."
            )

    def _native(self, coded: CodedLight) -> tuple[Native | None, CodedLight]:
        """Return the file's own codes where they still hold, and the others."""
        native = self.picture.encoding.native
        if native is None:
            return None, coded
        is_same = self.plan.container is self.picture.encoding.container
        if native.kind is NativeKind.INTEGER32:
            stays = is_same and np.array_equal(coded.codes, native.codes.astype(np.float32))
            if is_same and not stays:
                self.notices.append("32-bit integer channels changed; written as 32-bit float.")
            return (native if stays else None), coded
        if native.kind in {NativeKind.PALETTE, NativeKind.BILEVEL}:
            if not is_same or coded.is_unchanged:
                return (native if is_same else None), coded
            becomes = "RGB" if native.kind is NativeKind.PALETTE else "8-bit grey"
            was = native.kind.value
            self.notices.append(f"The {was} picture has changed; written as {becomes}.")
            return None, coded
        return self._native_through_profile(native, coded)

    def _native_through_profile(
        self, native: Native, coded: CodedLight
    ) -> tuple[Native | None, CodedLight]:
        if self.plan.container in LINEAR_CONTAINERS:
            return None, coded
        icc = self.picture.encoding.metadata.icc
        is_cmyk = native.kind is NativeKind.CMYK
        can_hold = not is_cmyk or self.plan.container in _CMYK_CONTAINERS
        fits = can_hold and (is_cmyk or native.codes.dtype == self.plan.sample.dtype)
        if fits and coded.is_unchanged:
            return self._stored(native, native.codes, coded)
        if fits and icc is not None and icc_profile_from_bytes(icc).has_inverse:
            wide = np.asarray(coded.codes, dtype=np.uint8)
            codes = cms.native_from_wide(wide, icc, native.codes.shape[2])
            if native.codes.dtype == np.uint16:
                codes = codes.astype(np.uint16) * np.uint16(257)
            original = self.picture.encoding.codes
            if original is not None and original.shape == coded.codes.shape:
                same = (original == coded.codes).all(axis=-1)
                codes[same] = native.codes[same]
            return self._stored(native, codes, coded)
        self.notices.append(f"{native.kind.value} codes cannot be kept; written as sRGB.")
        if self.plan.primaries == BT709 and self.plan.curves == (SRGB_CURVE,) * 3:
            return None, coded
        metadata = replace(self.plan.metadata, icc=None)
        self.plan = replace(
            self.plan,
            primaries=BT709,
            curves=(SRGB_CURVE,) * 3,
            metadata=metadata,
            keeps_colour=False,
        )
        return None, self._coded(self.picture.radiance)

    def _stored(
        self, native: Native, codes: Codes, coded: CodedLight
    ) -> tuple[Native | None, CodedLight]:
        if native.kind is NativeKind.TABLE_RGB:
            return None, coded._replace(codes=codes)
        if self.plan.container is Container.JPEG and codes.dtype == np.uint16:
            codes = np.round(codes / 257).astype(np.uint8)
        return replace(native, codes=codes), coded

    def _settle_metadata(self, coded: CodedLight) -> None:
        source = self.picture.encoding.metadata
        if self.plan.container in LINEAR_CONTAINERS:
            left = [n for n, v in (("EXIF", source.exif), ("XMP", source.xmp)) if v is not None]
            if left:
                names = " and ".join(left)
                self.notices.append(f"{names} left out: {self.plan.container.value} has no place.")
            return
        metadata = self.plan.metadata
        if metadata.xmp is not None:
            # What it says of a gain map is of one that does not go along.
            metadata = replace(metadata, xmp=without_gain_map(metadata.xmp))
            if metadata.xmp is None:
                self.notices.append("XMP data left out: they describe a gain map that is not kept.")
        if metadata.exif is not None and _has_other_lens(metadata.exif, self.picture.shot):
            metadata = replace(metadata, exif=exif_with_lens(metadata.exif, self.picture.shot))
        if metadata.exif is not None and has_thumbnail(metadata.exif) and not coded.is_unchanged:
            metadata = replace(metadata, exif=exif_without_thumbnail(metadata.exif))
            self.notices.append("The preview embedded in EXIF shows the old picture; left out.")
        if metadata.icc is not None and coded.codes.shape[2] == 1:
            is_grey_profile = icc_profile_from_bytes(metadata.icc).kind is ProfileKind.GREY
            if not is_grey_profile and self.plan.container is Container.PNG:
                profile = icc_profile_bytes(self.plan.primaries, self.plan.curves[:1], "Grey")
                metadata = replace(metadata, icc=profile)
        self.plan = replace(self.plan, metadata=metadata)


def _has_other_lens(exif: bytes, shot: ShotData) -> bool:
    """Whether a picture is a frame of the still that its EXIF block came from."""
    told = shot_from_exif(exif).focal_length_mm
    return shot.focal_length_mm is not None and told not in {None, shot.focal_length_mm}


def _percent(share: float) -> str:
    return percent_text(share) if share >= 1e-4 else "Less than 0.01 %"
