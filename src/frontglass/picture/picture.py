"""A still in linear light, with what is needed to write it back as it came."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frontglass.choices import PastWhite
from frontglass.errors import ParameterError
from frontglass.lit_pixels import LitPixels
from frontglass.optics.camera import ShotData
from frontglass.picture.arrays import light_of_array
from frontglass.picture.encoding import Encoding
from frontglass.picture.lamp_place import LampPlace
from frontglass.picture.non_finite import NonFinite, is_finite, spoilt_samples
from frontglass.picture.primaries import BT709, Primaries, primaries_of

if TYPE_CHECKING:
    from typing import Self

    from frontglass.picture.own_depth import OwnDepth
    from frontglass.picture.wider import Wider

FloatArray = NDArray[np.float32]


class Display(Protocol):
    """What a picture is looked at through."""

    def codes(self, light: FloatArray, primaries: Primaries) -> FloatArray:
        """Codes of a display for linear light, shape (H, W, 3), in [0, 1]."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """Linear light of a still.

    `read_picture` makes one of a file, `Picture.from_array` of any array.

    Parameters
    ----------
    radiance : ndarray, shape (H, W, 3), of floats
        Scene- or display-linear light per channel; 1 is diffuse white. Finite; may
        exceed 1; may be negative where a wide-gamut file says so. Held as float32 in rows: an
        array that is so already is not copied.
    primaries : Primaries
        What the three channels mean.
    encoding : Encoding
        How the file held it; what `write_picture` goes by unless told otherwise.
    shot : ShotData
        What the file says of lens and sensor.
    distance_m : ndarray, shape (H, W), of floats, or None
        Distance along the ray through each pixel [m], > 0; inf is sky.
    recovered : LitPixels or None
        Light that lamps send beyond what `radiance` could hold: it spreads in whatever stands
        before the lens, but is never shown itself. >= 0. An array of shape (H, W, 3) serves too.
    beyond : ndarray, shape (H, W, 3), of floats, or None
        Light that the file holds beyond `radiance`, as a gain map tells it: it spreads, and files
        of floats get it, while codes that end at white show the still as its makers did. Below 0
        where that is brighter than the scene was.
    lift : float
        How much brighter than that the file's own bright picture is all over, on displays that can
        show it. [1], > 0
    display : Display or None
        What it is looked at through, last of all: the show's LUT. None is the plain display.
    own_depth : OwnDepth or None
        Depth that the file holds; haze asks for it where `distance_m` is not known.
    lamps : tuple of LampPlace or None
        Lamps pointed at by hand, which haze lets glow; None lets them be found.
    past_white : "hue" or "clip"
        How light above white is shown where codes end there: paler and paler in its own hue, or
        every channel clipped by itself.
    notices : tuple of str
        What was assumed or changed on the way in, one sentence each.
    wider : Wider or None
        The still that this is a frame of: it is rendered whole, and cut afterwards.

    Raises
    ------
    ParameterError
        If the arrays do not have these shapes, types and values.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> wall = fg.Picture(radiance=np.full((4, 6, 3), 0.18))
    >>> wall.width_px, wall.height_px, wall.radiance.dtype.name
    (6, 4, 'float32')
    """

    radiance: FloatArray
    primaries: Primaries = BT709
    encoding: Encoding = field(default_factory=Encoding.linear)
    shot: ShotData = field(default_factory=ShotData)
    distance_m: FloatArray | None = None
    recovered: LitPixels | None = None
    beyond: FloatArray | None = None
    lift: float = 1.0
    display: Display | None = None
    own_depth: OwnDepth | None = None
    lamps: tuple[LampPlace, ...] | None = None
    past_white: PastWhite = PastWhite.HUE
    notices: tuple[str, ...] = ()
    wider: Wider | None = None

    def __post_init__(self) -> None:
        light = _single("radiance", self.radiance)
        if light.ndim != 3 or light.shape[2] != 3 or light.size == 0:
            raise ParameterError("radiance", "of shape (H, W, 3)", light.shape)
        if not is_finite(light):
            found, first = spoilt_samples(light)
            hint = "Picture.from_array mends such samples if told to."
            raise ParameterError("radiance", "finite", f"{found}, {first}", hint)
        object.__setattr__(self, "radiance", light)
        if self.distance_m is not None:
            distance = _of_shape("distance_m", self.distance_m, light.shape[:2])
            if not float(distance.min()) > 0:  # NaN is not either
                raise ParameterError("distance_m", "> 0", float(distance.min()))
            object.__setattr__(self, "distance_m", distance)
        if self.recovered is not None:
            object.__setattr__(self, "recovered", _lit("recovered", self.recovered, light.shape))
        if self.beyond is not None:
            beyond = _of_shape("beyond", self.beyond, light.shape)
            if not is_finite(beyond):
                raise ParameterError("beyond", "finite", "NaN or infinities")
            object.__setattr__(self, "beyond", beyond)
        object.__setattr__(self, "primaries", primaries_of(self.primaries))
        object.__setattr__(self, "past_white", PastWhite.of("past_white", self.past_white))

    @classmethod
    def from_array(
        cls,
        array: ArrayLike,
        *,
        primaries: Primaries | str = BT709,
        curve: str | None = None,
        white: float | None = None,
        non_finite: NonFinite | str = NonFinite.REFUSE,
    ) -> Self:
        """Picture of an array: floats are linear light, whole numbers are sRGB codes.

        Parameters
        ----------
        array : array_like, shape (H, W), (H, W, 1), (H, W, 3) or (H, W, 4)
            Grey, RGB, or RGB with straight alpha, which is carried and never touched. Floats and
            whole numbers of any size, in any memory order.
        primaries : Primaries or str
            What the channels mean: "bt709", "p3-d65", "bt2020", "oprgb", "romm", "ap0", "ap1".
        curve : "linear", "srgb" or None
            How numbers stand for light. None takes floats for linear light, and whole numbers for
            display codes with the curve of IEC 61966-2-1, as in JPEG and PNG files.
        white : float or None
            The number that is diffuse white. > 0; None is 1 for floats, 255 for uint8 and 65535
            for uint16. Other whole numbers do not tell: say 1023 for codes of 10 bits.
        non_finite : "refuse" or "mend"
            What to do with NaN and infinities, as in `read_picture`.

        Returns
        -------
        Picture
            `write_picture` holds it in the nearest thing to its type: codes in PNG of 8 or 16
            bits, floats in OpenEXR, unless the name of the file says otherwise. Linear float32
            RGB in rows is not copied.

        Raises
        ------
        ParameterError
            If the array is no picture, or a choice is unknown.

        Examples
        --------
        >>> import numpy as np, frontglass as fg
        >>> codes = np.full((2, 3, 3), 188, np.uint8)
        >>> round(float(fg.Picture.from_array(codes).radiance[0, 0, 0]), 3)
        0.503
        >>> ten_bits = np.full((2, 3), 512, np.uint16)
        >>> grey = fg.Picture.from_array(ten_bits, white=1023, curve="linear")
        >>> grey.radiance.shape, round(float(grey.radiance[0, 0, 0]), 3)
        ((2, 3, 3), 0.5)
        """
        light, encoding, notices = light_of_array(
            array, curve=curve, white=white, non_finite=non_finite
        )
        return cls(
            radiance=light,
            primaries=primaries_of(primaries),
            encoding=encoding,
            notices=notices,
        )

    @property
    def height_px(self) -> int:
        """Rows."""
        return int(self.radiance.shape[0])

    @property
    def width_px(self) -> int:
        """Columns."""
        return int(self.radiance.shape[1])

    @property
    def scene(self) -> FloatArray:
        """Light of the scene at the still's exposure: `radiance`, and what lies beyond."""
        return self.radiance if self.beyond is None else self.radiance + self.beyond

    @property
    def light(self) -> FloatArray:
        """The still with all the light that its file tells, as bright as the file wants it."""
        if self.beyond is None:
            return self.radiance
        return (self.radiance + self.beyond) * np.float32(self.lift)

    @property
    def with_lamps(self) -> FloatArray:
        """What the still shows, and what was recovered of its lamps."""
        lost = self.recovered
        return self.radiance if lost is None else lost.added_to(self.radiance.copy())

    @property
    def held_stops(self) -> float:
        """How far above white the brightest light is that the file tells [stop]."""
        rows = range(0, self.height_px, 64)
        most = max(
            float((self.radiance[at : at + 64] + _rows(self.beyond, at)).max()) for at in rows
        )
        return math.log2(max(most, 1.0))

    def brighter(self, factor: float) -> Self:
        """Return the same picture with all its light times a factor; it is no frame any more."""
        by = np.float32(factor)
        return replace(
            self,
            radiance=self.radiance * by,
            beyond=None if self.beyond is None else self.beyond * by,
            wider=None,
        )

    def but(self, **changes: Any) -> Self:
        """Return the same picture with other things beside its light, not checked once more.

        Looking through 24 megapixels for what is not finite takes half as long as copying them.
        """
        other = copy.copy(self)
        for name, value in changes.items():
            object.__setattr__(other, name, value)
        return other

    def with_radiance(self, radiance: FloatArray) -> Self:
        """Return the same picture with other light of the same shape; it is no frame any more."""
        return replace(self, radiance=radiance, wider=None)

    def _repr_png_(self) -> bytes:
        """Return what a notebook shows of it."""
        from frontglass.notebook import picture_png

        return picture_png(self)


