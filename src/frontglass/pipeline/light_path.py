"""The light path: a picture seen through looks.

Neighbouring elements that act on all light alike, wherever it falls and however bright it is, have
filters: together they are one convolution. Any other element takes light through a step of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from frontglass.arrays import Float32
from frontglass.choices import Surround
from frontglass.elements import Element, Passage, Place, Stack
from frontglass.elements.element import through_filters
from frontglass.errors import LookError
from frontglass.lit_pixels import LitPixels
from frontglass.optics.camera import Camera, choose_camera
from frontglass.picture.codes import StillInCodes
from frontglass.picture.own_depth import with_own_distance
from frontglass.picture.picture import Picture
from frontglass.pipeline.kept_grain import Bare, bare
from frontglass.pipeline.recovered_light import without_direct, without_direct_beyond

RATIOS_ALONE = (
    "haze needs to know how far everything is, and the still's file holds depths without their"
    " unit: type how far one place is (--distance X,Y,METRES)."
)


ROUNDING = 1e-8
"""What transforms are out by, of the brightest light: 1.7e-9 in the worst case seen."""


def through_light_path(
    picture: Picture,
    looks: Sequence[Stack],
    *,
    camera: Camera | None = None,
    surround: Surround = Surround.LAMPLESS,
    compensate: bool = True,
    grain: bool = True,
    axis_px: tuple[float, float] | None = None,
    again: StillInCodes | None = None,
) -> Picture:
    """Picture seen through looks.

    Parameters
    ----------
    picture : Picture
        The still, in linear light.
    looks : sequence of Look
        Light meets them in the order air, front of the lens, lens, and within each as given. None,
        or strength 0, gives back the same light bit for bit.
    camera : Camera or None
        What took the still; None goes by what the file says, else assumes a 40 degree field.
    surround : Surround
        What lies outside the frame.
    compensate : bool
        Whether the light lost is made up.
    grain : bool
        Whether noise of a still of codes is kept out of what spreads.
    axis_px : (float, float) or None
        Where the axis of the lens meets the picture, from its corner; None is the middle. [px]
    again : StillInCodes or None
        What tells the still again: then its frame is written over.

    Returns
    -------
    Picture
        The same still with other light; its notices say what was assumed. Light recovered for
        clipped lamps spreads as all light does, while their cores stay as the still shows them.
    """
    path = _path(looks)
    camera, told = (camera, ()) if camera else _camera_of(picture)
    if any(element.place is Place.AIR for element in path):
        picture = _measured(picture, camera)
    passage = _passage(picture, camera, surround, axis_px, told)
    still = bare(picture, again) if grain and path else Bare(picture.radiance, None, again)
    light, left, beyond = _with_unshown(picture, still, path, passage)
    factor = np.float32(math.prod(element.transmittance for element in path))
    if not compensate and factor != 1:
        light *= factor
        left = None if left is None else left.times(factor)
        beyond = None if beyond is None else beyond * factor
    is_finite = True
    if path:
        light, is_finite = _with_grain(light, picture, still)
    notices = (*picture.notices, *dict.fromkeys(passage.notices))
    seen = picture.but(radiance=light, recovered=left, beyond=beyond, notices=notices)
    # What is known to be finite is not looked through once more.
    return seen if is_finite else replace(seen)


def _with_grain(light: Float32, picture: Picture, still: Bare) -> tuple[Float32, bool]:
    """Light with the still's grain and without rounding, and whether all of it is finite."""
    ends = _Ends()
    light = still.laid_over(light, ends.look)
    lowest, highest = ends.of_all
    if lowest < 0:
        light = _without_rounding(light, lowest, picture, still)
    return light, math.isfinite(lowest) and math.isfinite(highest)


def _passage(
    picture: Picture,
    camera: Camera,
    surround: Surround,
    axis_px: tuple[float, float] | None,
    told: tuple[str, ...],
) -> Passage:
    return Passage(
        camera=camera,
        surround=surround,
        distance_m=picture.distance_m,
        lamps=picture.lamps,
        axis_px=axis_px,
        notices=list(told),
    )


