"""In which codes a picture goes into a file of a given format."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from frontglass.errors import PictureFileError
from frontglass.files.icc import icc_profile_bytes
from frontglass.files.raw import EXTENSIONS as RAW_EXTENSIONS
from frontglass.picture.curves import LINEAR, SRGB_CURVE, Curve
from frontglass.picture.encoding import Container, Encoding, Metadata, Sample, Space
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import BT709, Primaries

EXTENSIONS = {
    ".jpg": Container.JPEG,
    ".jpeg": Container.JPEG,
    ".png": Container.PNG,
    ".tif": Container.TIFF,
    ".tiff": Container.TIFF,
    ".exr": Container.EXR,
    ".hdr": Container.HDR,
}
READ_ONLY = {
    **dict.fromkeys((".heic", ".heif", ".hif", ".heics", ".heifs"), ".jpg"),
    ".avif": ".jpg",
    ".dpx": ".tif",
    **dict.fromkeys(RAW_EXTENSIONS, ".jpg"),
}
"""Extensions of formats that are read, and what goes out in their place."""
READABLE = frozenset(EXTENSIONS) | frozenset(READ_ONLY)
"""Extensions of stills."""
LINEAR_CONTAINERS = {Container.EXR, Container.HDR}


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Format, sample type and colour of a file to be written.

    Parameters
    ----------
    container, sample : Container, Sample
        Format and type of one number.
    primaries, curves : Primaries, tuple of three Curve
        Colour of its codes.
    metadata : Metadata
        What goes beside the pixels.
    keeps_colour : bool
        Whether codes mean what the input's codes meant.
    space : Space or None
        Encoding by name, in place of primaries and curves.
    """

    container: Container
    sample: Sample
    primaries: Primaries
    curves: tuple[Curve, ...]
    metadata: Metadata
    keeps_colour: bool
    space: Space | None = None


def container_of(path: Path) -> Container:
    """Return the format that a file name asks for.

    Raises
    ------
    PictureFileError
        If its extension is unknown.
    """
    container = EXTENSIONS.get(path.suffix.lower())
    if container is None:
        known = ", ".join(EXTENSIONS)
        if path.suffix.lower() in READ_ONLY:
            raise PictureFileError(f"{path}: such files are read only; write one of {known}.")
        got = repr(path.suffix) if path.suffix else "none"
        raise PictureFileError(f"{path}: the extension must be one of {known}, got {got}.")
    return container


def written_suffix(suffix: str) -> str:
    """Return the extension of what becomes of a still with this one: its own if it can be."""
    return READ_ONLY.get(suffix.lower(), suffix)


def plan_for(picture: Picture, container: Container) -> Plan:
    """Choose the codes: those of the input wherever the format can hold them."""
    encoding = picture.encoding
    if picture.display is not None and container not in LINEAR_CONTAINERS:
        return _for_a_display(picture, container)
    if encoding.space is not None and (
        container not in LINEAR_CONTAINERS or container is encoding.container
    ):
        return Plan(
            container=container,
            sample=_sample(encoding, container),
            primaries=picture.primaries,
            curves=(LINEAR,) * 3,
            metadata=encoding.metadata,
            keeps_colour=True,
            space=encoding.space,
        )
    is_same = container is encoding.container
    sample = _sample(encoding, container)
    metadata = encoding.metadata
    if container in LINEAR_CONTAINERS:
        wants_709 = container is Container.HDR and not is_same
        primaries = BT709 if wants_709 else picture.primaries
        keeps = is_same and _means_the_same(encoding, primaries)
        return Plan(
            container=container,
            sample=sample,
            primaries=primaries,
            curves=(LINEAR,) * 3,
            metadata=Metadata(),
            keeps_colour=keeps,
        )
    ends = [float(np.asarray(curve.decode(1.0))) for curve in encoding.curves]
    # Profiles end at white: codes of PQ and HLG, which do not, are made anew.
    has_own_colour = (
        encoding.space is None
        and max(ends) < 1 + 1e-3
        and (encoding.sample.is_integer or metadata.icc is not None)
    )
    if has_own_colour and _means_the_same(encoding, picture.primaries):
        if metadata.icc is None and not is_same:
            metadata = replace(metadata, icc=_profile_if_needed(encoding, picture.primaries))
        return Plan(
            container=container,
            sample=sample,
            primaries=picture.primaries,
            curves=(encoding.curves * 3)[:3],
            metadata=metadata,
            keeps_colour=True,
        )
    return _without_own_colour(picture, container, sample)


def _for_a_display(picture: Picture, container: Container) -> Plan:
    """Codes as the show's LUT makes them: no profile may change them again."""
    sample = _sample(picture.encoding, container)
    if not sample.is_integer:
        sample = Sample.UINT16
    return Plan(
        container=container,
        sample=sample,
        primaries=BT709,
        curves=(SRGB_CURVE,) * 3,
        metadata=replace(picture.encoding.metadata, icc=None),
        keeps_colour=False,
    )


def _without_own_colour(picture: Picture, container: Container, sample: Sample) -> Plan:
    metadata = replace(picture.encoding.metadata, icc=None)
    if sample.is_integer:
        return Plan(
            container=container,
            sample=sample,
            primaries=BT709,
            curves=(SRGB_CURVE,) * 3,
            metadata=metadata,
            keeps_colour=False,
        )
    primaries, curves = picture.primaries, (LINEAR,) * 3
    is_same = container is picture.encoding.container
    if not is_same or primaries != BT709:
        profile = icc_profile_bytes(primaries, curves, "Linear light")
        metadata = replace(metadata, icc=profile)
    return Plan(
        container=container,
        sample=sample,
        primaries=primaries,
        curves=curves,
        metadata=metadata,
        keeps_colour=is_same and _means_the_same(picture.encoding, primaries),
    )


def _means_the_same(encoding: Encoding, primaries: Primaries) -> bool:
    return encoding.primaries is None or encoding.primaries == primaries


def _profile_if_needed(encoding: Encoding, primaries: Primaries) -> bytes | None:
    """Profile for codes whose meaning only the input's format had a place for."""
    is_srgb = all(curve == SRGB_CURVE for curve in encoding.curves) and primaries == BT709
    if is_srgb:
        return None
    return icc_profile_bytes(primaries, encoding.curves, "As in the input file")


def _sample(encoding: Encoding, container: Container) -> Sample:
    if container is Container.JPEG:
        return Sample.UINT8
    if container is Container.HDR:
        return Sample.FLOAT
    if container is encoding.container:
        return encoding.sample
    if container is Container.EXR:
        return Sample.HALF
    if container is Container.PNG and not encoding.sample.is_integer:
        return Sample.UINT16
    return encoding.sample if encoding.sample.is_integer else Sample.FLOAT
