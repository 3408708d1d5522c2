"""Colours by the code points of [H.273]: what HEIF and AVIF files say without a profile."""

from __future__ import annotations

import struct

from frontglass.picture.curves import BT709_CURVE, LINEAR, SRGB_CURVE, Curve, ParametricCurve
from frontglass.picture.hdr_curves import HLG, PQ
from frontglass.picture.primaries import BT709, BT2020, P3_D65, Primaries

_PRIMARIES = {1: BT709, 9: BT2020, 12: P3_D65}
_CURVES: dict[int, Curve] = {
    **dict.fromkeys((1, 6, 14, 15), BT709_CURVE),
    4: ParametricCurve(2.2),
    5: ParametricCurve(2.8),
    8: LINEAR,
    13: SRGB_CURVE,
    16: PQ,
    18: HLG,
}


def colour_of(content: bytes) -> tuple[Primaries | None, Curve | None]:
    """Primaries and curve of a colour property of kind "nclx"; None where it says none."""
    if not content.startswith(b"nclx") or len(content) < 10:
        return None, None
    primaries, transfer = struct.unpack_from(">HH", content, 4)
    return _PRIMARIES.get(primaries), _CURVES.get(transfer)
