"""What every element of a light path is, and the step that takes light through it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from functools import partial
from typing import ClassVar, Protocol, Self

import numpy as np

from frontglass.arrays import Float32
from frontglass.choices import Surround
from frontglass.convolution.convolve import (
    MixedPart,
    Share,
    add_weighed,
    add_what_spreads,
    convolve,
    convolve_mixed_over,
    convolve_over,
)
from frontglass.convolution.filters import Filter
from frontglass.convolution.product import in_turn
from frontglass.convolution.split import most_parts, on_split_pixels
from frontglass.elements.encircled import encircled_flux
from frontglass.elements.wide_field import is_wide, spread_wide
from frontglass.lit_pixels import LitPixels
from frontglass.optics.camera import Camera
from frontglass.optics.scatter import CompoundScatter
from frontglass.picture.lamp_place import LampPlace

RED, GREEN, BLUE = CHANNELS = (0, 1, 2)


class Place(IntEnum):
    """Where in the light path an element stands, in the order in which light meets it."""

    AIR = 1
    PLATE = 2
    """Glass as a mirror: its ghosts go through all else that stands before the lens."""
    FRONT = 3
    LENS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing that can be said of an element.

    Parameters
    ----------
    name : str
        What it is.
    values : tuple of float
        One number, or one for red, green and blue.
    unit : str
        "%", "degrees", "px", "mm", "m", "per m", "mg/m3", "stops" or "".
    """

    name: str
    values: tuple[float, ...]
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passage:
    """What an element may ask when light passes it.

    Parameters
    ----------
    camera : Camera
        Lens, stop, sensor and filter distance.
    surround : Surround
        What lies outside the frame.
    distance_m : ndarray, shape (H, W), float32, or None
        Along the ray through each pixel [m], if it is known.
    lamps : sequence of LampPlace or None
        Lamps pointed at by hand; None finds them.
    axis_px : (float, float) or None
        Where the axis of the lens meets the picture, from its left upper corner; None is the
        middle. [px]
    notices : list of str
        What was assumed on the way; elements add to it.
    """

    camera: Camera
    surround: Surround
    distance_m: Float32 | None = None
    lamps: Sequence[LampPlace] | None = None
    axis_px: tuple[float, float] | None = None
    notices: list[str] = field(default_factory=list)


