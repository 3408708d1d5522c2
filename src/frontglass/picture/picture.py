"""A still in linear light, with what is needed to write it back as it came."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import ParameterError
from frontglass.optics.camera import ShotData
from frontglass.picture.encoding import Encoding
from frontglass.picture.lamps_in_air import LampPlace
from frontglass.picture.primaries import BT709, Primaries

if TYPE_CHECKING:
    from typing import Self

FloatArray = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """Linear light of a still.

    Parameters
    ----------
    radiance : ndarray, shape (H, W, 3), float32
        Scene- or display-linear light per channel; 1 is diffuse white. Finite; may
        exceed 1; may be negative where a wide-gamut file says so.
    primaries : Primaries
        What the three channels mean.
    encoding : Encoding
        How the file held it; what `write_picture` goes by unless told otherwise.
    shot : ShotData
        What the file says of lens and sensor.
    distance_m : ndarray, shape (H, W), float32, or None
        Distance along the ray through each pixel [m]; inf is sky.
    recovered : ndarray, shape (H, W, 3), float32, or None
        Light that lamps send beyond what `radiance` could hold: it spreads in whatever stands
        before the lens, but is never shown itself. >= 0.
        Distance along the ray through each pixel [m], > 0; inf is sky.
    lamps : tuple of LampPlace or None
        Lamps pointed at by hand, which haze lets glow; None lets them be found.
    notices : tuple of str
        What was assumed or changed on the way in, one sentence each.

    Raises
    ------
    ParameterError
        If the arrays do not have these shapes and types.
    """

    radiance: FloatArray
    primaries: Primaries = BT709
    encoding: Encoding
    shot: ShotData = field(default_factory=ShotData)
    distance_m: FloatArray | None = None
    recovered: FloatArray | None = None
    lamps: tuple[LampPlace, ...] | None = None
    notices: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        light = self.radiance
        kind = str(getattr(light, "dtype", type(light).__name__))
        if kind != "float32":
            raise ParameterError(
                "radiance", "a float32 array", kind, "Decode to linear light first."
            )
        if light.ndim != 3 or light.shape[2] != 3 or light.size == 0:
            raise ParameterError("radiance", "of shape (H, W, 3)", light.shape)
        if self.distance_m is not None and self.distance_m.shape != light.shape[:2]:
            raise ParameterError("distance_m", f"of shape {light.shape[:2]}", self.distance_m.shape)
        if self.recovered is not None and self.recovered.shape != light.shape:
            raise ParameterError("recovered", f"of shape {light.shape}", self.recovered.shape)

    @property
    def height_px(self) -> int:
        """Rows."""
        return int(self.radiance.shape[0])

    @property
    def width_px(self) -> int:
        """Columns."""
        return int(self.radiance.shape[1])

    def with_radiance(self, radiance: FloatArray) -> Self:
        """Return the same picture with other light of the same shape."""
        return replace(self, radiance=radiance)
