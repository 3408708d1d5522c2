"""Light of ghosts laid over a picture: sharp, or in discs of the iris' shape."""

from __future__ import annotations

import itertools
import math

import cv2
import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.elements.ghost_mirror import Anywhere, Disc, Glass, Mirrored, View
from frontglass.elements.lamp_patches import (
    BLOCK_PX,
    FoundLamps,
    LampPatch,
    LampPoints,
    means_of_squares,
)
from frontglass.optics.camera import Camera
from frontglass.optics.plate import ghosts_and_caught


def with_ghosts(
    light: Float32,
    lamps: FoundLamps,
    glass: Glass,
    camera: Camera,
    axis_px: tuple[float, float] | None = None,
    *,
    may_lose: bool = False,
) -> Float32:
    """Light, and over it what glass before the lens makes of its lamps.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    lamps : FoundLamps
        What of it is lamp.
    glass : Glass
        What mirrors.
    camera : Camera
        Its pupil, filter distance and focus say where ghosts go.
    axis_px : (float, float) or None
        Where its axis meets the picture; None is the middle. [px]
    may_lose : bool
        Whether the light itself may be written to.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        The same array where nothing is laid.
    """
    view = View.of(light.shape, camera, axis_px)
    layer = Layer(light, may_lose=may_lose)
    path = glass.path(camera)
    ghosts, caught = ghosts_and_caught(glass.mirrors)
    for one in ghosts:
        level = np.multiply(one.level, glass.returns).astype(np.float32)
        mirror = Mirrored(view, path, one.lean, level)
        blur_px = path.blur * view.px_per_rad
        if blur_px < ACCURACY.sharp_ghost_px:
            _lay_sharp(layer, lamps, mirror)
        else:
            _lay_spread(layer, lamps, mirror, Disc.of(path, glass.blades, blur_px))
    for one in caught:
        # Between parallel panes it falls on its lamp.
        aside_px = (2 * one.lean.down * view.px_per_rad, 2 * one.lean.right * view.px_per_rad)
        if math.hypot(*aside_px) > 1 and max(one.level) > 0:
            level = np.asarray(one.level, np.float32)
            for rows, columns, own in (lamps.points, *(one.points() for one in lamps.patches)):
                layer.add_points(rows + aside_px[0], columns + aside_px[1], own * level)
    return layer.light