def _rows(values: FloatArray | None, start: int) -> FloatArray | float:
    return 0.0 if values is None else values[start : start + 64]


def _lit(name: str, values: LitPixels | ArrayLike, shape: tuple[int, ...]) -> LitPixels:
    """Return light of a few pixels that is nowhere below 0."""
    if not isinstance(values, LitPixels):
        values = LitPixels.of(_of_shape(name, values, shape))
    if values.shape != shape:
        raise ParameterError(name, f"of shape {shape}", values.shape)
    lowest = float(values.light.min(initial=0))
    if not (lowest >= 0 and is_finite(values.light)):
        raise ParameterError(name, ">= 0 and finite", lowest)
    return values


def _single(name: str, values: ArrayLike) -> FloatArray:
    """Return floats in single precision and in rows; the array itself if it is so already."""
    array = np.asarray(values)
    if array.dtype.kind != "f":
        hint = "Picture.from_array decodes codes to linear light."
        raise ParameterError(name, "an array of floats", str(array.dtype), hint)
    with np.errstate(over="ignore"):  # what has become infinite is refused
        return np.ascontiguousarray(array, dtype=np.float32)


def _of_shape(name: str, values: ArrayLike, shape: tuple[int, ...]) -> FloatArray:
    array = _single(name, values)
    if array.shape != shape:
        raise ParameterError(name, f"of shape {shape}", array.shape)
    return array
