"""The parts of a scene: cameras, stills with their marks, choices."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from frontglass.checks import (
    check_bool,
    check_not_negative,
    check_number,
    check_positive,
    check_within,
)
from frontglass.elements.plate import returns_from_text, tilt_from_text
from frontglass.errors import ParameterError
from frontglass.files.distance import DistanceKind
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
    check_differ,
    check_inside,
    checked_file,
    checked_line,
    checked_rectangle,
    checked_text,
    checked_whole,
    in_file,
    required,
    set_usual,
)
from frontglass.scene.marks import SceneDistance, SceneLamp, SceneWatch
from frontglass.units import strength_from_text

MOST_STOPS = 40.0


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

    taking: str | None = in_file("as")
    lens: str | None = in_file("lens")
    stop: str | None = in_file("stop")
    sensor: str | None = in_file("sensor")
    filter_distance: str | None = in_file("filter_distance")
    focus: str | None = in_file("focus")
    aim: str | None = in_file("aim")
    tilt: str | None = in_file("tilt")
    coated: bool | None = in_file("coated")
    returns: str | None = in_file("returns")
    hood: bool | None = in_file("hood")

    def __post_init__(self) -> None:
        _check_camera(self)
        for name in ("coated", "hood"):
            if getattr(self, name) is not None:
                check_bool(name, getattr(self, name))
        _ = self.rig

    @property
    def rig(self) -> Rig:
        """How glass stands before the lens."""
        return Rig.from_texts(
            tilt=self.tilt, coated=self.coated, returns=self.returns, hood=self.hood
        )


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

    file: str = required("file")
    sha256: str | None = in_file("hash")
    size_px: tuple[int, int] | None = in_file("size")
    white_cd_per_m2: float | None = in_file("white")
    others: str | float | None = in_file("lamps")
    exposure_stops: float | str | None = in_file("exposure")
    room: str | None = in_file("room")
    map: str | None = in_file("map")
    map_scale_m: float | None = in_file("map_scale")
    map_kind: str | None = in_file("map_is")
    crop_px: tuple[int, int, int, int] | None = in_file("crop")
    note: str | None = in_file("note")
    encoding: str | None = in_file("encoding")
    taking: str | None = in_file("as")
    lens: str | None = in_file("lens")
    stop: str | None = in_file("stop")
    sensor: str | None = in_file("sensor")
    filter_distance: str | None = in_file("filter_distance")
    focus: str | None = in_file("focus")
    aim: str | None = in_file("aim")
    lamps: tuple[SceneLamp, ...] = in_file("lamp", of=SceneLamp, default=())
    distances: tuple[SceneDistance, ...] = in_file("distance", of=SceneDistance, default=())
    watched: tuple[SceneWatch, ...] = in_file("watch", of=SceneWatch, default=())

    def __post_init__(self) -> None:
        checked_file("file", self.file)
        if self.sha256 is not None and not re.fullmatch("[0-9a-f]{64}", str(self.sha256)):
            raise ParameterError("hash", "the SHA-256 of the file, 64 letters", self.sha256)
        _check_camera(self)
        self._check_light()
        self._check_space()
        if self.note is not None:
            checked_text("note", self.note)
        if self.encoding is not None:
            checked_line("encoding", self.encoding)
        self._check_frame()

    def _check_light(self) -> None:
        if self.white_cd_per_m2 is not None:
            check_positive("white", self.white_cd_per_m2)
        if self.others is not None:
            if isinstance(self.others, str) and self.others != OFF:
                kind_named(self.others)
            else:
                Recovery(clipped=self.others)
        if self.exposure_stops is not None and self.exposure_stops != AUTO_EXPOSURE:
            check_within("exposure", self.exposure_stops, -MOST_STOPS, MOST_STOPS)

    def _check_space(self) -> None:
        if self.room is not None:
            Room.from_text(checked_line("room", self.room))
        if self.map is not None:
            checked_file("map", self.map)
            if self.room is not None or self.distances:
                hint = "A map says how far everything is; leave out the room and distances."
                raise ParameterError("map", "given alone", self.map, hint)
        if self.map_scale_m is not None:
            check_positive("map_scale", self.map_scale_m)
        if self.map_kind is not None:
            DistanceKind.of("map_is", self.map_kind)

    def _check_frame(self) -> None:
        if self.size_px is not None:
            set_usual(self, size_px=checked_whole("size", self.size_px, 2, "[4032, 3024]"))
        if self.crop_px is not None:
            set_usual(self, crop_px=checked_rectangle("crop", self.crop_px))
            check_inside("crop", self.crop_px, self.size_px)
        for what, places in (("lamp", self.lamps), ("distance", self.distances)):
            for one in places:
                check_inside(f"{what} at", one.at_px, self.size_px)
            check_differ(f"{what} at", [list(one.at_px) for one in places])
        for part in self.watched:
            check_inside(f"watch {part.name}", part.region_px, self.size_px)
        check_differ("watch name", [one.name for one in self.watched])


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

    looks: tuple[str, ...] = required("looks")
    stills: tuple[str, ...] = in_file("still", default=())
    why: str | None = in_file("why")
    hearts: int | None = in_file("hearts")
    name: str | None = in_file("name")

    def __post_init__(self) -> None:
        looks, stills = _listed(self.looks), _listed(self.stills)
        if not isinstance(looks, tuple | list) or not looks:
            raise ParameterError("looks", 'one look at least, such as ["harbour-night:1/4"]', looks)
        if not isinstance(stills, tuple | list):
            raise ParameterError("still", "a still, or a list of stills", stills)
        for look in looks:
            _check_look(look)
        set_usual(self, looks=tuple(looks), stills=tuple(checked_file("still", s) for s in stills))
        check_differ("still", self.stills)
        for name in ("why", "name"):
            if getattr(self, name) is not None:
                checked_text(name, getattr(self, name))
        if self.hearts is not None:
            check_not_negative("hearts", self.hearts)
            if self.hearts != int(self.hearts):
                raise ParameterError("hearts", "a whole number", self.hearts)

    def __str__(self) -> str:
        return "+".join(self.looks)


def _listed(value: object) -> Any:
    """Return one text as a list of it."""
    return (value,) if isinstance(value, str) else value


def _check_camera(part: SceneCamera | SceneStill) -> None:
    """Refuse what no option would take; numbers stand for their text."""
    checks: dict[str, Callable[[str], object]] = {
        "lens": lens_mm_from_text,
        "stop": f_number_from_text,
        "sensor": sensor_mm_from_text,
        "filter_distance": filter_distance_mm_from_text,
        "focus": focus_m_from_text,
        "taking": TakingLens.from_text,
        "aim": lambda text: place_from_text("aim", text),
        "tilt": tilt_from_text,
        "returns": returns_from_text,
    }
    for name, check in checks.items():
        value: Any = getattr(part, name, None)
        if value is None:
            continue
        if name in {"aim", "tilt"} and isinstance(value, tuple | list):
            value = ",".join(f"{check_number(name, number):g}" for number in value)
        elif name == "focus" and value == math.inf:
            value = "inf"
        elif name not in {"sensor", "taking"} and isinstance(value, int | float):
            checked = {"tilt": check_number, "returns": check_not_negative}
            value = f"{checked.get(name, check_positive)(name, value):g}"
        checked_line("as" if name == "taking" else name, value)
        check(value)
        set_usual(part, **{name: value})


def _check_look(text: object) -> None:
    """Refuse a text that can be no look with a strength; there may be no such look."""
    checked_line("looks", text)
    _, colon, strength = str(text).rpartition(":")
    if colon and not strength.startswith(("/", "\\")) and not strength.lower().endswith(".toml"):
        strength_from_text(strength)