class Layer:
    """A picture over which light is laid; one to be kept is copied when the first is."""

    def __init__(self, light: Float32, *, may_lose: bool = False) -> None:
        self.light, self._is_kept = light, not may_lose

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width [px]."""
        return self.light.shape[0], self.light.shape[1]

    def writable(self) -> Float32:
        """Return what may be added to."""
        if self._is_kept:
            self.light, self._is_kept = self.light.copy(), False
        return self.light

    def add_points(self, rows: Anywhere, columns: Anywhere, values: Float32) -> None:
        """Add light, divided among the four pixels round each place."""
        inside = (rows > -1) & (rows < self.shape[0]) & (columns > -1) & (columns < self.shape[1])
        if inside.any():
            splat(self.writable(), rows[inside], columns[inside], values[inside])


def _lay_sharp(layer: Layer, lamps: FoundLamps, mirror: Mirrored) -> None:
    """Add sharp ghosts of lamps.

    A tilted plate turns squares of pixels into others, between which lines would show where pixels
    are divided: lamps that are many pixels wide are looked up instead.
    """
    points = [lamps.points]
    for lamp in lamps.patches:
        is_wide = lamp.widest_px >= ACCURACY.wide_lamp_px
        matrix = mirror.matrix(lamp, 1, 0) if is_wide else None
        if matrix is None:
            points.append(lamp.points())
            continue
        own = mirror.dimmed(lamp)
        found = None if own is None else looked_up(own.light, matrix, layer.shape, 0)
        if found is not None:
            (top, left), ghost = found
            height, width = ghost.shape[:2]
            layer.writable()[top : top + height, left : left + width] += ghost
    all_points = LampPoints(*map(np.concatenate, zip(*points, strict=True)))
    rows, columns, light = mirror.of_points(all_points)
    layer.add_points(*mirror.thrown(rows, columns), light)


def _lay_spread(layer: Layer, lamps: FoundLamps, mirror: Mirrored, disc: Disc) -> None:
    """Add light in discs, each as much of one as comes back into the pupil."""
    cell = disc.cell
    # Cells cover whole pixels, from so many before the first one on.
    margin = 0 if cell == 1 else disc.reach + 1
    size = tuple(-(-side // cell) + 2 * margin for side in layer.shape)
    blur_px = disc.across * cell
    aside = max(ACCURACY.ghost_walk_of_a_disc, ACCURACY.ghost_walk_px / blur_px)
    side_px = max(8 * cell, int(aside / mirror.walk_per_px))
    fade_px = max(LEAST_FADE_PX, int(2 * blur_px))
    pieces = (piece for lamp in lamps.patches for piece in lamp.pieces(side_px, fade_px))
    found = itertools.chain(
        (_wide_on_cells(piece, mirror, disc, (size[0], size[1])) for piece in pieces),
        (
            _on_cells(points, mirror, disc, (size[0], size[1]))
            for points in lamps.points.near_by(min(side_px, max(BLOCK_PX, int(2 * blur_px))))
        ),
    )
    cells: Float32 | None = None
    for one in found:
        if one is None:
            continue
        if cells is None:
            cells = layer.writable() if cell == 1 else np.zeros((*size, 3), np.float32)
        (top, left), light, walk = one
        kernel = np.ascontiguousarray(disc.kernel(walk)[::-1, ::-1])
        spread = cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_CONSTANT)
        _add(cells, np.asarray(spread, np.float32), top, left)
    if cells is not None and cell > 1:
        _add_cells(layer, cells, disc.reach, cell)


LEAST_FADE_PX = 24
"""Over which pieces of a patch fade into one another, discs of differing shapes."""
WALK_NODES = 16
"""Across a patch, to tell how far its light walks in the mean."""
LEAST_NARROWING = 0.25
"""Where all light comes back to nearly one point, a patch has no ghost that could be looked up."""
Laid = tuple[tuple[int, int], Float32, tuple[float, float]]


def _wide_on_cells(
    lamp: LampPatch, mirror: Mirrored, disc: Disc, size: tuple[int, int]
) -> Laid | None:
    """Return the ghost of a patch before it is spread: as `_on_cells` that of points."""
    cell, margin = disc.cell, 0 if disc.cell == 1 else disc.reach + 1
    is_wide = lamp.widest_px >= ACCURACY.wide_lamp_px * cell
    if is_wide and abs(mirror.path.narrowing) > LEAST_NARROWING:
        coarse = lamp._replace(light=means_of_squares(lamp.light, cell))
        matrix = mirror.matrix(coarse, cell, margin)
        own = None if matrix is None else mirror.dimmed(coarse, cell)
        if matrix is not None:
            found = None if own is None else looked_up(own.light, matrix, size, disc.reach)
            if found is None:
                return None
            # All its light, on less than its area: discs of its pixels, cut off each its own way,
            # overlap more than in the mean.
            light = found[1] / np.float32(mirror.path.narrowing**2)
            step = max(1, min(coarse.light.shape[:2]) // WALK_NODES)
            few = coarse._replace(light=means_of_squares(coarse.light, step))
            return found[0], light, _walk(mirror, few.points_of(step * cell))
    # Half a cell is fine enough for what is divided among cells.
    return _on_cells(lamp.points(max(1, cell // 2)), mirror, disc, size)


def _on_cells(
    points: LampPoints, mirror: Mirrored, disc: Disc, size: tuple[int, int]
) -> Laid | None:
    """Return ghosts of points before they are spread: where, light on cells, how far it walks.

    Cells of it are left free for the disc all round; None where it falls beside the picture.
    """
    cell, margin = disc.cell, 0 if disc.cell == 1 else disc.reach + 1
    points = mirror.of_points(points)
    if not points.light.size:
        return None
    thrown = mirror.thrown(points.rows, points.columns)
    down, right = ((part + 0.5) / cell - 0.5 + margin for part in thrown)
    top, left = (math.floor(part.min()) - disc.reach for part in (down, right))
    bottom, last = (math.floor(part.max()) + 2 + disc.reach for part in (down, right))
    if bottom <= 0 or last <= 0 or top >= size[0] or left >= size[1]:
        return None
    patch = np.zeros((bottom - top, last - left, 3), np.float32)
    splat(patch, down - top, right - left, points.light / np.float32(cell * cell))
    return (top, left), patch, _walk(mirror, points)


def _walk(mirror: Mirrored, points: LampPoints) -> tuple[float, float]:
    """How far the light of points walks in the mean, over the pupil's diameter."""
    # The brightest channel is over white; others may be below 0.
    weights = points.light.max(axis=1).astype(np.float64)
    middle = [
        np.average(part, weights=weights, keepdims=True) for part in (points.rows, points.columns)
    ]
    right, down = mirror.path.walk(*mirror.view.tangents(middle[0], middle[1]), mirror.lean)
    return float(right[0]), float(down[0])


