"""The light path: a picture seen through looks.

Neighbouring elements that act on all light alike, wherever it falls and however bright it is, have
filters: together they are one convolution. Any other element takes light through a step of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.elements import Element, Passage, Place, Stack
from frontglass.elements.element import through_filters
from frontglass.optics.camera import Camera, choose_camera
from frontglass.picture.picture import Picture
from frontglass.pipeline.kept_grain import with_grain, without_grain
from frontglass.pipeline.recovered_light import without_direct

Float32 = NDArray[np.float32]


def through_light_path(
    picture: Picture,
    looks: Sequence[Stack],
    *,
    camera: Camera | None = None,
    surround: Surround = Surround.LAMPLESS,
    compensate: bool = True,
    grain: bool = True,
    axis_px: tuple[float, float] | None = None,
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

    Returns
    -------
    Picture
        The same still with other light; its notices say what was assumed. Light recovered for
        clipped lamps spreads as all light does, while their cores stay as the still shows them.
    """
    path = _path(looks)
    passage = _passage(picture, camera, surround, axis_px)
    recovered = picture.recovered if path else None
    base = without_grain(picture) if grain and path else picture.radiance
    left = picture.recovered
    if recovered is None:
        light = _through(base, path, passage)
    else:
        # Not named, so that it is gone once it has been through. What comes out is never the still.
        light = _through(base + recovered, path, passage)
        # Air dims a lamp by its distance; what that takes of a core is left to it.
        glass = [element for element in path if element.place is not Place.AIR]
        left = without_direct(light, base, recovered, glass)
    transmittance = math.prod(element.transmittance for element in path)
    if not compensate and transmittance != 1:
        light = light * np.float32(transmittance)
        left = None if left is None else left * np.float32(transmittance)
    light = with_grain(light, base, picture.radiance)
    notices = (*picture.notices, *dict.fromkeys(passage.notices))
    return replace(picture, radiance=light, recovered=left, notices=notices)


def _passage(
    picture: Picture,
    camera: Camera | None,
    surround: Surround,
    axis_px: tuple[float, float] | None,
) -> Passage:
    notices: tuple[str, ...] = ()
    if camera is None:
        camera, notices = choose_camera(
            picture.shot, width_px=picture.width_px, height_px=picture.height_px
        )
    return Passage(
        camera=camera,
        surround=surround,
        distance_m=picture.distance_m,
        lamps=picture.lamps,
        axis_px=axis_px,
        notices=list(notices),
    )


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
        light = element.through(through_filters(light, run, passage), passage)
        run = []
    return through_filters(light, run, passage)
