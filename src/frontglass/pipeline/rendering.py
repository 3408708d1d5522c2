"""The public door to the light path: stills and arrays in, looks in any number, choices by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, TypeVar, overload

from numpy.typing import NDArray

from frontglass.checks import check_bool
from frontglass.choices import Surround
from frontglass.elements import Element, Stack
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.picture.arrays import array_like
from frontglass.picture.codes import StillInCodes
from frontglass.picture.picture import Picture
from frontglass.picture.wider import Wider, framed
from frontglass.pipeline.light_path import through_light_path

Array = NDArray[Any]
OneLook = TypeVar("OneLook", bound=Stack)
Looks = Stack | Element | Iterable[Stack | Element]


@overload
def render(
    picture: Picture,
    looks: Looks,
    *,
    camera: Camera | None = None,
    surround: Surround | str = Surround.LAMPLESS,
    compensate: bool = True,
    grain: bool = True,
) -> Picture: ...


@overload
def render(
    picture: Array,
    looks: Looks,
    *,
    camera: Camera | None = None,
    surround: Surround | str = Surround.LAMPLESS,
    compensate: bool = True,
    grain: bool = True,
) -> Array: ...


def render(
    picture: Picture | Array,
    looks: Looks,
    *,
    camera: Camera | None = None,
    surround: Surround | str = Surround.LAMPLESS,
    compensate: bool = True,
    grain: bool = True,
) -> Picture | Array:
    """Picture seen through looks.

    Parameters
    ----------
    picture : Picture, or ndarray of shape (H, W), (H, W, 1), (H, W, 3) or (H, W, 4)
        The still. An array is read as by `Picture.from_array`: floats are linear light, uint8 and
        uint16 are sRGB codes.
    looks : Look, or element, or several of them
        Light meets their elements in the order air, front of the lens, lens, and within each in
        the order given. None, or strength 0, gives back the same light bit for bit.
    camera : Camera or None
        What took the still; None goes by what the file says, else assumes a 40 degree field.
    surround : "lampless", "mirror" or "dark"
        What lies outside the frame.
    compensate : bool
        Whether the light lost is made up.
    grain : bool
        Whether the sensor's noise, in stills and arrays of codes, is kept out of what spreads.

    Returns
    -------
    Picture or ndarray
        A picture gives a picture: the same still with other light; its notices say what was
        assumed. Light recovered for clipped lamps spreads as all light does, while their cores
        stay as the still shows them. An array gives an array of the same shape, type and meaning:
        floats are linear and go beyond 1; codes are codes again, end at white and are dithered at
        8 bits; one channel is the luminance of three; alpha is as it was. What was assumed is
        said by a picture's notices alone.

    Raises
    ------
    ParameterError
        If something is not what it must be.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> mist = fg.Glow(optical_depth=0.2, lobes=(fg.GaussianLobe(sigma_deg=1),))
    >>> night = np.zeros((40, 60, 3))
    >>> night[20, 30] = 500
    >>> seen = fg.render(night, mist)
    >>> seen.shape, seen.dtype.name, bool(seen[20, 31, 1] > 0.05)
    ((40, 60, 3), 'float64', True)
    >>> fg.render(np.full((40, 60), 90, np.uint8), mist).dtype.name
    'uint8'
    """
    how = Conditions(camera=camera, surround=surround, compensate=compensate, grain=grain)
    if isinstance(picture, Picture):
        return how.seen(picture, looks)
    seen = how.seen(Picture.from_array(picture), looks)
    return array_like(picture, seen.radiance, seen.encoding, seen.primaries)


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What a still is rendered with, apart from its looks.

    Parameters
    ----------
    camera, surround, compensate, grain
        As in `render`.
    axis_px : (float, float) or None
        Where the axis of the lens meets the still, from its corner; None is the middle. [px]
    again : StillInCodes or None
        What tells the light of the one still that is seen again: then its frame is written over,
        unless it is part of a wider one.

    Raises
    ------
    ParameterError
        If one is not what it must be.
    """

    camera: Camera | None = None
    surround: Surround | str = Surround.LAMPLESS
    compensate: bool = True
    grain: bool = True
    axis_px: tuple[float, float] | None = None
    again: StillInCodes | None = None

    def __post_init__(self) -> None:
        if self.camera is not None and not isinstance(self.camera, Camera):
            raise ParameterError("camera", "a Camera or None", self.camera)
        object.__setattr__(self, "surround", Surround.of("surround", self.surround))
        check_bool("compensate", self.compensate)
        check_bool("grain", self.grain)

    def seen(self, picture: Picture, looks: Looks) -> Picture:
        """Picture seen through looks under these conditions; a frame gets light from round it."""
        if picture.wider is not None:
            return self._seen_within(picture, picture.wider, looks)
        return through_light_path(
            picture,
            _stacks(looks),
            camera=self.camera,
            surround=Surround.of("surround", self.surround),
            compensate=self.compensate,
            grain=self.grain,
            axis_px=self.axis_px,
            again=self.again,
        )

    def _seen_within(self, frame: Picture, wider: Wider, looks: Looks) -> Picture:
        camera = self.camera
        if camera is not None:
            camera = replace(camera, sensor_width_mm=camera.sensor_width_mm * wider.share())
        frame_px = wider.region
        axis = frame_px.x_px + frame_px.width_px / 2, frame_px.y_px + frame_px.height_px / 2
        if self.axis_px is not None:
            axis = frame_px.x_px + self.axis_px[0], frame_px.y_px + self.axis_px[1]
        seen = replace(self, camera=camera, axis_px=axis, again=None).seen(wider.picture, looks)
        if seen.radiance is wider.picture.radiance:
            return frame
        told = tuple(dict.fromkeys((*frame.notices, *seen.notices)))
        cut = framed(seen, wider.region, frame.shot)
        return replace(cut, notices=told, wider=None)

    def each(self, picture: Picture, looks: Iterable[OneLook]) -> Iterator[tuple[OneLook, Picture]]:
        """Each look, and the picture seen through it alone."""
        return ((look, self.seen(picture, look)) for look in looks)

    def each_of(
        self, pictures: Iterable[tuple[str, Picture]], looks: Iterable[OneLook]
    ) -> Iterator[tuple[OneLook, str, Picture]]:
        """Each look, with each of several named pictures seen through it alone."""
        shown = tuple(pictures)
        return ((look, name, self.seen(one, look)) for look in looks for name, one in shown)


class _Alone(NamedTuple):
    """An element that stands before the lens without a look."""

    light_path: tuple[Element, ...]


def _stacks(looks: object) -> tuple[Stack, ...]:
    """Return looks as a tuple, whether one or several were given; an element is a stack of one."""
    one = _stack(looks)
    if one is not None:
        return (one,)
    several: list[Stack | None] = [None]
    if isinstance(looks, Iterable) and not isinstance(looks, str):
        several = [_stack(look) for look in looks]
    stacks = tuple(stack for stack in several if stack is not None)
    if len(stacks) < len(several):
        hint = "read_look finds a look by its name."
        raise ParameterError("looks", "a look, an element, or several of them", looks, hint)
    return stacks


def _stack(thing: Any) -> Stack | None:
    if isinstance(thing, Element):
        return _Alone((thing,))
    return thing if hasattr(thing, "light_path") else None
