"""What a format's reader hands over, and what its writer is given."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from frontglass.optics.camera import ShotData
from frontglass.picture.curves import Curve
from frontglass.picture.encoding import Alpha, Codes, Container, Metadata, Native
from frontglass.picture.gain_map import GainMap
from frontglass.picture.own_depth import OwnDepth
from frontglass.picture.primaries import Primaries


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FileStill:
    """Codes of a file and what it says of them.

    Parameters
    ----------
    container : Container
        Format.
    codes : ndarray, shape (H, W, 1) or (H, W, 3)
        Grey or RGB codes, uint8, uint16, float16 or float32.
    alpha, native : Alpha or None, Native or None
        Coverage; the file's own codes where `codes` was made from them.
    metadata : Metadata
        Profile, EXIF, XMP, resolution.
    primaries, curves : Primaries or None, tuple of Curve or None
        What the format itself says of colour, where no profile does.
    orientation : int
        EXIF orientation still to be applied, 1 ... 8.
    shot : ShotData or None
        Lens and sensor, where the format itself has a place for them.
    bits : int or None
        Bits of a sample in the file, where `codes` stretches it to more.
    carried : mapping
        See `Encoding.carried`.
    gain_map : GainMap or None
        How much brighter than the picture the scene was.
    own_depth : OwnDepth or None
        How far everything is.
    top : float or None
        Light at which it clips, where codes do not tell.
    doubts : tuple of str
        What the decoder warned of.
    notices : tuple of str
        What was assumed or left out.
    """

    container: Container
    codes: Codes
    alpha: Alpha | None = None
    native: Native | None = None
    metadata: Metadata = field(default_factory=Metadata)
    primaries: Primaries | None = None
    curves: tuple[Curve, ...] | None = None
    orientation: int = 1
    shot: ShotData | None = None
    bits: int | None = None
    carried: Mapping[str, Any] = field(default_factory=dict)
    gain_map: GainMap | None = None
    own_depth: OwnDepth | None = None
    top: float | None = None
    doubts: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
