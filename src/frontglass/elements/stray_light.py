"""Light of a lamp beside the lens, laid over the frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.elements.filter_plane import tangents
from frontglass.elements.stray_lamp import StrayLamp
from frontglass.optics.stray_lamp import EXAMPLE_GHOSTS, ghost_radiance, white_from_radiance

Float32 = NDArray[np.float32]

ROWS_AT_A_TIME = 64
EDGE_PX = 2.0


def with_stray_light(light: Float32, stray: StrayLamp, px_per_rad: float) -> Float32:
    """Light with a lamp's wash over it, and its ghosts if they are wanted.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light; 1 is a white card under the key light.
    stray : StrayLamp
        At its strength.
    px_per_rad : float
        Scale of the picture.
    """
    if stray.hooded:
        return light
    lamp = stray.lamp()
    colour = np.array(stray.colour, dtype=np.float32)
    out = np.empty_like(light)
    height, width = light.shape[:2]
    columns = np.arange(width, dtype=np.float64)
    for top in range(0, height, ROWS_AT_A_TIME):
        rows = np.arange(top, min(top + ROWS_AT_A_TIME, height), dtype=np.float64)
        x, y = tangents(rows, columns, (height, width), px_per_rad)
        wash = lamp.wash(x, y)
        if stray.ghosts:
            edge = EDGE_PX / px_per_rad
            chain = ghost_radiance(lamp, EXAMPLE_GHOSTS, x, y, blades=stray.blades, edge=edge)
            wash = wash + stray.ghosts * chain
        white = white_from_radiance(wash, key_illuminance=1.0).astype(np.float32)
        out[top : top + len(rows)] = light[top : top + len(rows)] + white[..., np.newaxis] * colour
    return out
