"""Depth that a still's own file holds, as phones write it beside the picture."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from frontglass.arrays import Float32
from frontglass.choices import Choice
from frontglass.errors import ParameterError
from frontglass.picture.distance import (
    DistancePoint,
    distance_from_points,
    fitted_distance,
    ray_distance,
)

if TYPE_CHECKING:
    from frontglass.optics.camera import Camera
    from frontglass.picture.picture import Picture


class DepthScale(Choice):
    """How well a file knows what its depths are in metres.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.DepthScale("about") == "about"
    True
    """

    METRES = "metres"
    """They are metres."""
    ABOUT = "about"
    """They are written as metres, and the file says that only their ratios are to be trusted."""
    NONE = "none"
    """Their ratios are all that is told."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnDepth:
    """Depth along the axis of the lens, as a still's file holds it.

    Parameters
    ----------
    depth_m : ndarray, shape (h, w), float32
        Of the whole still, on pixels of its own. [m], or any unit; inf is sky, NaN a hole.
    scale : DepthScale
        What its unit is worth.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> wall = fg.OwnDepth(depth_m=np.full((6, 8), 3.0, np.float32), scale="metres")
    >>> wall.said()
    "Distances are the file's own depth, 3 m near by and 3 m in the middle of all."
    """

    depth_m: Float32
    scale: DepthScale = DepthScale.ABOUT

    def __post_init__(self) -> None:
        object.__setattr__(self, "scale", DepthScale.of("scale", self.scale))

    @classmethod
    def of_disparity(cls, disparity_per_m: Float32, scale: DepthScale, step: float) -> OwnDepth:
        """Depth of a map of inverse depths.

        Parameters
        ----------
        disparity_per_m : ndarray, shape (h, w), float32
            [1/m], or any unit; what is not above 0 is far.
        scale : DepthScale
            What its unit is worth.
        step : float
            What one code of the map is worth: what is nearer to 0 than half of it is put there.
        """
        with np.errstate(invalid="ignore"):
            held = np.maximum(disparity_per_m, np.float32(step / 2))
        return cls(depth_m=np.asarray(1 / held, dtype=np.float32), scale=scale)

    def distance_m(
        self, picture: Picture, camera: Camera, points: tuple[DistancePoint, ...] = ()
    ) -> Float32:
        """Distance along the ray through each pixel of the still [m], shape (H, W).

        Parameters
        ----------
        picture : Picture
            The whole still.
        camera : Camera
            What took it.
        points : tuple of DistancePoint
            Typed distances: one puts the unit right, two and more also what is added to all of
            inverse depth, which phones do not know either.

        Raises
        ------
        ParameterError
            If the map is not shaped like the still, or holds nothing.
        """
        depth = self.depth_m
        longer = ray_distance(np.ones_like(depth), camera.px_per_rad(depth.shape[1]))
        if len(points) > 1 and self.scale is not DepthScale.METRES:
            depth = _straightened(depth, longer, points, (picture.width_px, picture.height_px))
        fitted = fitted_distance(depth * longer, picture.radiance)
        if not points:
            return fitted
        if len(points) == 1:
            (point,) = points
            at = _at(point, fitted)
            return np.asarray(fitted * np.float32(point.distance_m / at), np.float32)
        return distance_from_points(points, picture.radiance, fitted)

    def said(self) -> str:
        """Return a note on what is taken from the file."""
        near, middle = (float(value) for value in np.nanquantile(self.depth_m, (0.02, 0.5)))
        taken = f"Distances are the file's own depth, {near:.2g} m near by and {middle:.2g} m in"
        if self.scale is DepthScale.METRES:
            return f"{taken} the middle of all."
        return (
            f"{taken} the middle of all; the file vouches for their ratios alone, so type one to be"
            " sure (--distance X,Y,METRES)."
        )


def _straightened(
    depth: Float32, longer: Float32, points: tuple[DistancePoint, ...], size: tuple[int, int]
) -> Float32:
    """Depth whose inverse is on the straight line of the old one that is nearest to typed ones."""
    rows, columns = depth.shape
    known, wanted = [], []
    for point in points:
        at = int(point.y_px * rows / size[1]), int(point.x_px * columns / size[0])
        if at[0] < rows and at[1] < columns and np.isfinite(depth[at]):
            known.append((1 / float(depth[at]), 1.0))
            wanted.append(float(longer[at]) / point.distance_m)
    if len({inverse for inverse, _ in known}) < 2:
        return depth
    slope, rest = np.linalg.lstsq(np.array(known), np.array(wanted), rcond=None)[0]
    if slope <= 0:
        return depth
    with np.errstate(divide="ignore"):
        inverse = np.maximum(slope / depth + rest, 0)
        return np.asarray(1 / inverse, np.float32)


def _at(point: DistancePoint, distance: Float32) -> float:
    height, width = distance.shape
    if not (point.x_px < width and point.y_px < height):
        got = f"{point.x_px:g},{point.y_px:g}"
        raise ParameterError("distance", f"inside the still's {width} x {height} px", got)
    found = float(distance[int(point.y_px), int(point.x_px)])
    if not np.isfinite(found):
        raise ParameterError("distance", "typed where the file's depth ends", "a point on sky")
    return found


def with_own_distance(picture: Picture, camera: Camera) -> Picture:
    """Still with the distances that its file holds, if nobody said others.

    Where only ratios are told, it stays without.
    """
    own = picture.own_depth
    if own is None or picture.distance_m is not None or own.scale is DepthScale.NONE:
        return picture
    return replace(
        picture,
        distance_m=own.distance_m(picture, camera),
        notices=(*picture.notices, own.said()),
    )
