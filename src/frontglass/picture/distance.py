"""Distance maps: fitted to a picture, filled, and spread from a few known places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64, Mask
from frontglass.checks import check_not_negative, check_number, check_positive
from frontglass.errors import ParameterError

EDGE_STOPS = 0.35
"""A step in light this large parts two surfaces; it is squared and taken to the exponent."""
EDGE_COST = 6.0
"""Steps that an edge of that size is worth on the way to a typed distance."""
LEAST_TIE = 1e-3
"""What is left of the tie between neighbours across the hardest edge."""
DARK_SHARE = 0.02
"""Added to light before its stops are taken, over the mean of the frame: noise is no edge."""
ONE_SURFACE = 1.08
"""Distances within this ratio are one surface, and are interpolated; others are not mixed."""
ROWS_AT_A_TIME = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class DistancePoint:
    """A distance typed for one place of the picture.

    Parameters
    ----------
    x_px, y_px : float
        Pixel, from the left and the top. [px], >= 0.
    distance_m : float
        From the lens. [m], > 0.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.DistancePoint.from_text("640,150,9.6").distance_m
    9.6
    """

    x_px: float
    y_px: float
    distance_m: float

    def __post_init__(self) -> None:
        check_not_negative("x_px", self.x_px)
        check_not_negative("y_px", self.y_px)
        check_positive("distance_m", self.distance_m)

    @classmethod
    def from_text(cls, text: str) -> DistancePoint:
        """Point of "X,Y,METRES".

        Examples
        --------
        >>> DistancePoint.from_text("640,212,4.5")
        DistancePoint(x_px=640.0, y_px=212.0, distance_m=4.5)
        """
        try:
            x, y, distance = (check_number("distance", float(part)) for part in text.split(","))
        except ValueError:
            raise ParameterError("distance", "X,Y,METRES", text) from None
        return cls(x_px=x, y_px=y, distance_m=distance)


def ray_distance(depth_m: Float32, px_per_rad: float) -> Float32:
    """Distance along each pixel's ray [m] from depth along the axis of the lens.

    Parameters
    ----------
    depth_m : ndarray, shape (H, W)
        [m].
    px_per_rad : float
        Scale at the middle of this map.
    """
    height, width = depth_m.shape
    x = (np.arange(width) + 0.5 - width / 2) / px_per_rad
    y = (np.arange(height) + 0.5 - height / 2) / px_per_rad
    longer = np.sqrt(1 + x[np.newaxis, :] ** 2 + y[:, np.newaxis] ** 2)
    return np.asarray(depth_m * longer.astype(np.float32), dtype=np.float32)


def fitted_distance(distance_m: Float32, light: Float32) -> Float32:
    """Distance map of a picture from one of another size, or with holes.

    Parameters
    ----------
    distance_m : ndarray, shape (h, w), float32
        [m]; inf is sky; NaN and what is not above 0 are holes.
    light : ndarray, shape (H, W, 3), float32
        The picture; the edges of its surfaces become those of the map.

    Returns
    -------
    ndarray, shape (H, W), float32
        Above 0 everywhere. Two surfaces are never mixed: no distance between theirs is made up.

    Raises
    ------
    ParameterError
        If the map is all holes, or its shape is not that of the picture.
    """
    height, width = light.shape[:2]
    rows, columns = distance_m.shape
    if not (distance_m > 0).any():
        raise ParameterError("distance_m", "above 0 somewhere", "only holes")
    # A row or column more or less is how halved sizes are rounded.
    if abs(rows * width - columns * height) > 1.5 * max(width, height):
        hint = "Export it for the whole frame of the still."
        got = f"{columns} x {rows} px"
        rule = f"shaped like the still of {width} x {height} px"
        raise ParameterError("distance_m", rule, got, hint)
    holes = ~(distance_m > 0)
    if holes.any():
        distance_m = _filled(distance_m, holes, light)
    if (rows, columns) == (height, width):
        return distance_m
    if rows >= height:
        # One sample for each pixel: a mean over several would lie between surfaces.
        return np.asarray(_nearest(distance_m, (height, width)))
    return _enlarged(distance_m, light)


def distance_from_points(
    points: Sequence[DistancePoint], light: Float32, base_m: Float32 | None = None
) -> Float32:
    """Distance map of a picture from a few typed distances.

    Parameters
    ----------
    points : sequence of DistancePoint
        At least one.
    light : ndarray, shape (H, W, 3), float32
        The picture.
    base_m : ndarray, shape (H, W), float32, or None
        A first guess, such as a room's; the points then say how far it is off, as a ratio.

    Returns
    -------
    ndarray, shape (H, W), float32
        As given at the points [m]; between them smooth on a surface, and free to step where the
        picture has an edge.

    Notes
    -----
    The logarithm of the distance is the mean of the typed ones, weighted by the inverse cube of
    the way to each over a small picture, on which a step costs
    1 + 6 (step of light / 0.35 stops)**2.

    Raises
    ------
    ParameterError
        If there is no point, or one lies outside of the picture.
    """
    if not points:
        raise ParameterError("points", "one at least", list(points))
    height, width = light.shape[:2]
    small = _small(light)
    rows, columns = small.shape
    known: Float64 = np.full(small.shape, np.nan)
    for point in points:
        if not (point.x_px < width and point.y_px < height):
            got = f"{point.x_px:g},{point.y_px:g}"
            raise ParameterError("distance", f"inside the still's {width} x {height} px", got)
        value = float(np.log(point.distance_m))
        if base_m is not None:
            value -= float(np.log(base_m[int(point.y_px), int(point.x_px)]))
        known[int(point.y_px * rows / height), int(point.x_px * columns / width)] = value
    if base_m is not None and not np.isfinite(known[~np.isnan(known)]).all():
        raise ParameterError("distance", "typed where the room is not endless", "a point on sky")
    spread = np.exp(_between(known, small)).astype(np.float32)
    whole = spread if spread.shape == (height, width) else _enlarged(spread, light)
    return whole if base_m is None else whole * base_m


def _between(known: Float64, stops: Float32) -> Float64:
    """Mean of the known values at each pixel, by the way to them that crosses least of edges.

    A smoothest surface through the same points would be pulled up to each like a tent.
    """
    from scipy import sparse
    from scipy.sparse.csgraph import dijkstra

    number = np.arange(known.size).reshape(known.shape)
    firsts, seconds, ways = [], [], []
    for first, second, length in (
        (np.s_[:, :-1], np.s_[:, 1:], 1.0),
        (np.s_[:-1], np.s_[1:], 1.0),
        (np.s_[:-1, :-1], np.s_[1:, 1:], 2**0.5),
        (np.s_[:-1, 1:], np.s_[1:, :-1], 2**0.5),
    ):
        firsts.append(number[first].ravel())
        seconds.append(number[second].ravel())
        edge = EDGE_COST * ((stops[first] - stops[second]) / EDGE_STOPS) ** 2
        ways.append(length * (1 + edge.ravel()))
    shape = (known.size, known.size)
    entries = (np.concatenate(ways), (np.concatenate(firsts), np.concatenate(seconds)))
    graph = sparse.coo_matrix(entries, shape).tocsr()
    at = np.flatnonzero(~np.isnan(known.ravel()))
    way = dijkstra(graph, directed=False, indices=at) + 0.5
    weight = way**-3.0
    mean = (weight * known.ravel()[at][:, np.newaxis]).sum(0) / weight.sum(0)
    mean[at] = known.ravel()[at]
    return np.asarray(mean.reshape(known.shape))


def _filled(distance_m: Float32, holes: Mask, light: Float32) -> Float32:
    """Map with each hole filled from its rim, along surfaces of the picture."""
    rows, columns = distance_m.shape
    small = _small(light)
    shape = small.shape
    if shape[0] > rows:
        small = np.asarray(cv2.resize(small, (columns, rows), interpolation=cv2.INTER_AREA))
        shape = small.shape
    with np.errstate(invalid="ignore", divide="ignore"):
        logs = np.log(_nearest(np.where(holes, np.float32(np.nan), distance_m), shape))
    sky = np.isposinf(logs)
    finite = np.isfinite(logs)
    # Sky is farther than all else, in a sum that has to stay finite.
    most = float(logs[finite].max()) + 3 if finite.any() else 0.0
    logs[sky] = most
    if np.isnan(logs).all():  # the known samples fell between those of the small map
        logs[:] = float(np.log(np.median(distance_m[~holes])))
    spread = np.exp(_spread(logs.astype(np.float64), small)).astype(np.float32)
    if sky.any():
        spread[spread > np.exp(most - 1)] = np.inf
    wide = np.asarray(cv2.resize(spread, (columns, rows), interpolation=cv2.INTER_NEAREST))
    return np.where(holes, wide, distance_m)


def _small(light: Float32) -> Float32:
    """Light of a picture in stops, reduced for spreading distances."""
    height, width = light.shape[:2]
    scale = min(1.0, ACCURACY.distance_px / max(height, width))
    grey = cv2.transform(light, np.full((1, 3), 1 / 3, np.float32))
    size = max(1, round(width * scale)), max(1, round(height * scale))
    return _stops(np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA)))


def _stops(grey: Float32) -> Float32:
    floor = DARK_SHARE * max(float(grey.mean()), 1e-6)
    return np.asarray(np.log2(np.maximum(grey, 0) + floor), dtype=np.float32)


def _spread(known: Float64, stops: Float32) -> Float64:
    """Smoothest map through the known values, ties between pixels loosened at edges of light."""
    from scipy import sparse
    from scipy.sparse.linalg import spsolve

    number = np.arange(known.size).reshape(known.shape)
    first = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
    second = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
    steps = stops.ravel()[first] - stops.ravel()[second]
    tie = np.exp(-((steps / EDGE_STOPS) ** 2)).astype(np.float64) + LEAST_TIE
    shape = (known.size, known.size)
    ties = sparse.coo_matrix((tie, (first, second)), shape).tocsr()
    ties += ties.T
    pull = sparse.diags(np.asarray(ties.sum(axis=1)).ravel()) - ties
    free = np.isnan(known.ravel())
    out = known.ravel().copy()
    if free.all() or not free.any():
        return out.reshape(known.shape)
    pull = pull.tocsr()[free]
    right = -pull[:, ~free] @ out[~free]
    out[free] = spsolve(pull[:, free].tocsc(), right)
    return out.reshape(known.shape)


def _nearest(values: Float32, shape: tuple[int, int]) -> Float32:
    rows, columns = (
        ((np.arange(n) + 0.5) * side / n).astype(int)
        for n, side in zip(shape, values.shape, strict=True)
    )
    return np.asarray(values[rows[:, np.newaxis], columns])


def _enlarged(values: Float32, light: Float32) -> Float32:
    """Map at the size of the picture: of the four samples round a pixel, those that look like it.

    A sample counts by its nearness and by how little its light differs. Where they are one
    surface they are averaged; else the one that counts most is taken alone.
    """
    height, width = light.shape[:2]
    grey = cv2.transform(light, np.full((1, 3), 1 / 3, np.float32))
    size = values.shape[1], values.shape[0]
    coarse = _stops(np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA)))
    floor = DARK_SHARE * max(float(grey.mean()), 1e-6)
    left, across = _places(width, size[0])
    top, down = _places(height, size[1])
    out = np.empty((height, width), np.float32)
    for start in range(0, height, ROWS_AT_A_TIME):
        part = slice(start, min(start + ROWS_AT_A_TIME, height))
        fine = np.log2(np.maximum(grey[part], 0) + floor)
        samples, weights = [], []
        for row, share_down in ((top[part], 1 - down[part]), (top[part] + 1, down[part])):
            for column, share in ((left, 1 - across), (left + 1, across)):
                at = np.minimum(row, size[1] - 1)[:, np.newaxis], np.minimum(column, size[0] - 1)
                alike = np.exp(-(((coarse[at] - fine) / EDGE_STOPS) ** 2)) + LEAST_TIE
                samples.append(values[at])
                weights.append(share_down[:, np.newaxis] * share * alike)
        stack, weight = np.stack(samples), np.stack(weights)
        best = np.take_along_axis(stack, weight.argmax(0)[np.newaxis], axis=0)[0]
        with np.errstate(invalid="ignore"):
            mean = (stack * weight).sum(0) / weight.sum(0)
            one = stack.max(0) <= ONE_SURFACE * stack.min(0)
        out[part] = np.where(one & np.isfinite(mean), mean, best)
    return out


def _places(pixels: int, samples: int) -> tuple[NDArray[np.intp], Float32]:
    """Sample before each pixel, and the share of the one after it."""
    place = np.clip((np.arange(pixels) + 0.5) * samples / pixels - 0.5, 0, samples - 1)
    before = place.astype(np.intp)
    return before, (place - before).astype(np.float32)
