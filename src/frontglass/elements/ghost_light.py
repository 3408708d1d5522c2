"""Light of ghosts laid over a picture: sharp, or in discs of the iris' shape."""

from __future__ import annotations

import math
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.convolution.lamps import LampPixels
from frontglass.optics.camera import Camera
from frontglass.optics.plate import (
    Iris,
    Lean,
    Mirror,
    ReturnPath,
    ghosts_and_caught,
)
from frontglass.units import m_from_mm

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Places = NDArray[np.intp]

HALF = 0.5


class Glass(NamedTuple):
    """What mirrors before a lens, the outermost first, and what the camera sends back to it."""

    mirrors: tuple[Mirror, ...]
    returns: float
    blades: int

    @property
    def reflects(self) -> bool:
        """Whether it mirrors anything."""
        return any(max(mirror.reflectance) > 0 for mirror in self.mirrors)

    def path(self, camera: Camera) -> ReturnPath:
        """Return the way of light to it and back."""
        return ReturnPath(
            pupil_m=m_from_mm(camera.entrance_pupil_mm),
            distance_m=m_from_mm(camera.filter_distance_mm),
            focus_m=math.inf if camera.focus_m is None else camera.focus_m,
        )


class Thrown(NamedTuple):
    """Light that glass throws somewhere: rows and columns in parts of a pixel, light (N, 3).

    A pixel's light comes to lie on an area that is a little larger or smaller than a pixel, (N,).
    """

    rows: Float64
    columns: Float64
    light: Float32
    area: Float32

    def only(self, which: NDArray[np.bool_] | Places) -> Thrown:
        """Return some of it."""
        return Thrown(*(part[which] for part in self))  # type: ignore[arg-type]


class View(NamedTuple):
    """How a picture lies about the axis of its lens."""

    shape: tuple[int, int]
    axis_px: tuple[float, float]
    px_per_rad: float

    @classmethod
    def of(
        cls, shape: tuple[int, ...], camera: Camera, axis_px: tuple[float, float] | None
    ) -> View:
        """Return the view of a picture of (H, W, ...); the axis is in its middle unless given."""
        middle = shape[1] / 2, shape[0] / 2
        return cls((shape[0], shape[1]), axis_px or middle, camera.px_per_rad(shape[1]))

    def tangents(
        self, rows: Places | Float64, columns: Places | Float64
    ) -> tuple[Float64, Float64]:
        """Tangents to the right and down of pixels."""
        right = (columns.astype(np.float64) + 0.5 - self.axis_px[0]) / self.px_per_rad
        return right, (rows.astype(np.float64) + 0.5 - self.axis_px[1]) / self.px_per_rad

    def pixels(self, right: Float64, down: Float64) -> tuple[Float64, Float64]:
        """Rows and columns, in parts of a pixel, of tangents."""
        columns = right * self.px_per_rad + self.axis_px[0] - 0.5
        return down * self.px_per_rad + self.axis_px[1] - 0.5, columns

    def thrown(self, lamps: LampPixels, path: ReturnPath, lean: Lean) -> Thrown:
        """Return where a mirror throws lamps, as bright as they are."""
        x, y = self.tangents(lamps.rows, lamps.columns)
        stretch = path.stretch(x, y, lean).astype(np.float32)
        places = self.pixels(*path.place(x, y, lean))
        return Thrown(*places, lamps.light * stretch[:, np.newaxis], stretch)

    def mirror_matrix(self, lean: Lean) -> Float64:
        """Return what turns pixels (column, row, 1) into those of their ghosts, and back."""
        normal = np.array([lean.right, lean.down, 1.0])
        mirror = 2 * np.outer(normal, normal) / (normal @ normal) - np.eye(3)
        right, down = (place - 0.5 for place in self.axis_px)
        scale = self.px_per_rad
        to_pixels = np.array([[scale, 0, right], [0, scale, down], [0, 0, 1]])
        return np.asarray(to_pixels @ mirror @ np.linalg.inv(to_pixels))


