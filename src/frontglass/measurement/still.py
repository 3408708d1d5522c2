"""What a look does to one still: to the dark round its lamps, to its blacks, to its texture."""

from __future__ import annotations

import math

import cv2
import numpy as np

from frontglass.arrays import Codes, Float32, Mask
from frontglass.choices import Surround
from frontglass.looks import Look
from frontglass.measurement.match import Effects, Meter
from frontglass.measurement.watch import WatchedRegion, darkest_told
from frontglass.optics.camera import Camera
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import render
from frontglass.units import stops_from_ratio

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
    surround: Surround | str = Surround.LAMPLESS,
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
    before = _luminance(picture)
    ring = _mask(_within(watched, ("lamp",), before.shape) & _round_lamps(before, camera, picture))
    dark_part = _within(watched, ("black",), before.shape)
    dark = _mask(dark_part & (before <= np.quantile(before[dark_part], DARKEST_SHARE)))
    low, high = TEXTURE_LIGHT
    fine = _within(watched, ("face", "hair"), before.shape) & (before > low) & (before < high)
    fine_mask = _mask(fine)
    rough_before, ring_before = _roughness(before, fine_mask), _mean(before, ring)
    # Below half a code a still does not tell black from none: no lift is counted there.
    black_before, least = _mean(before, dark), darkest_told(picture.encoding)

    def effects(look: Look) -> Effects:
        # Ghosts are no halo, whatever they fall on.
        seen = render(picture, [look.without_ghosts()], camera=camera, surround=surround)
        light = _luminance(seen)
        rough = _roughness(light, fine_mask)
        return Effects(
            halo=max(0.0, _mean(light, ring) - ring_before),
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


def _luminance(picture: Picture) -> Float32:
    """Luminance of a picture [white = 1]; single precision tells a millionth, and is fast."""
    weights = np.asarray(picture.primaries.luminance_weights, np.float32).reshape(1, 3)
    return np.asarray(cv2.transform(picture.radiance, weights), np.float32)


def _round_lamps(light: Float32, camera: Camera, picture: Picture) -> Mask:
    level = min(LAMP_FROM, float(np.quantile(light, 1 - LAMP_SHARE)))
    away = cv2.distanceTransform((light < level).astype(np.uint8), cv2.DIST_L2, 5)
    near, far = (radius * camera.px_per_deg(picture.width_px) for radius in RING_DEG)
    return np.asarray((away > max(1.0, near)) & (away <= max(2.0, far)))


def _mask(where: Mask) -> Codes:
    """Return a mask as OpenCV takes it."""
    return where.astype(np.uint8)


def _roughness(light: Float32, where: Codes) -> float:
    fine = cv2.subtract(light, cv2.GaussianBlur(light, (0, 0), TEXTURE_PX))
    count = cv2.countNonZero(where)
    return float(cv2.norm(fine, cv2.NORM_L2, where)) / math.sqrt(count) if count else 0.0


def _mean(light: Float32, where: Codes) -> float:
    # OpenCV sums in double precision.
    return float(cv2.mean(light, where)[0])
