"""What a format's writer is given: codes ready to be stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from frontglass.optics.camera import ShotData
from frontglass.picture.encoding import Alpha, Codes, Metadata, Native
from frontglass.picture.primaries import Primaries

if TYPE_CHECKING:
    from frontglass.files.png import Chunk


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outgoing:
    """Codes and what is stored beside them.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 1) or (H, W, 3)
        Grey or RGB codes in the sample type to be stored.
    alpha, native : Alpha or None, Native or None
        Coverage, in the type of `codes`; codes to be stored in place of `codes`.
    metadata : Metadata
        Profile, EXIF, XMP, resolution.
    primaries : Primaries
        What the channels of `codes` mean.
    shot : ShotData
        Lens and sensor.
    carried : mapping
        What the same container's reader left in `Encoding.carried`; empty for others.
    """

    codes: Codes
    alpha: Alpha | None = None
    native: Native | None = None
    metadata: Metadata = field(default_factory=Metadata)
    primaries: Primaries
    shot: ShotData = field(default_factory=ShotData)
    carried: Mapping[str, Any] = field(default_factory=dict)

    @property
    def colour_chunks(self) -> tuple[Chunk, ...]:
        """PNG chunks that say what the codes mean."""
        return tuple(self.carried.get("png_colour", ()))

    @property
    def text_chunks(self) -> tuple[Chunk, ...]:
        """PNG text chunks."""
        return tuple(self.carried.get("png_text", ()))