def with_ghosts(
    light: Float32,
    lamps: LampPixels,
    glass: Glass,
    camera: Camera,
    axis_px: tuple[float, float] | None = None,
) -> Float32:
    """Light, and over it what glass before the lens makes of its lamps.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    lamps : LampPixels
        What of it is lamp.
    glass : Glass
        What mirrors.
    camera : Camera
        Its pupil, filter distance and focus say where ghosts go.
    axis_px : (float, float) or None
        Where its axis meets the picture; None is the middle. [px]

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        The same array where nothing is laid.
    """
    view = View.of(light.shape, camera, axis_px)
    layer = _Layer(light, view)
    path = glass.path(camera)
    x, y = view.tangents(lamps.rows, lamps.columns)
    ghosts, caught = ghosts_and_caught(glass.mirrors)
    for one in ghosts:
        level = np.multiply(one.level, glass.returns).astype(np.float32)
        share = path.share(x, y, one.lean).astype(np.float32)
        seen = share * level.max() * lamps.light.max(axis=1) > ACCURACY.dimmest_ghost
        if not seen.any():
            continue
        own = LampPixels(lamps.rows[seen], lamps.columns[seen], lamps.light[seen] * level)
        own = own._replace(light=own.light * share[seen, np.newaxis])
        if path.blur * view.px_per_rad < ACCURACY.sharp_ghost_px:
            layer.mirror(own, path, one.lean)
        else:
            layer.spread(own, path, one.lean, glass.blades)
    for one in caught:
        # Between parallel panes it falls on its lamp.
        if 2 * math.hypot(*one.lean) * view.px_per_rad > 1 and max(one.level) > 0:
            places = view.pixels(x + 2 * one.lean.right, y + 2 * one.lean.down)
            light = lamps.light * np.asarray(one.level, np.float32)
            layer.lay(Thrown(*places, light, np.ones(len(light), np.float32)))
    return layer.light