class Element(ABC):
    """One physical thing in the light path: a frozen value that says what it is.

    What a class must say is abstract. The rest has defaults that hold for anything that is not
    what they ask for: no fabric, no lamp, no air.

    Notes
    -----
    Its numbers are those at strength 1. Channels are 0 red, 1 green, 2 blue.

    Examples
    --------
    >>> import frontglass as fg
    >>> [isinstance(part, fg.Element) for part in fg.read_look("harbour-night").elements]
    [True, True]
    """

    __slots__ = ()

    kind: ClassVar[str]
    """Its name in a look."""
    place: ClassVar[Place]
    is_speckled: ClassVar[bool] = False
    """Whether its halos are made of needles, which boil when the camera moves."""

    @property
    @abstractmethod
    def transmittance(self) -> float:
        """Light that leaves over light that enters, for an evenly lit field. [1], in (0, 1]."""

    @abstractmethod
    def at(self, strength: float) -> Self:
        """Return as much of the same thing as `strength` says; 0 is nothing at all."""

    @property
    @abstractmethod
    def is_round(self) -> bool:
        """Whether what it makes of a point of light looks the same in every direction."""

    @abstractmethod
    def direct_share(self, channel: int) -> float:
        """Light that goes straight on, of all that leaves it. [1], in [0, 1].

        Where it is: of one with a clear centre, through the covered part; of one that acts above a
        threshold, light far above.
        """

    def share_through(self, passage: Passage, rows: slice) -> Float32:
        """Light that goes straight on from what some rows see, shape (rows, W, 3) or less."""
        del passage, rows
        return np.array([self.direct_share(channel) for channel in CHANNELS], np.float32)

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        """Light that lands within an angle of where it belongs, of all that leaves. [1], in [0, 1].

        Where it covers the view; for light below white, which a threshold leaves alone. Read from
        its filter, unless it knows better.
        """
        return encircled_flux(lambda scale: self._has(self.filter(channel, scale)), radius_rad)

    def covered_share(self, camera: Camera) -> float:
        """Light from the middle of the frame that meets it, of all that does. [1], in [0, 1]."""
        del camera
        return 1.0

    @abstractmethod
    def filter(self, channel: int, px_per_rad: float) -> Filter | None:
        """Filter that does what it does, apart from its losses, to light wherever it falls.

        None for one that does not treat all light alike: it has a step of its own, `through`.
        Neighbours with filters go through one convolution together.
        """

    def through(self, light: Float32, passage: Passage) -> Float32:
        """Light that leaves it, apart from its losses; by its filter unless it has its own way.

        Parameters
        ----------
        light : ndarray, shape (H, W, 3), float32
            Linear light; not changed.
        passage : Passage
            What else it may ask.
        """
        px_per_rad = passage.camera.px_per_rad(light.shape[1])
        filters = [self._has(self.filter(channel, px_per_rad)) for channel in CHANNELS]
        return filtered(light, [filters], passage)

    def through_over(self, light: Float32, passage: Passage) -> Float32:
        """Return the same as `through`, and perhaps lose the light."""
        return self.through(light, passage)

    def filters(self, px_per_rad: float) -> tuple[Filter, ...]:
        """Return its filters for red, green and blue; none if it has a step of its own."""
        filters = (self.filter(channel, px_per_rad) for channel in CHANNELS)
        return tuple(one for one in filters if one is not None)

    def _has(self, its: Filter | None) -> Filter:
        """Return its filter; without one and without a way of its own it could do nothing."""
        if its is None:
            msg = f"{type(self).__name__} has neither a filter nor a way of its own."
            raise NotImplementedError(msg)
        return its

    def merged_with(self, other: Element) -> Element | None:
        """Return one element that does what both do, if there is one."""
        del other
        return None

    def facts(self, camera: Camera, width_px: int) -> tuple[Fact, ...]:
        """Return what a lens and the width of a picture [px] make of it, in numbers."""
        del camera, width_px
        return ()

    def scatter(self, channel: int) -> CompoundScatter | None:
        """Return the round scatterer that it is, if it is one; those of several add up."""
        del channel
        return None

    def without_veil(self) -> Self:
        """Return what of it draws halos, rays and dots."""
        return self

    @property
    def is_steady(self) -> bool:
        """Whether light changes so smoothly with strength that a few renders tell all between."""
        return True

    @property
    def threshold_stops(self) -> float | None:
        """Light this far above white from which on it acts [stop]; None if it acts on all."""
        return None

    def extinction(self, channel: int) -> float:
        """Light that it takes from a ray in each metre of air. [1/m]."""
        del channel
        return 0.0

    def stray_light(self, channel: int) -> float:
        """Light of a lamp beside the lens that it lays on the middle of the frame [white = 1]."""
        del channel
        return 0.0

    def without_stray_light(self) -> Self:
        """Return it with lamps beside the lens kept off."""
        return self

    def with_glass(self, **changes: object) -> Self:
        """Return it with the glass it stands on changed; what is no glass stays."""
        del changes
        return self

    def draped(self, turn_deg: float) -> Self:
        """Return fabric as it is where its threads have turned; what is no fabric stays."""
        del turn_deg
        return self


class LaidOver(Element):
    """What lays light over that of the scene, which passes untouched, wherever it comes from."""

    __slots__ = ()

    @property
    def is_round(self) -> bool:
        """See `Element`: nothing is made of the points of the scene."""
        return True

    def direct_share(self, channel: int) -> float:
        """See `Element`."""
        del channel
        return 1.0

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        """See `Element`: round where it belongs all of the light is."""
        del radius_rad, channel
        return 1.0

    def filter(self, channel: int, px_per_rad: float) -> None:
        """See `Element`: what it lays does not lie round each point alike."""
        del channel, px_per_rad


