"""A picture on fewer pixels, and a part of it there."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.picture.wider import framed


def reduced(picture: Picture, width_px: int) -> Picture:
    """Picture no wider than that [px], with its distances and its lamps' lost light."""
    if picture.width_px <= width_px:
        return picture
    if picture.wider is not None:
        # Both are reduced alike, so that light from round the frame reaches it here as well.
        scale = width_px / picture.width_px
        still, region = picture.wider.picture, picture.wider.region
        whole = reduced(still, round(still.width_px * scale))
        # Its own rounding may have left the still a row less.
        height = min(max(1, round(region.height_px * scale)), whole.height_px)
        x, y = (round(scale * corner) for corner in (region.x_px, region.y_px))
        x, y = min(x, whole.width_px - width_px), min(y, whole.height_px - height)
        return framed(whole, Region(x, y, width_px, height), picture.shot)
    return on_pixels(
        picture, (width_px, max(1, round(picture.height_px * width_px / picture.width_px)))
    )


def on_pixels(picture: Picture, size: tuple[int, int]) -> Picture:
    """Picture on so many pixels across and down, as `reduced` has it; its lamps are forgotten."""
    far = picture.distance_m
    if far is not None:
        # A mean of near and far would be a distance at which nothing stands.
        far = np.asarray(cv2.resize(far, size, interpolation=cv2.INTER_NEAREST), dtype=np.float32)
    lost, beyond = picture.recovered, picture.beyond
    return replace(
        picture,
        radiance=_means(picture.radiance, size),
        recovered=None if lost is None else lost.on_pixels(*size),
        beyond=None if beyond is None else _means(beyond, size),
        distance_m=far,
        lamps=None,
    )


def _means(light: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    return np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), dtype=np.float32)


def reduced_region(region: Region, scale: float) -> Region:
    """Part of a picture where that is reduced: a pixel at least, and inside as it was."""
    x, y = int(region.x_px * scale), int(region.y_px * scale)
    right, bottom = (
        int((start + size) * scale)
        for start, size in (
            (region.x_px, region.width_px),
            (region.y_px, region.height_px),
        )
    )
    return Region(x, y, max(1, right - x), max(1, bottom - y))
