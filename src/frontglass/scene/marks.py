"""Marks in a still: lamps, distances, watched parts."""

from __future__ import annotations

from dataclasses import dataclass

from frontglass.checks import check_bool, check_line, check_positive
from frontglass.errors import ParameterError
from frontglass.picture.recovery import LampMark
from frontglass.scene.fields import (
    check_fields,
    checked_place,
    checked_rectangle,
    in_file,
    required,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneLamp:
    """A lamp in a still.

    Parameters
    ----------
    at_px : (float, float)
        A pixel in it, from the left and the top. [px], >= 0.
    kind : str or None
        What it is, such as "bulb"; None, with no stops either, leaves its light to the estimate.
    stops : float or None
        Its light above white, instead. [stop], in [0, 20].
    distance_m : float or None
        From the lens: it glows in haze. [m], > 0.
    in_haze : bool
        Whether it glows in haze though no distance is told: a map or a room tells it.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.SceneLamp(at_px=(147, 415), kind="globe").kind
    'globe'
    """

    at_px: tuple[float, float] = required("at", checked_place)
    kind: str | None = in_file("kind", check_line)
    stops: float | None = in_file("stops")
    distance_m: float | None = in_file("distance", check_positive)
    in_haze: bool = in_file("haze", check_bool, default=False)

    def __post_init__(self) -> None:
        check_fields(self)
        if self.kind is not None and self.stops is not None:
            raise ParameterError("lamp", "marked with a kind or with stops", "both")
        if self.is_named:
            LampMark(*self.at_px, stops=self.stops, kind=self.kind)

    @property
    def is_named(self) -> bool:
        """Whether somebody said what it is, or how bright."""
        return self.kind is not None or self.stops is not None

    @property
    def glows(self) -> bool:
        """Whether it is a lamp that glows in haze."""
        return self.in_haze or self.distance_m is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneDistance:
    """How far one place of a still is.

    Parameters
    ----------
    at_px : (float, float)
        Pixel, from the left and the top. [px], >= 0.
    distance_m : float
        From the lens, `metres` in the file. [m], > 0.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.SceneDistance(at_px=(640, 150), distance_m=9.6).distance_m
    9.6
    """

    at_px: tuple[float, float] = required("at", checked_place)
    distance_m: float = required("metres", check_positive)

    def __post_init__(self) -> None:
        check_fields(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneWatch:
    """A part of a still to watch.

    Parameters
    ----------
    name : str
        What it is, as --watch takes it: one that begins with "face", "hair", "lamp" or "black"
        says which numbers matter.
    region_px : (int, int, int, int)
        Its left and upper pixel, width and height. [px]

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.SceneWatch(name="face", region_px=(60, 340, 200, 120)).text
    'face:60,340,200,120'
    """

    name: str = required("name", check_line)
    region_px: tuple[int, int, int, int] = required("region", checked_rectangle)

    def __post_init__(self) -> None:
        check_fields(self)

    @property
    def text(self) -> str:
        """It as --watch takes it."""
        return f"{self.name}:{','.join(map(str, self.region_px))}"
