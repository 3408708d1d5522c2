"""The camera: the one place where angles meet pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

from frontglass.checks import check_positive
from frontglass.errors import ParameterError
from frontglass.optics.sensors import number_from_text, sensor_mm_from_text
from frontglass.units import deg_from_rad

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)
ASSUMED_FIELD_DEG = 40.0
ASSUMED_F_NUMBER = 2.8
ASSUMED_FILTER_DISTANCE_MM = 80.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotData:
    """What a file says of the lens and the sensor; any of it may be missing.

    Parameters
    ----------
    focal_length_mm, focal_length_35mm, f_number, sensor_width_mm : float or None
        Focal length, its 35 mm equivalent by diagonal, f-number, and the long side
        of the sensor's image area. [mm], [mm], [1], [mm], > 0.
    exposure_stops : float or None
        Exposure against 1 s at f/1 and ISO 100. [stop]
    exposure_time_s, iso : float or None
        What it came of, beside the stop. [s], [1], > 0.
    focus_m : float or None
        What was in focus; infinity is far away. [m], > 0.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.ShotData(focal_length_mm=35.0).focal_length_mm
    35.0
    """

    focal_length_mm: float | None = None
    focal_length_35mm: float | None = None
    f_number: float | None = None
    sensor_width_mm: float | None = None
    exposure_stops: float | None = None
    exposure_time_s: float | None = None
    iso: float | None = None
    focus_m: float | None = None

    def exposed(self) -> ShotData:
        """Return the same with its exposure, where time, stop and speed tell it.

        Notes
        -----
        The camera's share of the exposure equation of [ISO2721]: time times ISO over f-number
        squared.
        """
        if self.exposure_time_s is None or self.f_number is None or self.iso is None:
            return self
        stops = math.log2(self.exposure_time_s * self.iso / 100 / self.f_number**2)
        return replace(self, exposure_stops=stops)


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Lens, stop and sensor, as far as they decide where deviated light lands.

    Parameters
    ----------
    focal_length_mm : float
        Focal length, lens focused far away. [mm], > 0.
    f_number : float
        Focal length over entrance pupil. [1], > 0.
    sensor_width_mm : float
        Width of the sensor area that the picture's width shows. [mm], > 0.
    filter_distance_mm : float
        From the filter to the entrance pupil. [mm], > 0.
    focus_m : float or None
        What the lens is focused on, from the entrance pupil; infinity is far away. None if nobody
        knows, which is taken for that. [m], farther than the filter.

    Raises
    ------
    ParameterError
        If a value is not > 0, or the focus is nearer than the filter.

    Examples
    --------
    >>> import frontglass as fg
    >>> camera = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.9)
    >>> round(camera.horizontal_field_deg, 1), round(camera.px_per_deg(1920), 1)
    (28.0, 67.3)
    """

    focal_length_mm: float
    f_number: float = ASSUMED_F_NUMBER
    sensor_width_mm: float
    filter_distance_mm: float = ASSUMED_FILTER_DISTANCE_MM
    focus_m: float | None = None

    def __post_init__(self) -> None:
        for name in ("focal_length_mm", "f_number", "sensor_width_mm", "filter_distance_mm"):
            check_positive(name, getattr(self, name))
        if self.focus_m is not None and not 1000 * self.focus_m > self.filter_distance_mm:
            rule = f"farther than the filter, {self.filter_distance_mm / 1000:g} m from the pupil"
            raise ParameterError("focus_m", rule, self.focus_m)

    @classmethod
    def from_field(cls, field_deg: float, *, f_number: float = ASSUMED_F_NUMBER) -> Camera:
        """Camera with a horizontal field of `field_deg` [degree] on 36 mm."""
        if not 0 < field_deg < 180:
            raise ParameterError("field_deg", "in (0, 180)", field_deg)
        focal = 18.0 / math.tan(math.radians(field_deg) / 2)
        return cls(focal_length_mm=focal, f_number=f_number, sensor_width_mm=36.0)

    @property
    def entrance_pupil_mm(self) -> float:
        """Diameter of the entrance pupil [mm]."""
        return self.focal_length_mm / self.f_number

    @property
    def horizontal_field_deg(self) -> float:
        """Angle that the picture's width spans [degree]."""
        return deg_from_rad(2 * math.atan(self.sensor_width_mm / (2 * self.focal_length_mm)))

    def px_per_rad(self, width_px: int) -> float:
        """Pixels per radian at the middle of a picture `width_px` wide."""
        return self.focal_length_mm * width_px / self.sensor_width_mm

    def px_per_deg(self, width_px: int) -> float:
        """Pixels per degree at the middle of a picture `width_px` wide."""
        return math.radians(self.px_per_rad(width_px))

    def rad_per_px(self, width_px: int) -> float:
        """Radians per pixel at the middle of a picture `width_px` wide."""
        return 1.0 / self.px_per_rad(width_px)


