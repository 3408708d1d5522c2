"""OpenEXR: channels, windows and attributes read and written through the OpenEXR package."""

from __future__ import annotations

import io
import math
import sys
from collections.abc import Mapping
from contextlib import redirect_stdout
from typing import Any

import numpy as np

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.damage import heard
from frontglass.files.exr_structure import check_exr_structure
from frontglass.files.limits import check_size
from frontglass.files.outgoing import Outgoing
from frontglass.files.still import FileStill
from frontglass.optics.camera import ShotData
from frontglass.picture.curves import LINEAR
from frontglass.picture.encoding import Alpha, AlphaKind, Codes, Container, Native, NativeKind
from frontglass.picture.primaries import BT709, Primaries

SIGNATURE = b"\x76\x2f\x31\x01"
_EQUIVALENT = "focalLengthIn35mmFilm"
"""Named as in EXIF."""
_OF_THE_LENS = {
    "nominalFocalLength",
    "effectiveFocalLength",
    "pinholeFocalLength",
    "sensorOverallDimensions",
    _EQUIVALENT,
}
# What the file's layout decides, or what would be false of the picture written.
_NOT_CARRIED = {
    "channels",
    "dataWindow",
    "displayWindow",
    "lineOrder",
    "type",
    "tiles",
    "chunkCount",
    "version",
    "name",
    "preview",
    "chromaticities",
    "maxSamplesPerPixel",
}


def exr_parts(data: bytes) -> list[Any]:
    """Parts of an OpenEXR file, each with its header and channels.

    Raises
    ------
    PictureFileError
        If the file is damaged, cut short or too large.
    """
    import OpenEXR

    check_exr_structure(data)
    try:
        # On damaged pixels the package prints to both outputs, and standard output is for results.
        with heard(), redirect_stdout(sys.stderr):
            return list(OpenEXR.File(io.BytesIO(data), separate_channels=True).parts)
    except (RuntimeError, IndexError, ValueError, TypeError) as error:
        raise PictureFileError(f"The OpenEXR file is damaged: {error}.") from error


def read_exr(data: bytes) -> FileStill:
    """Read the first part that holds R, G, B or Y.

    Raises
    ------
    PictureFileError
        If the file is damaged, cut short, too large or holds no such channels.
    """
    parts = exr_parts(data)
    notices: list[str] = []
    for part in parts:
        names = _light_channels(part.channels)
        if names:
            return _still(part, names, len(parts), notices)
    have = sorted({name for part in parts for name in part.channels})
    if not have:
        raise PictureFileError("The OpenEXR file is damaged: no pixels can be decoded.")
    raise PictureFileError(
        f"The OpenEXR file has no channels R, G, B or Y; it has {', '.join(have[:12])}."
    )


def _light_channels(channels: Mapping[str, Any]) -> tuple[str, ...]:
    """Names of the channels that are the picture: plain ones first, then the first layer."""
    layers = ["", *sorted({name.rpartition(".")[0] + "." for name in channels if "." in name})]
    for layer in layers:
        for names in (("R", "G", "B"), ("Y",)):
            full = tuple(layer + name for name in names)
            if all(name in channels for name in full):
                if names == ("Y",) and {layer + "RY", layer + "BY"} & set(channels):
                    raise PictureFileError(
                        "OpenEXR files of luminance and subsampled chroma cannot be read. "
                        "Save it with R, G and B."
                    )
                return full
    return ()


def _still(part: Any, names: tuple[str, ...], parts: int, notices: list[str]) -> FileStill:
    header = dict(part.header)
    if parts > 1:
        notices.append(
            f"The OpenEXR file has {parts} parts; {part.name()!r} is used, the rest left out."
        )
    layer = names[0].rpartition(".")[0]
    if layer:
        notices.append(f"The OpenEXR file has no plain R, G, B; layer {layer!r} is used.")
    window = _Window(header, notices)
    planes = {name: _plane(name, channel, window) for name, channel in part.channels.items()}
    prefix = f"{layer}." if layer else ""
    light = [planes[name] for name in names]
    codes = np.stack([_as_float(plane) for plane in light], axis=-1)
    native = None
    if any(plane.dtype == np.uint32 for plane in light):
        native = Native(NativeKind.INTEGER32, np.stack(light, axis=-1))
    elif all(plane.dtype == np.float16 for plane in light):
        codes = codes.astype(np.float16)
    alpha = planes.get(prefix + "A")
    others = {k: v for k, v in planes.items() if k not in {*names, prefix + "A"}}
    return FileStill(
        container=Container.EXR,
        codes=codes,
        alpha=None if alpha is None else Alpha(alpha, AlphaKind.PREMULTIPLIED),
        native=native,
        primaries=_primaries(header.get("chromaticities")),
        curves=(LINEAR,) * len(names),
        shot=_shot(header),
        carried={
            "exr_attributes": {k: v for k, v in header.items() if k not in _NOT_CARRIED},
            "exr_channels": others,
            "exr_layer": prefix,
            "exr_has_chromaticities": "chromaticities" in header,
            "exr_display_window": window.display,
        },
        notices=tuple(notices),
    )


