"""The filter as each pixel sees it: which part of it that pixel's light went through."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.elements.clear_centre import ClearCentre, ClearPart
from frontglass.optics.camera import Camera
from frontglass.optics.footprint import Footprint, RoundHole
from frontglass.units import m_from_mm

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Light = Callable[[Float32], Float32]

NODES_PER_BLUR = 12
FEWEST_NODES, MOST_NODES = 33, 513
NODES_PER_BLUR_OF_A_HOLE = 48
FEWEST_NODES_OF_A_HOLE = 129
"""A hole has an edge, and its share is cheap: so fine that 3e-4 is the largest error."""


ROWS_AT_A_TIME = 16


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
    nodes_per_blur: int = NODES_PER_BLUR,
    fewest_nodes: int = FEWEST_NODES,
) -> Float32:
    """Map of something painted on the filter and averaged over the pupil.

    Parameters
    ----------
    value : callable (tangent_x, tangent_y) -> ndarray
        The averaged value in field directions; several may stand along a first axis.
    shape : (int, int)
        Of the picture.
    camera : Camera
        Says how far the pupil blurs the filter; nothing on it is seen sharper, so the map is
        computed on nodes and interpolated.
    nodes_per_blur, fewest_nodes : int
        Nodes along the diameter of that blur, and along a side of the frame at least.

    Returns
    -------
    ndarray, shape (H, W) or (N, H, W), float32
    """
    px_per_rad = camera.px_per_rad(shape[1])
    blur_px = Footprint.of_camera(camera).blur_diameter * px_per_rad
    counts = [
        min(max(math.ceil(side / blur_px * nodes_per_blur) + 1, fewest_nodes), MOST_NODES, side)
        for side in shape
    ]
    # cv2.resize puts nodes at the middles of equal parts of the frame.
    rows, columns = (
        (np.arange(n) + 0.5) * side / n - 0.5 for n, side in zip(counts, shape, strict=True)
    )
    x, y = tangents(rows, columns, shape, px_per_rad)
    nodes = np.asarray(value(x, y), dtype=np.float32)
    if nodes.ndim == 2:
        return _resized(nodes, shape)
    return np.stack([_resized(plane, shape) for plane in nodes])


def _resized(nodes: Float32, shape: tuple[int, int]) -> Float32:
    return np.asarray(cv2.resize(nodes, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR))


def through_clear_centre(
    light: Float32, clear: ClearCentre | None, camera: Camera, kept: float, covered: Light
) -> Float32:
    """Light of which a part passes a clean place of the filter.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    clear : ClearCentre or None
        The clean place; None is none.
    camera : Camera
        Lens and filter distance.
    kept : float
        Transmittance of the covered part. [1]
    covered : callable
        What becomes of light that passes the covered part, its losses left out.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        The light is divided where it comes from, before it is spread, so that none is lost and
        halos of covered lamps spill into the clear middle.
    """
    if clear is None:
        return covered(light)
    hole = RoundHole(
        radius_m=m_from_mm(clear.radius_mm),
        x_m=m_from_mm(clear.right_mm),
        y_m=-m_from_mm(clear.up_mm),
    )
    footprint = Footprint.of_camera(camera)
    shape = (light.shape[0], light.shape[1])
    share = map_over_frame(
        lambda x, y: hole.share(footprint, x, y),
        shape,
        camera,
        nodes_per_blur=NODES_PER_BLUR_OF_A_HOLE,
        fewest_nodes=FEWEST_NODES_OF_A_HOLE,
    )
    clean = share if clear.clear is ClearPart.INSIDE else 1 - share
    out = covered(_weighed(light, 1 - clean))
    if kept != 1:
        out *= np.float32(kept)
    return _weighed(light, clean, onto=out)


def _weighed(light: Float32, share: Float32, *, onto: Float32 | None = None) -> Float32:
    """Light times a map, added `onto` other light if there is some.

    A few rows at a time with the map laid out channel by channel: three times as fast as numpy's
    own broadcasting over three channels, and without copies of the picture.
    """
    out = np.empty_like(light) if onto is None else onto
    height, width, _ = light.shape
    flat_light, flat_out = light.reshape(height, width * 3), out.reshape(height, width * 3)
    for top in range(0, height, ROWS_AT_A_TIME):
        rows = slice(top, top + ROWS_AT_A_TIME)
        weights = np.repeat(share[rows], 3, axis=1)
        weights *= flat_light[rows]
        if onto is None:
            flat_out[rows] = weights
        else:
            flat_out[rows] += weights
    return out
