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
from frontglass.threads import in_pieces
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
BLUR_PX, ROWS_AT_ONCE = 6, 48
"""As far as OpenCV's blur of that width goes, and rows that are looked at together."""


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
    del before
    masks = ring, dark, _mask(fine)
    ring_before, black_before, rough_before = _seen_in(picture, masks)
    # Below half a code a still does not tell black from none: no lift is counted there.
    least = darkest_told(picture.encoding)

    def effects(look: Look) -> Effects:
        # Ghosts are no halo, whatever they fall on.
        seen = render(picture, [look.without_ghosts()], camera=camera, surround=surround)
        ring_seen, black_seen, rough = _seen_in(seen, masks)
        return Effects(
            halo=max(0.0, ring_seen - ring_before),
            black_stops=stops_from_ratio(max(black_seen, least) / max(black_before, least)),
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


def _luminance(picture: Picture, rows: slice = slice(None)) -> Float32:
    """Luminance of a picture [white = 1]; single precision tells a millionth, and is fast."""
    weights = np.asarray(picture.primaries.luminance_weights, np.float32).reshape(1, 3)
    return np.asarray(cv2.transform(picture.radiance[rows], weights), np.float32)


def _round_lamps(light: Float32, camera: Camera, picture: Picture) -> Mask:
    level = min(LAMP_FROM, float(np.quantile(light, 1 - LAMP_SHARE)))
    away = cv2.distanceTransform((light < level).astype(np.uint8), cv2.DIST_L2, 5)
    near, far = (radius * camera.px_per_deg(picture.width_px) for radius in RING_DEG)
    return np.asarray((away > max(1.0, near)) & (away <= max(2.0, far)))


def _mask(where: Mask) -> Codes:
    """Return a mask as OpenCV takes it."""
    return where.astype(np.uint8)


def _seen_in(picture: Picture, masks: tuple[Codes, Codes, Codes]) -> tuple[float, float, float]:
    """Mean luminance where two masks are set, and the rms of its texture where a third is."""
    sums: list[list[float]] = []

    def some(rows: slice) -> None:
        # Strips stay in the cache, and no frame of one channel is made.
        around = slice(max(rows.start - BLUR_PX, 0), rows.stop + BLUR_PX)
        light = _luminance(picture, around)
        fine = cv2.subtract(light, cv2.GaussianBlur(light, (0, 0), TEXTURE_PX))
        inner = slice(rows.start - around.start, rows.stop - around.start)
        *own, textured = (mask[rows] for mask in masks)
        # OpenCV sums in double precision.
        means = [cv2.mean(light[inner], where)[0] * cv2.countNonZero(where) for where in own]
        sums.append([*means, cv2.norm(fine[inner], cv2.NORM_L2, textured) ** 2])

    in_pieces(some, picture.height_px, ROWS_AT_ONCE)
    counts = [max(cv2.countNonZero(mask), 1) for mask in masks]
    ring, dark, rough = (
        math.fsum(own) / n for own, n in zip(np.transpose(sums), counts, strict=True)
    )
    return ring, dark, math.sqrt(rough)