class _Layer:
    """A picture over which light is laid; it is copied when the first is."""

    def __init__(self, light: Float32, view: View) -> None:
        self.light, self._bare, self._view = light, light, view

    def _writable(self) -> Float32:
        if self.light is self._bare:
            self.light = self._bare.copy()
        return self.light

    def lay(self, thrown: Thrown) -> None:
        """Add light, divided among the four pixels round each place."""
        height, width = self._view.shape
        rows, columns = thrown[:2]
        inside = (rows > -1) & (rows < height) & (columns > -1) & (columns < width)
        if inside.any():
            some = thrown.only(inside)
            _splat(self._writable(), some.rows, some.columns, some.light)

    def mirror(self, lamps: LampPixels, path: ReturnPath, lean: Lean) -> None:
        """Add sharp ghosts of lamps.

        A tilted plate turns squares of pixels into others, between which lines would show where
        pixels are divided: lamps that are many pixels wide are looked up instead.
        """
        thrown = self._view.thrown(lamps, path, lean)
        if not any(lean):  # pixels onto pixels
            self.lay(thrown)
            return
        matrix = self._view.mirror_matrix(lean)
        small = np.ones(len(lamps.rows), bool)
        for own in lamps_apart(lamps.rows, lamps.columns):
            sides = np.ptp(lamps.rows[own]), np.ptp(lamps.columns[own])
            if max(sides) >= ACCURACY.wide_lamp_px:
                small[own] = False
                lamp = LampPixels(lamps.rows[own], lamps.columns[own], lamps.light[own])
                self._look_up(lamp, thrown.only(own), matrix)
        if small.any():
            self.lay(thrown.only(small))

    def _look_up(self, lamp: LampPixels, thrown: Thrown, matrix: Float64) -> None:
        """Add the ghost of a wide lamp, each of its pixels from where it comes from."""
        top, left = int(lamp.rows.min()) - 1, int(lamp.columns.min()) - 1
        patch = np.zeros((lamp.rows.max() - top + 2, lamp.columns.max() - left + 2, 3), np.float32)
        patch[lamp.rows - top, lamp.columns - left] = lamp.light
        height, width = self._view.shape
        rows = max(math.floor(thrown.rows.min()) - 1, 0), min(int(thrown.rows.max()) + 3, height)
        columns = (
            max(math.floor(thrown.columns.min()) - 1, 0),
            min(int(thrown.columns.max()) + 3, width),
        )
        if rows[1] <= rows[0] or columns[1] <= columns[0]:
            return
        there = np.array([[1, 0, columns[0]], [0, 1, rows[0]], [0, 0, 1]], np.float64)
        back = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1]], np.float64)
        size = columns[1] - columns[0], rows[1] - rows[0]
        # What turns lamps into ghosts turns ghosts into lamps.
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        ghost = cv2.warpPerspective(patch, back @ matrix @ there, size, flags=how)
        self._writable()[slice(*rows), slice(*columns)] += ghost

    def spread(self, lamps: LampPixels, path: ReturnPath, lean: Lean, blades: int) -> None:
        """Add light in discs, each as much of one as comes back into the pupil."""
        thrown, disc = self._view.thrown(lamps, path, lean), _Disc.of(path, blades, self._view)
        walk = np.stack(path.walk(*self._view.tangents(lamps.rows, lamps.columns), lean))
        cell = disc.cell
        reach = math.ceil(disc.across / 2) + 2
        # Cells cover whole pixels, from so many before the first one on.
        margin = 0 if cell == 1 else reach
        size = tuple(-(-side // cell) + 2 * margin for side in self._view.shape)
        rows, columns = ((part + 0.5) / cell - 0.5 + margin for part in thrown[:2])
        near = (rows > -reach) & (rows < size[0] + reach)
        near &= (columns > -reach) & (columns < size[1] + reach)
        if not near.any():
            return
        light, area = (part / np.float32(cell * cell) for part in (thrown.light, thrown.area))
        on_cells, walk = Thrown(rows, columns, light, area).only(near), walk[:, near]
        target = self._writable() if cell == 1 else np.zeros((*size, 3), np.float32)
        for own in lamps_apart(on_cells.rows, on_cells.columns):
            _spread_one(target, on_cells.only(own), walk[:, own], disc)
        if cell > 1:
            self._add_cells(target, reach, cell)

    def _add_cells(self, cells: Float32, reach: int, cell: int) -> None:
        """Add light on cells to the pixels that they cover."""
        height, width = self._view.shape
        lit = np.flatnonzero(cells[reach:-reach].any(axis=(1, 2)))
        across = np.flatnonzero(cells[:, reach:-reach].any(axis=(0, 2)))
        if not (lit.size and across.size):
            return
        # A cell more on each side, between which light falls to nothing.
        top, bottom = lit[0] - 1, min(lit[-1] + 2, -(-height // cell) + 1)
        left, right = across[0] - 1, min(across[-1] + 2, -(-width // cell) + 1)
        out = self._writable()
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


class _Disc(NamedTuple):
    """What draws the disc of a ghost: its way, its iris, pixels to a cell, cells across."""

    path: ReturnPath
    blades: int
    cell: int
    across: float

    @classmethod
    def of(cls, path: ReturnPath, blades: int, view: View) -> _Disc:
        """Return the disc of a way, in a view."""
        blur_px = path.blur * view.px_per_rad
        cell = max(1, int(blur_px / ACCURACY.cells_in_a_ghost))
        return cls(path, blades, cell, blur_px / cell)

    def kernel(self, walk: Float64) -> Float32:
        """Return it on cells, of sum 1, for light that walks so far; 0 where none comes in."""
        half = math.ceil(self.across / 2) + 1
        places = np.arange(-half, half + 1) / self.across
        iris = Iris(blades=self.blades, edge=1 / self.across)
        aside = float(walk[0]), float(walk[1])
        cover = self.path.cover(places[np.newaxis, :], places[:, np.newaxis], aside, iris)
        total = cover.sum()
        return np.asarray(cover / total if total > 0 else cover, np.float32)


def _spread_one(target: Float32, thrown: Thrown, walk: Float64, disc: _Disc) -> None:
    """Add the ghost of one lamp: a disc for each of its pixels, all of one shape."""
    kernel = disc.kernel(np.average(walk, axis=1, weights=thrown.light.sum(axis=1)))
    reach = kernel.shape[0] // 2
    top, left = (math.floor(part.min()) - reach for part in thrown[:2])
    bottom, right = (math.floor(part.max()) + 2 + reach for part in thrown[:2])
    size, rows, columns = (bottom - top, right - left), thrown.rows - top, thrown.columns - left
    patch = np.zeros((*size, 3), np.float32)
    _splat(patch, rows, columns, thrown.light)
    if max(bottom - top, right - left) - 2 * reach > ACCURACY.wide_lamp_px:
        covered = np.zeros((*size, 1), np.float32)
        _splat(covered, rows, columns, thrown.area[:, np.newaxis])
        # Inside of a wide lamp light is as bright as it is, however its pixels fall on cells.
        inner = cv2.erode((covered > HALF).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        patch[inner] /= covered[inner]
    flipped = np.ascontiguousarray(kernel[::-1, ::-1])
    spread = cv2.filter2D(patch, -1, flipped, borderType=cv2.BORDER_CONSTANT)
    _add(target, np.asarray(spread, np.float32), top, left)


def lamps_apart(rows: Float64 | Places, columns: Float64 | Places) -> list[Places]:
    """Return which of some pixels are one lamp each: those that touch, on few pixels."""
    top, left = float(rows.min()), float(columns.min())
    far = max(float(rows.max()) - top, float(columns.max()) - left)
    step = max(1.0, far / ACCURACY.ghost_map_px)
    at = ((rows - top) / step).astype(np.intp), ((columns - left) / step).astype(np.intp)
    mask = np.zeros((at[0].max() + 1, at[1].max() + 1), np.uint8)
    mask[at] = 1
    count, labels = cv2.connectedComponents(mask)
    owner = labels[at]
    order = np.argsort(owner, kind="stable")
    return np.split(order, np.searchsorted(owner[order], np.arange(2, count)))


def _splat(plane: Float32, rows: Float64, columns: Float64, values: Float32) -> None:
    """Add values (N, C) to a plane of (H, W, C), divided among the four pixels round each place."""
    height, width, channels = plane.shape
    flat = plane.reshape(-1, channels)
    # An untilted plate sends pixels onto pixels, but for rounding.
    rows, columns = np.round(rows, 6), np.round(columns, 6)
    top, left = np.floor(rows).astype(np.intp), np.floor(columns).astype(np.intp)
    down, right = (rows - top).astype(np.float32), (columns - left).astype(np.float32)
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