class CameraChoice(NamedTuple):
    """A camera, and what had to be assumed to know it."""

    camera: Camera
    notices: tuple[str, ...]


def choose_camera(
    shot: ShotData,
    *,
    width_px: int,
    height_px: int,
    lens_mm: float | None = None,
    f_number: float | None = None,
    sensor: str | None = None,
    filter_distance_mm: float | None = None,
    focus_m: float | None = None,
) -> CameraChoice:
    """Camera of a still: what is given, else what its file says, else an assumption.

    Parameters
    ----------
    shot : ShotData
        What the file says.
    width_px, height_px : int
        Size of the picture as it is seen. [px], > 0.
    lens_mm, f_number, filter_distance_mm, focus_m : float, optional
        As for `Camera`; each wins over the file.
    sensor : str, optional
        Name in `sensors.SENSORS_MM`, or width x height in mm such as "24.9x18.7". Its long side
        lies along the long side of the picture, which fills as much of it as its shape
        allows.

    Returns
    -------
    CameraChoice
        The camera, and one sentence for whatever had to be assumed.

    Raises
    ------
    ParameterError
        If a value is not > 0, or the sensor is unknown.

    Examples
    --------
    >>> import frontglass as fg
    >>> choice = fg.choose_camera(fg.ShotData(), width_px=1920, height_px=1080, lens_mm=50)
    >>> choice.camera.focal_length_mm, len(choice.notices)
    (50.0, 1)
    """
    check_positive("width_px", width_px)
    check_positive("height_px", height_px)
    frame = _Frame(width_px, height_px)
    assumed: list[str] = []
    size = None if sensor is None else sensor_mm_from_text(sensor)
    focal, sensor_width = _lens_and_sensor(shot, frame, lens_mm, size, assumed)
    stop = _stop(shot, f_number, assumed)
    distance = ASSUMED_FILTER_DISTANCE_MM if filter_distance_mm is None else filter_distance_mm
    camera = Camera(
        focal_length_mm=focal,
        f_number=stop,
        sensor_width_mm=sensor_width,
        filter_distance_mm=distance,
        focus_m=focus_of(shot, focus_m, distance),
    )
    notes = (f"The camera is not fully known: assumed {_listed(assumed)}.",) if assumed else ()
    return CameraChoice(camera, notes)


def lens_mm_from_text(text: str) -> float:
    """Focal length [mm] from text such as "50mm" or "50".

    Raises
    ------
    ParameterError
        If it is no such text.
    """
    return number_from_text("lens", text, r"({})\s*(?:mm)?", "a focal length in mm such as 50mm")


def f_number_from_text(text: str) -> float:
    """F-number from text such as "f/2.8", "2.8" or "T2.8".

    A T-number is taken as it stands: the f-number of a lens is smaller by what its glass takes, a
    tenth to a third of a stop.

    Raises
    ------
    ParameterError
        If it is no such text.
    """
    return number_from_text(
        "stop", text, r"(?:[ft]\s*/?\s*)?({})", "an f-number such as 2.8, f/2.8 or T2.8"
    )


def filter_distance_mm_from_text(text: str) -> float:
    """Distance from filter to entrance pupil [mm] from text such as "80mm" or "80".

    Raises
    ------
    ParameterError
        If it is no such text.
    """
    rule = "a distance in mm such as 80mm"
    return number_from_text("filter distance", text, r"({})\s*(?:mm)?", rule)


def focus_m_from_text(text: str) -> float:
    """Focus distance [m] from text such as "3m", "3" or "inf".

    Raises
    ------
    ParameterError
        If it is no such text.
    """
    if text.strip().lower() in {"inf", "infinity"}:
        return math.inf
    return number_from_text("focus", text, r"({})\s*m?", "a distance such as 3m or inf")


