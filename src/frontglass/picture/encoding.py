"""How a file held a picture: all that is needed to write it back as it came."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, StrEnum
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Choice, member_of
from frontglass.errors import ParameterError
from frontglass.picture.curves import LINEAR, SRGB_CURVE, Curve
from frontglass.picture.primaries import BT709, Primaries

Triple = tuple[float, float, float]
Codes = NDArray[Any]
"""What a file stores per sample: uint8, uint16, float16 or float32."""


class Container(Choice):
    """File formats.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Encoding(container="TIFF", sample="uint16").container
    <Container.TIFF: 'TIFF'>
    """

    JPEG = "JPEG"
    PNG = "PNG"
    TIFF = "TIFF"
    EXR = "OpenEXR"
    HDR = "Radiance HDR"
    HEIF = "HEIF"
    AVIF = "AVIF"
    DPX = "DPX"
    RAW = "camera raw"


class Sample(StrEnum):
    """What one number in the file is.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Sample("float16").dtype, fg.Sample("float16").is_integer
    (dtype('float16'), False)
    """

    UINT8 = "uint8"
    UINT16 = "uint16"
    HALF = "float16"
    FLOAT = "float32"

    @property
    def dtype(self) -> np.dtype[Any]:
        """The numpy type that holds one."""
        return np.dtype(self.value)

    @property
    def is_integer(self) -> bool:
        """Whether values end at white."""
        return self in {Sample.UINT8, Sample.UINT16}

    @classmethod
    def of(cls, codes: Codes) -> Sample:
        """Return the member that stores `codes`."""
        for member in cls:
            if member.dtype == codes.dtype:
                return member
        raise ParameterError("codes", "of uint8, uint16, float16 or float32", str(codes.dtype))


class Tone(Enum):
    """Whether a file holds one channel of light or three."""

    GREY = 1
    RGB = 3


class AlphaKind(Choice):
    """Whether colour has been multiplied by its alpha."""

    STRAIGHT = "straight"
    PREMULTIPLIED = "premultiplied"


@dataclass(frozen=True, slots=True, eq=False)
class Alpha:
    """Coverage as the file held it; carried, never touched.

    Parameters
    ----------
    codes : ndarray, shape (H, W)
        uint8, uint16, float16 or float32.
    kind : AlphaKind
        Whether the colours beside it are multiplied by it.
    """

    codes: Codes
    kind: AlphaKind = AlphaKind.STRAIGHT

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", AlphaKind.of("kind", self.kind))


class NativeKind(Enum):
    """Files whose own codes are neither grey nor RGB with a curve per channel."""

    BILEVEL = "1-bit"
    PALETTE = "palette"
    CMYK = "CMYK"
    TABLE_RGB = "RGB with a table profile"
    INTEGER32 = "32-bit integer"


@dataclass(frozen=True, slots=True, eq=False)
class Native:
    """The file's own codes beside the grey or RGB codes made from them.

    Parameters
    ----------
    kind : NativeKind
        What `codes` are.
    codes : ndarray, shape (H, W) or (H, W, C)
        As in the file, after orientation.
    palette : bytes
        Palette entries R, G, B for `NativeKind.PALETTE`.
    palette_alpha : bytes
        Alpha of the entries, if any.
    """

    kind: NativeKind
    codes: Codes
    palette: bytes = b""
    palette_alpha: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class Metadata:
    """What travels beside the pixels, format by format in its own wrapping.

    Parameters
    ----------
    icc : bytes or None
        ICC profile.
    exif : bytes or None
        A TIFF structure, without any "Exif" prefix.
    xmp : bytes or None
        XMP packet.
    dpi : tuple of two floats, or None
        Pixels per inch across and down.
    """

    icc: bytes | None = None
    exif: bytes | None = None
    xmp: bytes | None = None
    dpi: tuple[float, float] | None = None


class Space(Protocol):
    """An encoding by name: codes to light, and back."""

    @property
    def name(self) -> str:
        """As its configuration has it."""
        ...

    def decoded(self, codes: Codes) -> NDArray[np.float32]:
        """Linear light of codes, shape (H, W, 3)."""
        ...

    def encoded(self, light: NDArray[np.float32], primaries: Primaries) -> NDArray[np.float32]:
        """Codes of linear light, as numbers of which 1 is the highest."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Encoding:
    """How the file held the picture.

    Parameters
    ----------
    container : Container
        File format.
    sample : Sample
        Type of one number.
    tone : Tone
        One channel or three.
    curves : tuple of Curve
        One for grey, three for RGB.
    primaries : Primaries or None
        What the channels of `codes` mean; None leaves it to the picture.
    codes : ndarray, shape (H, W, tone.value), or None
        The file's codes after orientation; samples whose light is still exactly what
        these decode to are written back as they came. None for pictures made in memory.
    alpha : Alpha or None
        Coverage.
    native : Native or None
        The file's own codes where `codes` is only what was made of them.
    metadata : Metadata
        Profile, EXIF, XMP and resolution.
    carried : mapping
        What only this container knows, by its reader's names: JPEG tables, PNG chunks,
        OpenEXR attributes and further channels.

    top : tuple of 3 float, or None
        Light of the highest code of each channel, where the file's curve or its gain map tells
        light above white. None is 1 for codes, and endless for floats.

    space : Space or None
        The encoding that was named for the file, in place of curves and primaries.

    Raises
    ------
    ParameterError
        If a choice is unknown, or curves and tone do not fit together.

    Examples
    --------
    A picture made in memory is written as 16-bit sRGB where its encoding says so:

    >>> import numpy as np, frontglass as fg
    >>> wall = fg.Picture(radiance=np.full((4, 6, 3), 0.18), encoding=fg.Encoding.srgb("uint16"))
    >>> wall.encoding.container.value, wall.encoding.sample.value
    ('PNG', 'uint16')
    """

    container: Container
    sample: Sample
    tone: Tone = Tone.RGB
    curves: tuple[Curve, ...] = (LINEAR, LINEAR, LINEAR)
    primaries: Primaries | None = None
    codes: Codes | None = None
    alpha: Alpha | None = None
    native: Native | None = None
    metadata: Metadata = field(default_factory=Metadata)
    carried: Mapping[str, Any] = field(default_factory=dict)
    top: Triple | None = None
    space: Space | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "container", Container.of("container", self.container))
        object.__setattr__(self, "sample", member_of(Sample, "sample", self.sample))
        if not isinstance(self.tone, Tone):
            raise ParameterError("tone", "Tone.GREY or Tone.RGB", self.tone)
        if len(self.curves) != self.tone.value:
            raise ParameterError("curves", f"{self.tone.value} curves", len(self.curves))

    @property
    def ends_somewhere(self) -> bool:
        """Whether light clips at the highest code; that of floats never does."""
        return all(map(math.isfinite, self.ends))

    @property
    def ends(self) -> Triple:
        """Light at which each channel clips; inf where none does."""
        most = 1.0 if self.sample.is_integer else math.inf
        return (most, most, most) if self.top is None else self.top

    @property
    def code_step(self) -> float | None:
        """Light of one code, about, where noise can be told from how codes are laid; else None."""
        if self.container is Container.RAW:
            return 1 / 65535
        return 1 / float(np.iinfo(self.sample.dtype).max) if self.sample.is_integer else None

    @classmethod
    def linear(cls) -> Encoding:
        """Scene-linear float in OpenEXR: for pictures made in memory."""
        return cls(container=Container.EXR, sample=Sample.FLOAT)

    @classmethod
    def srgb(cls, sample: Sample | str = Sample.UINT8) -> Encoding:
        """IEC 61966-2-1 codes in PNG: for pictures made in memory to be looked at."""
        curves = (SRGB_CURVE,) * 3
        return cls(
            container=Container.PNG,
            sample=member_of(Sample, "sample", sample),
            curves=curves,
            primaries=BT709,
        )
