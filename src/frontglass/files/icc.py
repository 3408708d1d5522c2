"""ICC profiles of the matrix and curve kind: read to primaries and curves, and written.

Layout after [ICC.1-2022]: header 7.2, tag table 7.3, types in clause 10.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import Enum

import numpy as np

from frontglass.errors import ParameterError, PictureFileError
from frontglass.picture.curves import LINEAR, Curve, ParametricCurve, SampledCurve
from frontglass.picture.primaries import (
    D50,
    Chromaticity,
    Matrix,
    Primaries,
    bradford_adaptation,
)

_HEADER_BYTES = 128
_PCS_WHITE = (0.9642, 1.0, 0.8249)


class ProfileKind(Enum):
    """How a profile says what its codes mean."""

    RGB = "matrix and curves"
    GREY = "one curve"
    RGB_TABLE = "RGB table"
    CMYK_TABLE = "CMYK table"


@dataclass(frozen=True, slots=True, kw_only=True)
class IccProfile:
    """What a profile says.

    Parameters
    ----------
    kind : ProfileKind
        Which of the rest is known.
    primaries : Primaries or None
        For `ProfileKind.RGB`.
    curves : tuple of Curve
        Three for `ProfileKind.RGB`, one for `ProfileKind.GREY`.
    has_inverse : bool
        Whether a table profile can also be written through.
    """

    kind: ProfileKind
    primaries: Primaries | None = None
    curves: tuple[Curve, ...] = ()
    has_inverse: bool = True


def icc_profile_from_bytes(data: bytes) -> IccProfile:
    """Read a profile.

    Raises
    ------
    PictureFileError
        If it is damaged or of a kind that is no picture's (device links, named colours).
    """
    try:
        return _profile(data)
    except (struct.error, ParameterError, ValueError, IndexError, OverflowError) as error:
        raise PictureFileError(f"The colour profile is damaged: {error}") from error


def _profile(data: bytes) -> IccProfile:
    if len(data) < _HEADER_BYTES + 4 or data[36:40] != b"acsp":
        raise PictureFileError("The colour profile is damaged: it has no ICC signature.")
    space = data[16:20]
    tags = _tags(data)
    if space == b"GRAY" and b"kTRC" in tags:
        curve = _curve(tags[b"kTRC"])
        if data[20:24] == b"Lab ":
            curve = _light_from_lightness(curve)
        return IccProfile(kind=ProfileKind.GREY, curves=(curve,))
    if space == b"RGB " and b"A2B0" not in tags and b"A2B1" not in tags:
        curves = _rgb_curves([tags[name] for name in _present(tags, b"rTRC", b"gTRC", b"bTRC")])
        return IccProfile(kind=ProfileKind.RGB, primaries=_primaries(tags), curves=curves)
    if space in {b"RGB ", b"CMYK"}:
        kind = ProfileKind.RGB_TABLE if space == b"RGB " else ProfileKind.CMYK_TABLE
        _present(tags, b"A2B0")
        return IccProfile(kind=kind, has_inverse=b"B2A0" in tags)
    name = space.decode("ascii", "replace").strip()
    raise PictureFileError(f"A colour profile for {name!r} codes cannot be read.")


def _tags(data: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", data, _HEADER_BYTES)
    if count > 1000:
        raise ValueError(f"it claims {count} tags.")
    tags = {}
    for index in range(count):
        name, offset, size = struct.unpack_from(">4sII", data, _HEADER_BYTES + 4 + 12 * index)
        if offset + size > len(data):
            raise ValueError(f"tag {name.decode('latin-1')!r} reaches past its end.")
        tags[name] = data[offset : offset + size]
    return tags


def _present(tags: dict[bytes, bytes], *names: bytes) -> tuple[bytes, ...]:
    for name in names:
        if name not in tags:
            raise ValueError(f"tag {name.decode('ascii')!r} is missing.")
    return names


def _primaries(tags: dict[bytes, bytes]) -> Primaries:
    columns = [_xyz(tags[name]) for name in _present(tags, b"rXYZ", b"gXYZ", b"bXYZ")]
    adapted = np.array(columns).T
    white = _white(tags)
    # Undone by Bradford whatever the profile's own adaptation was: the way back to the
    # connection space is Bradford too, so colours agree with the profile.
    return Primaries.from_xyz_matrix(bradford_adaptation(D50, white) @ adapted)


def _white(tags: dict[bytes, bytes]) -> Chromaticity:
    if b"chad" in tags:
        adaptation = _s15_fixed16(tags[b"chad"], 9).reshape(3, 3)
        return _xy(np.linalg.solve(adaptation, np.array(_PCS_WHITE)))
    if b"wtpt" in tags:
        white = _xyz(tags[b"wtpt"])
        if white[1] > 0:
            return _xy(white)
    return D50


def _xy(xyz: Matrix) -> Chromaticity:
    x, y = xyz[:2] / np.sum(xyz)
    if np.allclose((x, y), D50, atol=2e-5):
        return D50
    return float(x), float(y)


def _xyz(tag: bytes) -> Matrix:
    if tag[:4] != b"XYZ ":
        raise ValueError("an XYZ tag is of another type.")
    return _s15_fixed16(tag, 3)


def _s15_fixed16(tag: bytes, count: int) -> Matrix:
    return np.array(struct.unpack_from(f">{count}i", tag, 8)) / 65536


def _curve(tag: bytes) -> Curve:
    tag_type = tag[:4]
    if tag_type == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return LINEAR
        if count == 1:
            return ParametricCurve(struct.unpack_from(">H", tag, 12)[0] / 256)
        samples = np.frombuffer(tag, dtype=">u2", count=count, offset=12)
        return SampledCurve(samples / 65535)
    if tag_type == b"para":
        (number,) = struct.unpack_from(">H", tag, 8)
        counts = (1, 3, 4, 5, 7)
        if number >= len(counts):
            raise ValueError(f"parametric curve type {number} is unknown.")
        return _parametric(number, [float(v) for v in _s15_fixed16(tag[4:], counts[number])])
    raise ValueError(f"a curve is of type {tag_type.decode('latin-1')!r}.")


def _light_from_lightness(curve: Curve) -> Curve:
    """Return a curve to light for one to CIE 1976 lightness, L*/100 [ISO11664-4]."""
    step = 6 / 29
    root = (100 * curve.decode(np.linspace(0, 1, 4096)) + 16) / 116
    return SampledCurve(np.where(root > step, root**3, 3 * step**2 * (root - 4 / 29)))


def _rgb_curves(contents: list[bytes]) -> tuple[Curve, ...]:
    if contents[1:] == contents[:1] * 2:
        # One object, so that all channels are decoded by one table.
        return (_curve(contents[0]),) * 3
    return tuple(_curve(content) for content in contents)


def _parametric(number: int, values: list[float]) -> ParametricCurve:
    """Types 0 to 4 of [ICC.1-2022] table 68, all as type 4."""
    if number == 0:
        return ParametricCurve(values[0])
    g, a, b = values[:3]
    if not a > 0:
        raise ValueError(f"a parametric curve must rise, got a = {a:g}.")
    if number == 1:
        return ParametricCurve(g, a, b, d=-b / a)
    if number == 2:
        return ParametricCurve(g, a, b, d=-b / a, e=values[3], f=values[3])
    return ParametricCurve(g, a, b, *values[3:])


def icc_profile_bytes(primaries: Primaries, curves: tuple[Curve, ...], name: str) -> bytes:
    """Return a version 4 display profile with these primaries and curves (one: grey)."""
    tags: list[tuple[bytes, bytes]] = [
        (b"desc", _text(name)),
        (b"cprt", _text("No copyright.")),
        (b"wtpt", _xyz_tag(np.array(_PCS_WHITE))),
        (b"chad", _fixed_tag(b"sf32", bradford_adaptation(primaries.white, D50).ravel())),
    ]
    if len(curves) == 1:
        tags.append((b"kTRC", _curve_tag(curves[0])))
    else:
        adapted = bradford_adaptation(primaries.white, D50) @ primaries.xyz_from_rgb
        names = (b"rXYZ", b"gXYZ", b"bXYZ")
        tags += [(tag, _xyz_tag(column)) for tag, column in zip(names, adapted.T, strict=True)]
        names = (b"rTRC", b"gTRC", b"bTRC")
        tags += [(tag, _curve_tag(curve)) for tag, curve in zip(names, curves, strict=True)]
    return _assembled(b"GRAY" if len(curves) == 1 else b"RGB ", tags)


def _assembled(space: bytes, tags: list[tuple[bytes, bytes]]) -> bytes:
    offset = _HEADER_BYTES + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, content in tags:
        table += struct.pack(">4sII", name, offset + len(body), len(content))
        body += content + b"\0" * (-len(content) % 4)
    size = offset + len(body)
    # Version 4.3, class mntr, a fixed date: the same picture gives the same bytes.
    header = struct.pack(
        ">I4sI4s4s4s6H", size, b"\0" * 4, 0x04300000, b"mntr", space, b"XYZ ", 2000, 1, 1, 0, 0, 0
    )
    header += b"acsp" + b"\0" * 28 + struct.pack(">3i", *_fixed(np.array(_PCS_WHITE)))
    return header + b"\0" * (_HEADER_BYTES - len(header)) + table + body


def _fixed(values: Matrix) -> list[int]:
    return [round(float(value) * 65536) for value in values]


def _fixed_tag(tag_type: bytes, values: Matrix) -> bytes:
    return tag_type + b"\0" * 4 + struct.pack(f">{len(values)}i", *_fixed(values))


def _xyz_tag(values: Matrix) -> bytes:
    return _fixed_tag(b"XYZ ", values)


def _text(text: str) -> bytes:
    words = text.encode("utf-16-be")
    return b"mluc" + struct.pack(">3I2s2s2I", 0, 1, 12, b"en", b"US", len(words), 28) + words


def _curve_tag(curve: Curve) -> bytes:
    if isinstance(curve, ParametricCurve):
        values = np.array([curve.g, curve.a, curve.b, curve.c, curve.d, curve.e, curve.f])
        return b"para" + struct.pack(">IHH7i", 0, 4, 0, *_fixed(values))
    light = np.clip(curve.decode(np.linspace(0, 1, 4096)), 0, 1)
    return (
        b"curv"
        + struct.pack(">II", 0, light.size)
        + np.round(light * 65535).astype(">u2").tobytes()
    )