class _Window:
    """Where the stored pixels lie in the picture."""

    def __init__(self, header: Mapping[str, Any], notices: list[str]) -> None:
        (left, top), (right, bottom) = (_ints(corner) for corner in header["dataWindow"])
        self.display = tuple(_ints(corner) for corner in header["displayWindow"])
        (x0, y0), (x1, y1) = self.display
        self.width, self.height = x1 - x0 + 1, y1 - y0 + 1
        check_size(self.width, self.height)
        self.data_shape = (bottom - top + 1, right - left + 1)
        self.is_whole = (left, top, right, bottom) == (x0, y0, x1, y1)
        across = max(left, x0), min(right, x1) + 1
        down = max(top, y0), min(bottom, y1) + 1
        if across[0] >= across[1] or down[0] >= down[1]:
            raise PictureFileError("The OpenEXR file's data lie wholly outside its display window.")
        self.to = (slice(down[0] - y0, down[1] - y0), slice(across[0] - x0, across[1] - x0))
        self.source = (
            slice(down[0] - top, down[1] - top),
            slice(across[0] - left, across[1] - left),
        )
        if left < x0 or top < y0 or right > x1 or bottom > y1:
            notices.append("Pixels outside the OpenEXR display window are left out.")
        if left > x0 or top > y0 or right < x1 or bottom < y1:
            notices.append("The OpenEXR data do not fill the display window; the rest is black.")

    def placed(self, plane: Codes) -> Codes:
        if self.is_whole:
            return plane
        whole = np.zeros((self.height, self.width), dtype=plane.dtype)
        whole[self.to] = plane[self.source]
        return whole


def _ints(corner: Any) -> tuple[int, int]:
    return int(corner[0]), int(corner[1])


def _plane(name: str, channel: Any, window: _Window) -> Codes:
    pixels = np.asarray(channel.pixels)
    if pixels.shape != window.data_shape:
        raise PictureFileError(
            f"OpenEXR channel {name!r} is subsampled or damaged: {pixels.shape[::-1]} samples "
            f"for a window of {window.data_shape[::-1]}."
        )
    return window.placed(pixels)


def _as_float(plane: Codes) -> Codes:
    return plane if plane.dtype == np.float16 else plane.astype(np.float32)


def _primaries(chromaticities: Any) -> Primaries:
    if chromaticities is None:
        return BT709
    v = [_as_written(value) for value in chromaticities]
    try:
        found = Primaries((v[0], v[1]), (v[2], v[3]), (v[4], v[5]), (v[6], v[7]))
    except ParameterError as error:
        raise PictureFileError(f"The OpenEXR chromaticities make no sense: {error}") from error
    return found


def _shot(header: Mapping[str, Any]) -> ShotData:
    focal = _usable(header.get("effectiveFocalLength")) or _usable(header.get("nominalFocalLength"))
    sensor = header.get("sensorOverallDimensions")
    long_side = None
    if sensor is not None and np.size(sensor) == 2:
        long_side = _usable(np.max(sensor))
    return ShotData(
        focal_length_mm=focal,
        focal_length_35mm=_usable(header.get(_EQUIVALENT)),
        f_number=_usable(header.get("aperture")),
        sensor_width_mm=long_side,
        exposure_time_s=_usable(header.get("expTime")),
        iso=_usable(header.get("isoSpeed")),
    ).exposed()


def _as_written(value: Any) -> float:
    """Return the shortest decimal that the file's float32 can have come from."""
    return float(str(np.float32(value)))


def _usable(value: Any) -> float | None:
    try:
        number = _as_written(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def write_exr_file(path: str, still: Outgoing) -> None:
    """Write an OpenEXR file of half or float codes."""
    import OpenEXR

    carried = still.carried
    layer = carried.get("exr_layer", "")
    attributes = carried.get("exr_attributes", {})
    header: dict[str, Any] = {"compression": OpenEXR.ZIP_COMPRESSION, **attributes}
    if _shot(attributes) != still.shot:
        # Of another format, or a frame of the still whose attributes these are.
        header = {name: value for name, value in header.items() if name not in _OF_THE_LENS}
        header |= _lens_attributes(still)
    header["type"] = OpenEXR.scanlineimage
    height, width = still.codes.shape[:2]
    (left, top), _ = carried.get("exr_display_window", ((0, 0), None))
    corners = ((left, top), (left + width - 1, top + height - 1))
    window = tuple(np.array(corner, dtype=np.int32) for corner in corners)
    header |= {"dataWindow": window, "displayWindow": window}
    if carried.get("exr_has_chromaticities", True):
        p = still.primaries
        header["chromaticities"] = (*p.red, *p.green, *p.blue, *p.white)
    codes = still.codes if still.native is None else still.native.codes
    names = ("Y",) if codes.shape[2] == 1 else ("R", "G", "B")
    channels = {layer + name: np.ascontiguousarray(codes[..., k]) for k, name in enumerate(names)}
    if still.alpha is not None:
        channels[f"{layer}A"] = np.ascontiguousarray(still.alpha.codes)
    others = carried.get("exr_channels", {})
    channels |= {name: plane for name, plane in others.items() if plane.shape == (height, width)}
    try:
        OpenEXR.File(header, channels).write(path)
    except (RuntimeError, ValueError, TypeError) as error:
        raise PictureFileError(f"The picture cannot be stored as OpenEXR: {error}.") from error


def _lens_attributes(still: Outgoing) -> dict[str, Any]:
    """Lens and exposure [OpenEXR-3]; the equivalent has no standard attribute."""
    shot = still.shot
    values = {
        "aperture": shot.f_number,
        "nominalFocalLength": shot.focal_length_mm,
        "expTime": shot.exposure_time_s,
        "isoSpeed": shot.iso,
        _EQUIVALENT: shot.focal_length_35mm,
    }
    return {name: value for name, value in values.items() if value is not None}