def filtered(light: Float32, filters: Sequence[Sequence[Filter]], passage: Passage) -> Float32:
    """Light after filters one behind the other, each a triple for red, green and blue."""
    return _convolved(_products(filters), passage, convolve, light)


def spread_some_over(
    light: Float32, lit: LitPixels, filters: Sequence[Filter], passage: Passage
) -> Float32:
    """Light of which that of some pixels goes through filters; what is handed in may be lost."""
    filters = _lit(light, filters)
    if is_wide(passage.camera, light.shape):
        above = np.asarray(lit)
        light += filtered(above, [filters], passage)
        light -= above
    else:
        add_what_spreads(light, lit, filters, passage.surround)
    return light


def mixed_over(light: Float32, parts: Sequence[MixedPart], passage: Passage) -> Float32:
    """Light of which parts go through filters of their own; what is handed in may be lost."""
    if not is_wide(passage.camera, light.shape):
        return convolve_mixed_over(light, parts, passage.surround)
    return laid_together(
        (part.share, filtered(light, [part.filters], passage) if part.filters else light)
        for part in parts
    )


def laid_together(parts: Iterable[tuple[Share, Float32]]) -> Float32:
    """Sum of light, shape (H, W, 3), of which only a share counts in each pixel."""
    out: Float32 | None = None
    for share, light in parts:
        out = np.zeros_like(light) if out is None else out
        add_weighed(out, light, share)
    assert out is not None
    return out


def through_filters(light: Float32, elements: Sequence[Element], passage: Passage) -> Float32:
    """Light after elements with filters, one behind the other.

    The light that is handed in may be lost. On a small frame pixels are split where they would
    average twice what a scatterer and others deviate together, if that can be mended.
    """
    width = light.shape[1]
    whole = _products_at(elements, passage, width)
    for parts in range(1, most_parts((light.shape[0], width)) + 1):
        products = whole if parts == 1 else _products_at(elements, passage, width * parts)
        if all(product.fits_the_grid for product in products):
            return on_split_pixels(
                light, parts, partial(_convolved, products, passage, convolve_over)
            )
    return _convolved(whole, passage, convolve_over, light)


def _products_at(elements: Sequence[Element], passage: Passage, width_px: int) -> list[Filter]:
    px_per_rad = passage.camera.px_per_rad(width_px)
    return _products([element.filters(px_per_rad) for element in elements])


def _products(filters: Sequence[Sequence[Filter]]) -> list[Filter]:
    return [in_turn(members) for members in zip(*filters, strict=True)]


def _convolved(
    products: Sequence[Filter], passage: Passage, how: Callable[..., Float32], light: Float32
) -> Float32:
    if all(product.direct == 1 for product in products):  # nothing is deviated
        return light
    products = _lit(light, products)
    if is_wide(passage.camera, light.shape):
        px_per_rad = passage.camera.px_per_rad(light.shape[1])
        return spread_wide(light, products, px_per_rad, passage.surround)
    return how(light, products, passage.surround)


def _lit(light: Float32, products: Sequence[Filter]) -> Sequence[Filter]:
    """Return the filters; a channel without light takes that of another, which is made anyway."""
    # A few pixels tell the usual case; targets are measured in green alone.
    lit = [c for c in CHANNELS if light[::97, ::89, c].any() or light[..., c].any()]
    return [products[c if c in lit else lit[0]] for c in CHANNELS] if lit else products


class Stack(Protocol):
    """Anything that puts elements before a lens."""

    @property
    def light_path(self) -> tuple[Element, ...]:
        """The elements, at their strength, in light order."""
        ...


class LightPath(Stack, Protocol):
    """A stack that a manifest and a file's name can tell of, such as a look at a strength."""

    @property
    def name(self) -> str:
        """What it is called."""
        ...

    @property
    def strength(self) -> float:
        """How much of it. [1], >= 0."""
        ...

    @property
    def light_loss_stops(self) -> float:
        """Light lost at this strength [stop], >= 0."""
        ...
