"""What a look does to one still: to the dark round its lamps, to its blacks, to its texture."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.looks import Look
from frontglass.measurement.match import Effects, Meter
from frontglass.measurement.watch import WatchedRegion, darkest_told, luminance
from frontglass.optics.camera import Camera
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import render
from frontglass.units import stops_from_ratio

Mask = NDArray[np.bool_]
Float64 = NDArray[np.float64]

LAMP_FROM = 0.9
"""Light from which on a pixel counts as a lamp, if any is so bright [white = 1]."""
LAMP_SHARE = 0.001
"""Share of the brightest pixels that stand for lamps where none is."""
RING_DEG = (0.1, 3.0)
DARKEST_SHARE = 0.05
TEXTURE_LIGHT = (0.01, 0.8)
"""Light within which texture is measured: neither black nor near the lamps."""
TEXTURE_PX = 1.5
"""Standard deviation of the blur that separates texture from shape [px]."""


def meter_on_still(
    picture: Picture,
    camera: Camera,
    *,
    watched: tuple[WatchedRegion, ...] = (),
    surround: Surround | str = Surround.MIRROR,
) -> Meter:
    """Return what measures a look by what it does to a still.

    Parameters
    ----------
    picture : Picture
        The still.
    camera : Camera
        What took it.
    watched : tuple of WatchedRegion
        Where to look: "lamp" for halos, "black" for blacks, "face" and "hair" for texture. What
        is not named is found by itself: round the lamps, the darkest twentieth, the middle tones.
    surround : Surround
        What lies outside the frame.
    """
    for one in watched:
        one.check_inside(picture)
    before = luminance(picture)
    ring = _within(watched, ("lamp",), before.shape) & _round_lamps(before, camera, picture)
    dark_part = _within(watched, ("black",), before.shape)
    dark = dark_part & (before <= np.quantile(before[dark_part], DARKEST_SHARE))
    low, high = TEXTURE_LIGHT
    fine = _within(watched, ("face", "hair"), before.shape) & (before > low) & (before < high)
    rough_before = _roughness(before, fine)
    # Below half a code a still does not tell black from none: no lift is counted there.
    black_before, least = _mean(before, dark), darkest_told(picture.encoding)

    def effects(look: Look) -> Effects:
        seen = render(picture, [look], camera=camera, surround=surround)
        light = luminance(seen)
        rough = _roughness(light, fine)
        return Effects(
            halo=max(0.0, _mean(light - before, ring)),
            black_stops=stops_from_ratio(max(_mean(light, dark), least) / max(black_before, least)),
            texture=1 - rough / rough_before if rough_before else 0.0,
            light_loss_stops=look.light_loss_stops,
        )

    return effects


def _within(
    watched: tuple[WatchedRegion, ...], kinds: tuple[str, ...], shape: tuple[int, ...]
) -> Mask:
    """Union of the regions of some kinds; everywhere if there is none."""
    inside = np.zeros(shape, dtype=np.bool_)
    for one in watched:
        if set(one.kinds) & set(kinds):
            part = one.region
            inside[
                part.y_px : part.y_px + part.height_px, part.x_px : part.x_px + part.width_px
            ] = True
    return inside if inside.any() else ~inside


def _round_lamps(light: Float64, camera: Camera, picture: Picture) -> Mask:
    level = min(LAMP_FROM, float(np.quantile(light, 1 - LAMP_SHARE)))
    away = cv2.distanceTransform((light < level).astype(np.uint8), cv2.DIST_L2, 5)
    near, far = (radius * camera.px_per_deg(picture.width_px) for radius in RING_DEG)
    return np.asarray((away > max(1.0, near)) & (away <= max(2.0, far)))


def _roughness(light: Float64, where: Mask) -> float:
    fine = light - cv2.GaussianBlur(light, (0, 0), TEXTURE_PX)
    return math.sqrt(_mean(fine**2, where))


def _mean(light: Float64, where: Mask) -> float:
    return float(light[where].mean()) if where.any() else 0.0