class _Ends:
    """Lowest and highest light of parts; of what is not a number neither is one."""

    def __init__(self) -> None:
        self._ends: list[tuple[float, float]] = []

    def look(self, light: Float32) -> None:
        """Look through a part."""
        self._ends.append((float(light.min()), float(light.max())))

    @property
    def of_all(self) -> tuple[float, float]:
        """Return the ends of all parts."""
        lows, highs = zip(*self._ends, strict=True)
        return float(np.min(lows)), float(np.max(highs))


def _without_rounding(light: Float32, lowest: float, picture: Picture, still: Bare) -> Float32:
    """Light without what rounding has put below nothing, where nothing was below it before.

    A transform is out by some 1e-9 of the brightest lamp, which in the dark may fall below 0. More
    than that is no rounding, and stays to be seen.
    """
    lost = None if picture.recovered is None else picture.recovered.light
    unshown = [own for own in (lost, picture.beyond) if own is not None]
    brightest, darkest = max((float(own.max(initial=0.0)) for own in unshown), default=0.0), 0.0
    for row in range(len(light)):
        own = still.shown(row)
        brightest, darkest = max(brightest, float(own.max())), min(darkest, float(own.min()))
    if lowest < -ROUNDING * brightest or darkest < 0:
        return light
    return np.maximum(light, np.float32(0), out=light)


def _camera_of(picture: Picture) -> tuple[Camera, tuple[str, ...]]:
    width_px, height_px = picture.width_px, picture.height_px
    return choose_camera(picture.shot, width_px=width_px, height_px=height_px)


def _measured(picture: Picture, camera: Camera) -> Picture:
    """Still with distances, if its own file tells them."""
    picture = with_own_distance(picture, camera)
    if picture.distance_m is None and picture.own_depth is not None:
        raise LookError(RATIOS_ALONE)
    return picture


def _with_unshown(
    picture: Picture, still: Bare, path: Sequence[Element], passage: Passage
) -> tuple[Float32, LitPixels | None, Float32 | None]:
    """Light after all elements, and what of recovered light and light beyond went straight on."""
    left, beyond = picture.recovered, picture.beyond
    if not path:
        return picture.radiance, left, beyond
    # Not named, so that it is gone once it has been through.
    light = _through(_sent(picture, still), path, passage)
    if beyond is not None:
        beyond, left = without_direct_beyond(light, picture, still, path, passage)
    elif left is not None:
        # Air dims a lamp by its distance; what that takes of a core is left to it.
        glass = [element for element in path if element.place is not Place.AIR]
        left = without_direct(light, still, left, glass)
    return light, left, beyond


def _sent(picture: Picture, still: Bare) -> Float32:
    """All light that spreads: what the still shows but for its grain, and what it does not.

    A frame of its own, which may be written over.
    """
    light = still.whole()
    if picture.beyond is not None:
        light += picture.beyond
    return light if picture.recovered is None else picture.recovered.added_to(light)


def _path(looks: Sequence[Stack]) -> list[Element]:
    """Elements of all looks in light order; those that are one thing together are one."""
    parts = (part for look in looks for part in look.light_path)
    # What equals itself at strength 0 is not there.
    present = (part for part in parts if part != part.at(0))
    path: list[Element] = []
    for part in sorted(present, key=lambda part: part.place):
        for index, before in enumerate(path):
            both = before.merged_with(part)
            if both is not None:
                path[index] = both
                break
        else:
            path.append(part)
    return path


def _through(light: Float32, path: Iterable[Element], passage: Passage) -> Float32:
    """Light after all elements; neighbours with filters make one run."""
    run: list[Element] = []
    for element in path:
        if element.filters(passage.camera.px_per_rad(light.shape[1])):
            run.append(element)
            continue
        light = element.through_over(through_filters(light, run, passage), passage)
        run = []
    return through_filters(light, run, passage)