def looked_up(
    light: Float32, matrix: Float64, size: tuple[int, int], reach: int
) -> tuple[tuple[int, int], Float32] | None:
    """Return light moved by a matrix: where it lies, and so many cells more all round.

    None where nothing of it comes to lie within `size`, rows and columns, or so near to it.
    """
    height, width = light.shape[:2]
    corners = np.array([[-1, -1, 1], [width, -1, 1], [width, height, 1], [-1, height, 1]]).T
    there = matrix @ corners
    there = there[:2] / there[2]
    left, top = (max(math.floor(part.min()), -reach) for part in there)
    right = min(math.ceil(there[0].max()) + 1, size[1] + reach)
    bottom = min(math.ceil(there[1].max()) + 1, size[0] + reach)
    if right <= left or bottom <= top:
        return None
    top, left, bottom, right = top - reach, left - reach, bottom + reach, right + reach
    shift = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1]], np.float64)
    moved = cv2.warpPerspective(
        light, shift @ matrix, (right - left, bottom - top), flags=cv2.INTER_LINEAR
    )
    return (top, left), np.asarray(moved, np.float32)


def _add_cells(layer: Layer, cells: Float32, reach: int, cell: int) -> None:
    """Add light on cells to the pixels that they cover."""
    height, width = layer.shape
    reach = reach + 1
    lit = np.flatnonzero(cells[reach:-reach].any(axis=(1, 2)))
    across = np.flatnonzero(cells[:, reach:-reach].any(axis=(0, 2)))
    if not (lit.size and across.size):
        return
    # A cell more on each side, between which light falls to nothing.
    top, bottom = lit[0] - 1, min(lit[-1] + 2, -(-height // cell) + 1)
    left, right = across[0] - 1, min(across[-1] + 2, -(-width // cell) + 1)
    out = layer.writable()
    for start in range(top, bottom, ACCURACY.ghost_rows_at_once):
        stop = min(start + ACCURACY.ghost_rows_at_once, bottom)
        part = cells[reach + start - 1 : reach + stop + 1, reach + left : reach + right]
        part = np.ascontiguousarray(part)
        wide = (part.shape[1] * cell, part.shape[0] * cell)
        part = np.asarray(cv2.resize(part, wide, interpolation=cv2.INTER_LINEAR))
        part = part[cell : cell + (stop - start) * cell]
        rows = slice(max(start * cell, 0), min(stop * cell, height))
        columns = slice(max(left * cell, 0), min(right * cell, width))
        part = part[rows.start - start * cell : rows.stop - start * cell]
        out[rows, columns] += part[:, columns.start - left * cell : columns.stop - left * cell]


def splat(plane: Float32, rows: Anywhere, columns: Anywhere, values: Float32) -> None:
    """Add values (N, C) to a plane of (H, W, C), divided among the four pixels round each place."""
    height, width, channels = plane.shape
    flat = plane.reshape(-1, channels)
    # An untilted plate sends pixels onto pixels, but for rounding.
    y, x = (np.round(part.astype(np.float64), 6) for part in (rows, columns))
    top, left = np.floor(y).astype(np.intp), np.floor(x).astype(np.intp)
    down, right = (y - top).astype(np.float32), (x - left).astype(np.float32)
    for row, part in ((top, 1 - down), (top + 1, down)):
        for column, share in ((left, 1 - right), (left + 1, right)):
            weight = part * share
            lit = (weight > 0) & (row >= 0) & (row < height) & (column >= 0) & (column < width)
            at = row[lit] * width + column[lit]
            for channel in range(channels):
                np.add.at(flat[:, channel], at, weight[lit] * values[lit, channel])


def _add(cells: Float32, patch: Float32, top: int, left: int) -> None:
    """Add a patch to cells; what falls beside them is lost."""
    rows = slice(max(top, 0), min(top + patch.shape[0], cells.shape[0]))
    columns = slice(max(left, 0), min(left + patch.shape[1], cells.shape[1]))
    if rows.stop > rows.start and columns.stop > columns.start:
        cells[rows, columns] += patch[
            rows.start - top : rows.stop - top, columns.start - left : columns.stop - left
        ]
