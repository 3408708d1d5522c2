"""What files say of the depth maps that they hold beside the picture."""

from __future__ import annotations

import base64
import binascii
import io
import math
from typing import Any

import numpy as np

from frontglass.errors import PictureFileError
from frontglass.files.damage import quiet_pillow
from frontglass.files.gain_maps import values_of
from frontglass.files.limits import check_size
from frontglass.picture.encoding import Codes
from frontglass.picture.own_depth import DepthScale, OwnDepth

DAMAGED = "The file's depth map is damaged."
_FARTHEST = 1e6


def depth_by_phone(codes: Codes, xmp: bytes) -> OwnDepth | None:
    """Read a phone's map of depth or disparity by the XMP beside it; None if it is neither.

    Raises
    ------
    PictureFileError
        If what is said of it makes no sense.
    """
    kind = values_of(xmp, "apdi:AuxiliaryImageType")
    if kind not in (["disparity"], ["depth"]):
        return None
    low = _number(xmp, "apdi:FloatMinValue", 0.0)
    high = _number(xmp, "apdi:FloatMaxValue", math.nan)
    top = _number(xmp, "apdi:IntMaxValue", 255.0)
    if not (math.isfinite(high) and 0 <= low < high <= _FARTHEST and top > 0):
        raise PictureFileError(DAMAGED)
    values = low + (high - low) * (codes.astype(np.float32) / np.float32(top))
    is_absolute = values_of(xmp, "depthData:Accuracy") == ["absolute"]
    scale = DepthScale.METRES if is_absolute else DepthScale.ABOUT
    if kind == ["depth"]:
        return OwnDepth(depth_m=np.where(values > 0, values, np.float32(np.nan)), scale=scale)
    return OwnDepth.of_disparity(values, scale, (high - low) / top)


def depth_by_numbers(codes: Codes, said: dict[str, Any]) -> OwnDepth | None:
    """Read a map by the numbers of its representation [H.265] table F.4; None if they tell nothing.

    Representation 0 is uniform inverse depth, 1 disparity, 2 depth; 3 has a table of its own.
    """
    kind = said.get("representation_type")
    place = codes.astype(np.float32) / np.float32(np.iinfo(codes.dtype).max)
    near, far = said.get("z_near"), said.get("z_far")
    if kind == 1:
        low, high = float(said.get("d_min") or 0), float(said.get("d_max") or 1)
        if not 0 <= low < high <= _FARTHEST:
            return None
        step = (high - low) / 255
        return OwnDepth.of_disparity(low + (high - low) * place, DepthScale.NONE, step)
    if near is None or far is None or not 0 < near < far <= _FARTHEST:
        return None
    if kind == 0:
        inverse = place * np.float32(1 / near - 1 / far) + np.float32(1 / far)
        return OwnDepth.of_disparity(inverse, DepthScale.NONE, 0.0)
    if kind == 2:
        depth = np.float32(near) + place * np.float32(far - near)
        return OwnDepth(depth_m=depth, scale=DepthScale.NONE)
    return None


def depth_in_xmp(xmp: bytes) -> OwnDepth | None:
    """Read the map that some phones' JPEG files hold as text in their XMP; None if there is none.

    Raises
    ------
    PictureFileError
        If it is damaged.
    """
    text = _long_value(xmp, b"GDepth:Data")
    if text is None:
        return None
    near, far = (_number(xmp, f"GDepth:{name}", math.nan) for name in ("Near", "Far"))
    form = values_of(xmp, "GDepth:Format")
    if not 0 < near < far <= _FARTHEST or form not in (["RangeInverse"], ["RangeLinear"]):
        raise PictureFileError(DAMAGED)
    try:
        codes = _decoded(base64.b64decode(text, validate=False))
    except (binascii.Error, ValueError, OSError, SyntaxError) as error:
        raise PictureFileError(DAMAGED) from error
    place = codes.astype(np.float32) / np.float32(np.iinfo(codes.dtype).max)
    if form == ["RangeInverse"]:
        # From near at 0 to far at the highest number, evenly by inverse depth.
        depth = np.float32(far * near) / (np.float32(far) - place * np.float32(far - near))
    else:
        depth = np.float32(near) + place * np.float32(far - near)
    in_metres = values_of(xmp, "GDepth:Units") in (["m"], ["Meters"])
    scale = DepthScale.METRES if in_metres else DepthScale.NONE
    return OwnDepth(depth_m=depth, scale=scale)


def _decoded(data: bytes) -> Codes:
    from PIL import JpegImagePlugin, PngImagePlugin

    png = data.startswith(b"\x89PNG")
    plugin = PngImagePlugin.PngImageFile if png else JpegImagePlugin.JpegImageFile
    with quiet_pillow(), plugin(io.BytesIO(data)) as still:
        check_size(*still.size)
        return np.asarray(still.convert("I;16" if still.mode.startswith("I") else "L"))


def _long_value(xmp: bytes, name: bytes) -> bytes | None:
    """Return a property as long as a picture, wherever it stands."""
    start = xmp.find(name + b'="')
    if start < 0:
        return None
    start += len(name) + 2
    end = xmp.find(b'"', start)
    return xmp[start:end] if end > start else None


def _number(xmp: bytes, name: str, stock: float) -> float:
    try:
        (value,) = (float(text) for text in values_of(xmp, name))
    except ValueError:
        return stock
    return value
