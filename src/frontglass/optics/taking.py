"""The taking lens: what the film will be shot with, and how much of a wider still it sees."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from frontglass.checks import check_positive
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera, f_number_from_text
from frontglass.optics.sensors import NUMBER, SENSORS_MM, number, sensor_mm_from_text, sensor_named
from frontglass.units import deg_from_rad

RULE = "a lens and a sensor, such as 50mm,super35,2.39 or 50mm,full-frame,T2.8,16:9"
FLATTEST, TALLEST = 4.0, 0.25
STRONGEST_SQUEEZE = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TakingLens:
    """What the film will be shot with.

    Parameters
    ----------
    focal_length_mm : float
        Focal length; of an anamorphic lens that of its height. [mm], > 0.
    sensor_mm : tuple of float
        Width and height of the image area. [mm], > 0.
    aspect : float or None
        Shape of the frame that is taken of it, width over height, after unsqueezing; None takes
        all of it.
    f_number : float or None
        Stop; None leaves it open.
    squeeze : float
        How much narrower an anamorphic lens makes the picture. [1], 1 to 2.
    text : str
        How it was said.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Notes
    -----
    A squeezed image area counts as that much wider. The pupil is taken as round.

    Examples
    --------
    >>> import frontglass as fg
    >>> taking = fg.TakingLens.from_text("50mm,super35,2.39")
    >>> [round(side, 2) for side in taking.frame_mm], round(taking.field_deg[0])
    ([24.89, 10.41], 28)
    """

    focal_length_mm: float
    sensor_mm: tuple[float, float]
    aspect: float | None = None
    f_number: float | None = None
    squeeze: float = 1.0
    text: str = ""

    def __post_init__(self) -> None:
        check_positive("focal_length_mm", self.focal_length_mm)
        for side in self.sensor_mm:
            check_positive("sensor_mm", side)
        if self.f_number is not None:
            check_positive("f_number", self.f_number)
        if self.aspect is not None and not TALLEST <= self.aspect <= FLATTEST:
            raise ParameterError("aspect", f"from {TALLEST:g} to {FLATTEST:g}", self.aspect)
        if not 1 <= self.squeeze <= STRONGEST_SQUEEZE:
            raise ParameterError("squeeze", f"from 1 to {STRONGEST_SQUEEZE:g}", self.squeeze)

    @classmethod
    def from_text(cls, text: str) -> TakingLens:
        """Return the taking lens of "50mm,super35,2.39" or "40mm,super35,T2,2x,2.39".

        The lens comes first; then, in any order, sensor, shape of the frame, stop and squeeze.

        Raises
        ------
        ParameterError
            If a part is not understood, said twice, or lens or sensor are missing.
        """
        first, *rest = (part.strip() for part in text.split(","))
        lens = re.fullmatch(r"([0-9]+(?:\.[0-9]*)?)\s*(?:mm)?", first, re.IGNORECASE)
        if lens is None:
            raise ParameterError("as", RULE, text, f"{first!r} is no focal length.")
        found: dict[str, object] = {}
        for part in rest:
            name, value = _part(part, text)
            if name in found:
                hint = f"{part!r} says it a second time; decimals have a point: 2.39."
                raise ParameterError("as", f"with one {_SAID[name]}", text, hint)
            found[name] = value
        if "sensor_mm" not in found:
            hint = f"Name the sensor: {', '.join(SENSORS_MM)}, or its size such as 24.9x14."
            raise ParameterError("as", RULE, text, hint)
        try:
            return cls(focal_length_mm=float(lens[1]), text=text, **found)  # type: ignore[arg-type]
        except ParameterError as error:
            raise ParameterError("as", RULE, text, f"{error}") from None

    @property
    def frame_mm(self) -> tuple[float, float]:
        """Width and height of the frame, as an unsqueezed lens of this length shows it [mm]."""
        width, height = self.sensor_mm[0] * self.squeeze, self.sensor_mm[1]
        if self.aspect is None:
            return width, height
        across = min(width, height * self.aspect)
        return across, across / self.aspect

    @property
    def field_deg(self) -> tuple[float, float]:
        """Field across and down [degree]."""
        across, down = (_field_deg(side, self.focal_length_mm) for side in self.frame_mm)
        return across, down

    def camera(self, *, f_number: float, filter_distance_mm: float, share: float = 1.0) -> Camera:
        """Camera of a picture `share` times as wide as the frame."""
        return Camera(
            focal_length_mm=self.focal_length_mm,
            f_number=f_number,
            sensor_width_mm=self.frame_mm[0] * share,
            filter_distance_mm=filter_distance_mm,
        )

    def size_in(self, still: Camera, size_px: tuple[int, int]) -> tuple[int, int]:
        """Width and height [px] of the frame in a still of `size_px` that `still` took.

        Raises
        ------
        ParameterError
            If the still is not that wide: the widest lens that fits is named.

        Notes
        -----
        Both pictures keep lines straight: a length on the image is the focal length times the
        tangent of the angle.
        """
        focal_px = still.px_per_rad(size_px[0])
        wanted = [focal_px * side / self.focal_length_mm for side in self.frame_mm]
        if any(need > have + 0.5 for need, have in zip(wanted, size_px, strict=True)):
            raise self._too_wide(focal_px, size_px)
        across, down = (max(1, round(side)) for side in wanted)
        return min(across, size_px[0]), min(down, size_px[1])

    def _too_wide(self, focal_px: float, size_px: tuple[int, int]) -> ParameterError:
        sides = zip(self.frame_mm, size_px, strict=True)
        widest = focal_px * max(side / have for side, have in sides)
        has = " by ".join(f"{_field_deg(side, focal_px):.1f}" for side in size_px)
        needs = " by ".join(f"{field:.1f}" for field in self.field_deg)
        hint = (
            f"It needs {needs} degrees and the still has {has}. The widest lens that fits this"
            f" frame is {math.ceil(10 * widest) / 10:g} mm."
        )
        return ParameterError("as", "within what the still shows", str(self), hint)

    def __str__(self) -> str:
        return self.text or f"{self.focal_length_mm:g}mm"


_SAID = {
    "sensor_mm": "sensor",
    "aspect": "shape of the frame",
    "f_number": "stop",
    "squeeze": "squeeze",
}


def _part(part: str, text: str) -> tuple[str, object]:
    """Return which part of a taking lens a text is, and what it says."""
    if re.fullmatch(rf"[ft]\s*/?\s*(?:{NUMBER})", part, re.IGNORECASE):
        return "f_number", f_number_from_text(part)
    squeeze = re.fullmatch(rf"(?:anamorphic\s*)?({NUMBER})\s*[x\u00d7](?:\s*anamorphic)?", part)
    if squeeze is not None:
        return "squeeze", number(squeeze[1])
    shape = re.fullmatch(rf"({NUMBER})\s*(?::\s*({NUMBER}))?", part)
    if shape is not None and sensor_named(part) is None:
        down = number(shape[2]) if shape[2] else 1.0
        return "aspect", number(shape[1]) / down if down else math.inf
    if sensor_named(part) is None and not re.fullmatch(r"[0-9.,mx\u00d7 ]+", part, re.IGNORECASE):
        hint = f"{part!r} is no sensor ({', '.join(SENSORS_MM)}), frame (2.39), stop or squeeze."
        raise ParameterError("as", RULE, text, hint)
    return "sensor_mm", sensor_mm_from_text(part)


def _field_deg(side: float, focal: float) -> float:
    return deg_from_rad(2 * math.atan(side / (2 * focal)))
