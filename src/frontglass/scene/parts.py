"""The parts of a scene: cameras, stills with their marks, choices."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from frontglass.checks import (
    check_bool,
    check_line,
    check_not_negative,
    check_number,
    check_positive,
    check_within,
)
from frontglass.elements.plate import returns_from_text, tilt_from_text
from frontglass.errors import ParameterError
from frontglass.files.distance import DistanceKind
from frontglass.looks.catalogue import name_and_strength
from frontglass.looks.rig import Rig
from frontglass.optics.camera import (
    f_number_from_text,
    filter_distance_mm_from_text,
    focus_m_from_text,
    lens_mm_from_text,
)
from frontglass.optics.sensors import sensor_mm_from_text
from frontglass.optics.taking import TakingLens
from frontglass.picture.lamp_kinds import kind_named
from frontglass.picture.marks import place_from_text
from frontglass.picture.recovery import OFF, Recovery
from frontglass.picture.room import Room
from frontglass.pipeline.recipe import AUTO_EXPOSURE
from frontglass.scene.fields import (
    Check,
    check_differ,
    check_fields,
    check_inside,
    checked_file,
    checked_rectangle,
    checked_size,
    checked_text,
    in_file,
    required,
)
from frontglass.scene.marks import SceneDistance, SceneLamp, SceneWatch

MOST_STOPS = 40.0


def _option(from_text: Callable[[str], object], number: Check = check_positive) -> Check:
    """Check of the text that an option takes; a number that passes `number` stands for its text."""

    def checked(key: str, value: Any) -> str:
        text = f"{number(key, value):g}" if isinstance(value, int | float) else value
        from_text(check_line(key, text))
        return str(text)

    return checked


def _pair(from_text: Callable[[str], object], number: Check = check_positive) -> Check:
    """Check as `_option` has it; two numbers may stand for the text."""
    option = _option(from_text, number)

    def checked(key: str, value: Any) -> str:
        if isinstance(value, tuple | list):
            value = ",".join(f"{check_number(key, part):g}" for part in value)
        return str(option(key, value))

    return checked


def _metres(key: str, value: Any) -> float:
    return math.inf if value == math.inf else check_positive(key, value)


def _place(text: str) -> object:
    return place_from_text("aim", text)


_LENS, _STOP = _option(lens_mm_from_text), _option(f_number_from_text)
_SENSOR = _option(sensor_mm_from_text, check_line)
_TAKING = _option(TakingLens.from_text, check_line)
_FILTER_DISTANCE = _option(filter_distance_mm_from_text)
_FOCUS = _option(focus_m_from_text, _metres)
_AIM, _TILT = _pair(_place), _pair(tilt_from_text, check_number)
_RETURNS = _option(returns_from_text, check_not_negative)


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneCamera:
    """What the scene will be taken with; each is what the option of that name takes.

    Parameters
    ----------
    taking : str or None
        Taking lens, sensor and shape of the frame, `as` in the file: "50mm,super35,2.39".
    lens, stop, sensor, filter_distance, focus : str or None
        As --lens, --stop, --sensor, --filter-distance and --focus take them: what all stills are
        seen with.
    aim : str or None
        Where the taking lens points.
    tilt, returns : str or None
        As --tilt and --returns take them: how glass before the lens leans, what comes back to it.
    coated, hood : bool or None
        Whether that glass is coated, and whether a hood is on.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.SceneCamera(lens="50mm", sensor="super35", tilt=[5, 0]).tilt
    '5,0'
    """

    taking: str | None = in_file("as", _TAKING)
    lens: str | None = in_file("lens", _LENS)
    stop: str | None = in_file("stop", _STOP)
    sensor: str | None = in_file("sensor", _SENSOR)
    filter_distance: str | None = in_file("filter_distance", _FILTER_DISTANCE)
    focus: str | None = in_file("focus", _FOCUS)
    aim: str | None = in_file("aim", _AIM)
    tilt: str | None = in_file("tilt", _TILT)
    coated: bool | None = in_file("coated", check_bool)
    returns: str | None = in_file("returns", _RETURNS)
    hood: bool | None = in_file("hood", check_bool)

    def __post_init__(self) -> None:
        check_fields(self)

    @property
    def rig(self) -> Rig:
        """How glass stands before the lens."""
        return Rig.from_texts(
            tilt=self.tilt, coated=self.coated, returns=self.returns, hood=self.hood
        )


def _checked_hash(key: str, value: object) -> object:
    if not re.fullmatch("[0-9a-f]{64}", str(value)):
        raise ParameterError(key, "the SHA-256 of the file, 64 letters", value)
    return value


def _checked_others(key: str, value: Any) -> Any:
    """Return a kind of lamp, stops above white, or "off"."""
    del key  # what is wrong names what it is
    if isinstance(value, str) and value != OFF:
        kind_named(value)
    else:
        Recovery(clipped=value)
    return value


def _checked_exposure(key: str, value: object) -> object:
    if value != AUTO_EXPOSURE:
        check_within(key, value, -MOST_STOPS, MOST_STOPS)
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneStill:
    """What is known of one still.

    Parameters
    ----------
    file : str
        Its path from the scene's folder, with forward slashes.
    sha256 : str or None
        SHA-256 of its file, in hexadecimal; tells whether it has changed, and finds it again.
    size_px : (int, int) or None
        Width and height as it is seen; marks must lie inside. [px]
    white_cd_per_m2 : float or None
        Luminance of white. [cd/m2], > 0.
    others : str, float or None
        What all clipped lamps are that have no mark of their own, `lamps` in the file: a kind,
        stops above white, or "off".
    exposure_stops : float, "auto" or None
        How much brighter it is shown. [stop]
    room : str or None
        The room, as --room takes it.
    map : str or None
        Its distance map, a path from the scene's folder.
    map_scale_m : float or None
        What one number of the map is worth. [m]
    map_kind : "ray", "depth" or None
        What its numbers are.
    crop_px : (int, int, int, int) or None
        What of it is shown on boards: left and upper pixel, width and height. [px]
    note : str or None
        Anything.
    encoding : str or None
        What its codes are, as --encoding takes it; wins over the scene's.
    taking, aim, lens, stop, sensor, filter_distance, focus : str or None
        As in `SceneCamera`, for this still alone; they win over the scene's.
    lamps, distances, watched : tuple
        Its lamps, known distances and watched parts.

    Raises
    ------
    ParameterError
        If a value is out of its range, a mark lies outside the frame, or two are at one place.

    Examples
    --------
    >>> import frontglass as fg
    >>> lamp = fg.SceneLamp(at_px=(147, 415), kind="globe")
    >>> fg.SceneStill(file="night1.jpg", white_cd_per_m2=20, lamps=(lamp,)).file
    'night1.jpg'
    """

    file: str = required("file", checked_file)
    sha256: str | None = in_file("hash", _checked_hash)
    size_px: tuple[int, int] | None = in_file("size", checked_size)
    white_cd_per_m2: float | None = in_file("white", check_positive)
    others: str | float | None = in_file("lamps", _checked_others)
    exposure_stops: float | str | None = in_file("exposure", _checked_exposure)
    room: str | None = in_file("room", _option(Room.from_text, check_line))
    map: str | None = in_file("map", checked_file)
    map_scale_m: float | None = in_file("map_scale", check_positive)
    map_kind: str | None = in_file("map_is", DistanceKind.of)
    crop_px: tuple[int, int, int, int] | None = in_file("crop", checked_rectangle)
    note: str | None = in_file("note", checked_text)
    encoding: str | None = in_file("encoding", check_line)
    taking: str | None = in_file("as", _TAKING)
    lens: str | None = in_file("lens", _LENS)
    stop: str | None = in_file("stop", _STOP)
    sensor: str | None = in_file("sensor", _SENSOR)
    filter_distance: str | None = in_file("filter_distance", _FILTER_DISTANCE)
    focus: str | None = in_file("focus", _FOCUS)
    aim: str | None = in_file("aim", _AIM)
    lamps: tuple[SceneLamp, ...] = in_file("lamp", of=SceneLamp, default=())
    distances: tuple[SceneDistance, ...] = in_file("distance", of=SceneDistance, default=())
    watched: tuple[SceneWatch, ...] = in_file("watch", of=SceneWatch, default=())

    def __post_init__(self) -> None:
        check_fields(self)
        if self.map is not None and (self.room is not None or self.distances):
            hint = "A map says how far everything is; leave out the room and distances."
            raise ParameterError("map", "given alone", self.map, hint)
        if self.crop_px is not None:
            check_inside("crop", self.crop_px, self.size_px)
        for what, places in (("lamp", self.lamps), ("distance", self.distances)):
            for one in places:
                check_inside(f"{what} at", one.at_px, self.size_px)
            check_differ(f"{what} at", [list(one.at_px) for one in places])
        for part in self.watched:
            check_inside(f"watch {part.name}", part.region_px, self.size_px)
        check_differ("watch name", [one.name for one in self.watched])


def _checked_looks(key: str, value: Any) -> tuple[str, ...]:
    """Return texts that can be looks with a strength; there may be no such look."""
    looks = (value,) if isinstance(value, str) else value
    if not isinstance(looks, tuple | list) or not looks:
        raise ParameterError(key, 'one look at least, such as ["harbour-night:1/4"]', looks)
    for text in looks:
        name_and_strength(check_line(key, text))
    return tuple(looks)


def _checked_stills(key: str, value: Any) -> tuple[str, ...]:
    stills = (value,) if isinstance(value, str) else value
    if not isinstance(stills, tuple | list):
        raise ParameterError(key, "a still, or a list of stills", stills)
    check_differ(key, stills)
    return tuple(checked_file(key, still) for still in stills)


def _checked_hearts(key: str, value: Any) -> Any:
    if check_not_negative(key, value) != int(value):
        raise ParameterError(key, "a whole number", value)
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneChoice:
    """What was chosen: a look, or several in a stack, each at its strength.

    Parameters
    ----------
    looks : tuple of str
        As --look takes them, "harbour-night:1/4"; several are a stack, the first one outermost.
        A look's file is a path from the scene's folder.
    stills : tuple of str
        Stills it is for, as the scene names them; none is all of them.
    why : str or None
        What speaks for it.
    hearts : int or None
        How much it is liked. >= 0.
    name : str or None
        What to call it.

    Examples
    --------
    >>> import frontglass as fg
    >>> str(fg.SceneChoice(looks=("late-tram:1/2", "powder-room:1/2"), hearts=2))
    'late-tram:1/2+powder-room:1/2'
    """

    looks: tuple[str, ...] = required("looks", _checked_looks)
    stills: tuple[str, ...] = in_file("still", _checked_stills, default=())
    why: str | None = in_file("why", checked_text)
    hearts: int | None = in_file("hearts", _checked_hearts)
    name: str | None = in_file("name", checked_text)

    def __post_init__(self) -> None:
        check_fields(self)

    def __str__(self) -> str:
        return "+".join(self.looks)
