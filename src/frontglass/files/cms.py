"""Colour conversion through table profiles by littleCMS (Pillow's ImageCms).

It works on 8-bit codes, so light passes through a wide space with a perceptual curve:
BT.2020 primaries with the IEC 61966-2-1 curve.
"""

from __future__ import annotations

import io
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import PictureFileError
from frontglass.files.icc import icc_profile_bytes
from frontglass.picture.curves import SRGB_CURVE, Curve
from frontglass.picture.primaries import BT2020

if TYPE_CHECKING:
    from PIL import ImageCms

WIDE_PRIMARIES = BT2020
WIDE_CURVES: tuple[Curve, ...] = (SRGB_CURVE,) * 3


@cache
def wide_profile() -> bytes:
    """Profile of the wide space."""
    return icc_profile_bytes(WIDE_PRIMARIES, WIDE_CURVES, "BT.2020 primaries, sRGB curve")


def wide_from_native(codes: NDArray[np.uint8], icc: bytes) -> NDArray[np.uint8]:
    """Wide RGB codes of CMYK or RGB codes with a table profile.

    Raises
    ------
    PictureFileError
        If littleCMS cannot use the profile.
    """
    mode = "CMYK" if codes.shape[2] == 4 else "RGB"
    return _converted(codes, icc, wide_profile(), (mode, "RGB"))


def native_from_wide(wide: NDArray[np.uint8], icc: bytes, channels: int) -> NDArray[np.uint8]:
    """CMYK or RGB codes of wide RGB codes.

    Raises
    ------
    PictureFileError
        If the profile has no way back.
    """
    mode = "CMYK" if channels == 4 else "RGB"
    return _converted(wide, wide_profile(), icc, ("RGB", mode))


def rgb_from_plain_cmyk(codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """SRGB codes of CMYK without a profile: ink shares multiplied, common practice."""
    light = 255 - codes[..., :3].astype(np.uint16)
    key = 255 - codes[..., 3:].astype(np.uint16)
    return ((light * key + 127) // 255).astype(np.uint8)


def _converted(
    codes: NDArray[np.uint8], source: bytes, target: bytes, modes: tuple[str, str]
) -> NDArray[np.uint8]:
    from PIL import Image, ImageCms

    try:
        transform: Any = ImageCms.buildTransform(
            _opened(source),
            _opened(target),
            *modes,
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION | ImageCms.Flags.HIGHRESPRECALC,
        )
        plain = Image.frombytes(modes[0], codes.shape[1::-1], np.ascontiguousarray(codes).tobytes())
        return np.array(ImageCms.applyTransform(plain, transform))
    except (ImageCms.PyCMSError, OSError, ValueError) as error:
        raise PictureFileError(f"The colour profile cannot be used: {error}.") from error


def _opened(profile: bytes) -> ImageCms.ImageCmsProfile:
    from PIL import ImageCms

    return ImageCms.ImageCmsProfile(io.BytesIO(profile))
