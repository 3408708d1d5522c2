"""The filter as each pixel sees it: which part of it that pixel's light went through."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.optics.camera import Camera
from frontglass.optics.footprint import Footprint
from frontglass.rows_between import RowsBetween


def tangents(
    rows: Float64, columns: Float64, shape: tuple[int, int], px_per_rad: float
) -> tuple[Float64, Float64]:
    """Tangents of field angle (right, down) at pixel places, the middle of the frame at 0."""
    x = (columns + 0.5 - shape[1] / 2) / px_per_rad
    y = (rows + 0.5 - shape[0] / 2) / px_per_rad
    right, down = np.broadcast_arrays(x[np.newaxis, :], y[:, np.newaxis])
    return right, down


def map_over_frame(
    value: Callable[[Float64, Float64], Float64],
    shape: tuple[int, int],
    camera: Camera,
    *,
    nodes_per_blur: int = ACCURACY.map_nodes_per_blur,
    fewest_nodes: int = ACCURACY.fewest_map_nodes,
) -> list[RowsBetween]:
    """Return maps of what is painted on the filter and averaged over the pupil.

    Parameters
    ----------
    value : callable (tangent_x, tangent_y) -> ndarray
        The averaged values in field directions, along a first axis.
    shape : (int, int)
        Of the picture.
    camera : Camera
        Says how far the pupil blurs the filter; nothing on it is seen sharper, so the map is
        computed on nodes and interpolated.
    nodes_per_blur, fewest_nodes : int
        Nodes along the diameter of that blur, and along a side of the frame at least.

    Returns
    -------
    list of RowsBetween
        One for each value.
    """
    px_per_rad = camera.px_per_rad(shape[1])
    blur_px = Footprint.of_camera(camera).blur_diameter * px_per_rad
    counts = [
        min(
            max(math.ceil(side / blur_px * nodes_per_blur) + 1, fewest_nodes),
            ACCURACY.most_map_nodes,
            side,
        )
        for side in shape
    ]
    # cv2.resize puts nodes at the middles of equal parts of the frame.
    rows, columns = (
        (np.arange(n) + 0.5) * side / n - 0.5 for n, side in zip(counts, shape, strict=True)
    )
    x, y = tangents(rows, columns, shape, px_per_rad)
    return [RowsBetween.of(nodes.astype(np.float32), *shape) for nodes in value(x, y)]
