"""The light path: a picture seen through looks.

Neighbouring elements that act on all light alike, wherever it falls and however bright it is, make
one run, and a run is one pass of the spreading engine, or of mirrors if there is a net in it. A new
element of that sort joins in `_run`; any other gets a step of its own in `_step`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from itertools import groupby

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.convolution.halo import ScatterHalo
from frontglass.convolution.spread import spread
from frontglass.convolution.transfers import Besides
from frontglass.elements import Element, Glow, Grease, Haze, LightPath, Lines, Net, StrayLamp, Veil
from frontglass.elements.air_light import light_through_air
from frontglass.elements.filter_plane import through_clear_centre
from frontglass.elements.grease_light import light_through_grease
from frontglass.elements.highlights import light_above
from frontglass.elements.mesh_light import light_through_mesh
from frontglass.elements.stray_light import with_stray_light
from frontglass.errors import LookError
from frontglass.optics.camera import Camera, choose_camera
from frontglass.picture.picture import Picture
from frontglass.pipeline.cores import shown_light
from frontglass.units import ratio_from_stops

Float32 = NDArray[np.float32]

CHANNELS = (0, 1, 2)


def render(
    picture: Picture,
    looks: Sequence[LightPath],
    *,
    camera: Camera | None = None,
    surround: Surround = Surround.MIRROR,
    compensate: bool = True,
) -> Picture:
    """Picture seen through looks.

    Parameters
    ----------
    picture : Picture
        The still, in linear light.
    looks : sequence of Look
        Light meets their elements in the order air, front of the lens, lens, and within each in
        the order given. None, or strength 0, gives back the same light bit for bit.
    camera : Camera or None
        What took the still; None goes by what the file says, else assumes a 40 degree field.
    surround : Surround
        What lies outside the frame.
    compensate : bool
        Whether the light lost is made up.

    Returns
    -------
    Picture
        The same still with other light; its notices say what was assumed. Light recovered for
        clipped lamps spreads as all light does, while their cores stay as the still shows them.
    """
    notices: tuple[str, ...] = ()
    if camera is None:
        camera, notices = choose_camera(
            picture.shot, width_px=picture.width_px, height_px=picture.height_px
        )
    parts = (part for look in looks for part in look.light_path)
    # What equals itself at strength 0 is not there.
    path = sorted((part for part in parts if part != part.at(0)), key=lambda part: part.place)
    px_per_rad = camera.px_per_rad(picture.width_px)
    recovered = picture.recovered if path else None
    source = picture.radiance if recovered is None else picture.radiance + recovered
    light = source
    hazes = [part for part in path if isinstance(part, Haze)]
    if hazes:
        light, said = light_through_air(picture.with_radiance(source), hazes, px_per_rad)
        notices = (*notices, *said)
        path = path[len(hazes) :]  # nothing else stands in the air
    for alike, elements in groupby(path, key=partial(_acts_on_all_light_alike, surround=surround)):
        if alike:
            light = _run(light, tuple(elements), px_per_rad, surround)
        else:
            for element in elements:
                light = _step(light, element, camera, surround)
    left = picture.recovered
    if recovered is not None:
        whole, light = light, light.copy()
        shown_light(light, picture.radiance, recovered, path)
        left = whole - light
    kept = math.prod(element.transmittance for element in path)
    if not compensate and kept != 1:
        light = light * np.float32(kept)
        left = None if left is None else left * np.float32(kept)
    notices = (*picture.notices, *notices, *_idle(source, path))
    return replace(picture, radiance=light, recovered=left, notices=notices)


def _idle(light: Float32, path: Sequence[Element]) -> tuple[str, ...]:
    """Say so when a glow waits for light that the still does not hold."""
    floors = [
        ratio_from_stops(part.threshold_stops - part.knee_stops / 2)
        for part in path
        if isinstance(part, Glow) and part.threshold_stops is not None
    ]
    if not floors or float(light.max()) > min(floors):
        return ()
    return (
        "A glow that spreads only light brighter than white did nothing: this still holds none. "
        "Lamps that are clipped have lost it.",
    )


def _acts_on_all_light_alike(element: Element, surround: Surround) -> bool:
    match element:
        case Veil():
            return True
        case Glow():
            return element.threshold_stops is None and element.clear_centre is None
        case Net() | Lines():
            # In the dark a kernel ends at the frame, and what several make of light does not
            # multiply.
            return surround is Surround.MIRROR and element.clear_centre is None
        case _:
            return False


def _run(
    light: Float32, elements: Sequence[Element], px_per_rad: float, surround: Surround
) -> Float32:
    """Transfer functions of glows and nets multiply, and kept shares of veils: one pass does all.

    A further net takes a pass of its own.
    """
    glows = [element for element in elements if isinstance(element, Glow) and element.optical_depth]
    meshes = [element for element in elements if isinstance(element, Net | Lines)]
    kept = math.prod(1 - element.veil_share for element in elements if isinstance(element, Veil))
    halos = _halos(glows, px_per_rad)
    if meshes:
        besides = Besides(halos, kept) if glows or kept < 1 else None
        light = light_through_mesh(light, meshes[0], px_per_rad, surround, besides=besides)
        for mesh in meshes[1:]:
            light = light_through_mesh(light, mesh, px_per_rad, surround)
        return light
    if kept == 1 and not glows:
        return light
    pedestal = [(1 - kept) * mean for mean in _mean_light(light)] if kept < 1 else (0.0,) * 3
    if not glows:
        return light * np.float32(kept) + np.asarray(pedestal, dtype=np.float32)
    return spread(light, halos, surround=surround, gain=kept, pedestal=pedestal)


def _step(light: Float32, element: Element, camera: Camera, surround: Surround) -> Float32:
    """One element that must be computed by itself."""
    px_per_rad = camera.px_per_rad(light.shape[1])
    match element:
        case StrayLamp():
            return with_stray_light(light, element, px_per_rad)
        case Glow():
            kept = element.clear_share
            covered = partial(_glow, glow=element, px_per_rad=px_per_rad, surround=surround)
        case Net() | Lines():
            kept = element.covered_transmittance
            covered = partial(
                light_through_mesh, mesh=element, px_per_rad=px_per_rad, surround=surround
            )
        case Grease():
            kept = 1.0
            covered = partial(
                light_through_grease, grease=element, camera=camera, surround=surround
            )
        case _:
            msg = f"no way to render an element of type {type(element).__name__}."
            raise LookError(msg)
    return through_clear_centre(light, element.clear_centre, camera, kept, covered)


def _glow(light: Float32, glow: Glow, px_per_rad: float, surround: Surround) -> Float32:
    """Return light through a glow with a threshold or a clear centre."""
    if glow.optical_depth == 0:
        return light
    halos = _halos([glow], px_per_rad)
    if glow.threshold_stops is None:
        return spread(light, halos, surround=surround)
    above = light_above(light, threshold_stops=glow.threshold_stops, knee_stops=glow.knee_stops)
    if not above.any():
        return light
    spread_above = spread(above, halos, surround=surround)
    spread_above -= above
    spread_above += light
    return spread_above


def _halos(glows: Sequence[Glow], px_per_rad: float) -> tuple[ScatterHalo, ...]:
    return tuple(
        ScatterHalo(
            scatterers=tuple((glow.depth(c), glow.profile(c)) for glow in glows),
            px_per_rad=px_per_rad,
        )
        for c in CHANNELS
    )


def _mean_light(light: Float32) -> list[float]:
    """Mean of each channel [1], summed in double precision."""
    return list(cv2.mean(light)[: len(CHANNELS)])