def focus_of(shot: ShotData, focus_m: float | None, filter_distance_mm: float) -> float | None:
    """Return what a lens is focused on [m]: as given, else as the file says, if it says so."""
    if focus_m is not None:
        return focus_m
    # Files hold rounded distances, 0 for a close-up among them.
    said = shot.focus_m
    return said if said is not None and 1000 * said > filter_distance_mm else None


class _Frame(NamedTuple):
    """A picture's size, as it bears on sensors [px]."""

    width_px: int
    height_px: int

    @property
    def diagonal_px(self) -> float:
        return math.hypot(self.width_px, self.height_px)

    def focal_px(self, equivalent_mm: float) -> float:
        """Focal length [px] of a 35 mm equivalent [mm], which goes by the diagonal.

        References
        ----------
        [CIPA-DCG-001].
        """
        return equivalent_mm * self.diagonal_px / FULL_FRAME_DIAGONAL_MM

    def width_on(self, long_mm: float, short_mm: float = math.inf) -> float:
        """Width of the part of a sensor that the picture shows [mm]."""
        long_px, short_px = max(self), min(self)
        long_shown_mm = min(long_mm, short_mm * long_px / short_px)
        return long_shown_mm * self.width_px / long_px


def _lens_and_sensor(
    shot: ShotData,
    frame: _Frame,
    lens_mm: float | None,
    size_mm: tuple[float, float] | None,
    assumed: list[str],
) -> tuple[float, float]:
    """Focal length and the sensor width that the picture shows [mm]; adds to `assumed`."""
    shot_focal, equivalent = known(shot.focal_length_mm), known(shot.focal_length_35mm)
    focal = shot_focal if lens_mm is None else check_positive("lens_mm", lens_mm)
    width = _sensor_width(shot, frame, size_mm)
    if focal is not None:
        if width is None:
            assumed.append("a full-frame sensor (give the sensor, such as super35 or 24.9x18.7)")
            width = frame.width_on(36.0, 24.0)
        return focal, width
    if equivalent is not None:
        if width is None:
            assumed.append(
                f"a full-frame sensor behind the {equivalent:g} mm equivalent that the file names"
                " (the field is right; give lens and sensor for the right pupil)"
            )
            width = frame.width_px * FULL_FRAME_DIAGONAL_MM / frame.diagonal_px
        return frame.focal_px(equivalent) * width / frame.width_px, width
    assumed.append(
        f"a field of {ASSUMED_FIELD_DEG:g} degrees along the long side"
        " (give the lens, such as 50mm, and the sensor, such as super35)"
    )
    if width is None:
        width = frame.width_on(36.0, 24.0)
    long_mm = width * max(frame) / frame.width_px
    return long_mm / 2 / math.tan(math.radians(ASSUMED_FIELD_DEG) / 2), width


def _stop(shot: ShotData, f_number: float | None, assumed: list[str]) -> float:
    """F-number [1]; adds to `assumed`."""
    stop = f_number if f_number is not None else known(shot.f_number)
    if stop is None:
        assumed.append(f"f/{ASSUMED_F_NUMBER:g}")
        return ASSUMED_F_NUMBER
    return stop


def _sensor_width(
    shot: ShotData, frame: _Frame, size_mm: tuple[float, float] | None
) -> float | None:
    """Sensor width that the picture shows [mm], if it can be known."""
    if size_mm is not None:
        return frame.width_on(max(size_mm), min(size_mm))
    focal, equivalent = known(shot.focal_length_mm), known(shot.focal_length_35mm)
    if focal is not None and equivalent is not None:
        return frame.width_px * focal / frame.focal_px(equivalent)
    long_mm = known(shot.sensor_width_mm)
    return None if long_mm is None else frame.width_on(long_mm)


def known(value: float | None) -> float | None:
    """Return a number that a file says, if it says one."""
    # Exif writes 0 for "unknown", and broken writers leave infinities from n/0.
    return value if value is not None and 0 < value < math.inf else None


def _listed(items: list[str]) -> str:
    """Join items as prose does."""
    return " and ".join(filter(None, (", ".join(items[:-1]), items[-1])))
