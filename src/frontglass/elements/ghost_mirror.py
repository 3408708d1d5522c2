"""One mirror before a lens as pixels have it: where it throws them, how bright, how wide."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.elements.lamp_patches import LampPatch, LampPoints
from frontglass.optics.camera import Camera
from frontglass.optics.plate import LEAST_AHEAD, Iris, Lean, Mirror, ReturnPath
from frontglass.units import m_from_mm

Anywhere = NDArray[np.intp] | NDArray[np.floating[Any]]


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

    def tangents(self, rows: Anywhere, columns: Anywhere) -> tuple[Float64, Float64]:
        """Tangents to the right and down of pixels."""
        right = (columns.astype(np.float64) + 0.5 - self.axis_px[0]) / self.px_per_rad
        return right, (rows.astype(np.float64) + 0.5 - self.axis_px[1]) / self.px_per_rad

    def pixels(self, right: Float64, down: Float64) -> tuple[Float64, Float64]:
        """Rows and columns, in parts of a pixel, of tangents."""
        columns = right * self.px_per_rad + self.axis_px[0] - 0.5
        return down * self.px_per_rad + self.axis_px[1] - 0.5, columns


class Mirrored(NamedTuple):
    """One mirror as a lens sees it: where it throws lamps, and how much of their light."""

    view: View
    path: ReturnPath
    lean: Lean
    level: Float32

    def dimmed(self, lamp: LampPatch, cell: int = 1) -> LampPatch | None:
        """Return a lamp, on cells, as bright as its ghost; None if nothing of it will be seen."""
        brightest = lamp.brightest
        if brightest * self.level.max() <= ACCURACY.dimmest_ghost:
            return None
        share = self._shares(lamp, cell)
        if share.max() * brightest * self.level.max() <= ACCURACY.dimmest_ghost:
            return None
        factors = cv2.merge([share * level for level in self.level])
        light = cv2.multiply(lamp.light, factors.reshape(lamp.light.shape))
        return lamp._replace(light=np.asarray(light, np.float32))

    def _shares(self, lamp: LampPatch, cell: int) -> Float32:
        """Share of a lamp's light that comes back into the pupil, of few places and between."""
        height, width = lamp.light.shape[:2]
        step = max(1, int(ACCURACY.ghost_walk / (cell * self.walk_per_px)))
        beyond = 0 if step == 1 else 1
        sides = (lamp.top, height), (lamp.left, width)
        nodes = [
            start - 0.5 + cell * (np.arange(-(-side // step) + 2 * beyond) - beyond + 0.5) * step
            for start, side in sides
        ]
        x, y = self.view.tangents(nodes[0][:, np.newaxis], nodes[1][np.newaxis, :])
        share = self.path.share(x, y, self.lean).astype(np.float32)
        if step == 1:
            return share
        size = (step * share.shape[1], step * share.shape[0])
        share = np.asarray(cv2.resize(share, size, interpolation=cv2.INTER_LINEAR))
        return share[step : step + height, step : step + width]

    @property
    def walk_per_px(self) -> float:
        """How far light walks aside for a pixel, over the pupil's diameter."""
        return 2 * self.path.distance_m / self.path.pupil_m / self.view.px_per_rad

    def thrown(self, rows: Anywhere, columns: Anywhere) -> tuple[Float64, Float64]:
        """Rows and columns, in parts of a pixel, of the ghosts of pixels."""
        return self.view.pixels(*self.path.place(*self.view.tangents(rows, columns), self.lean))

    def of_points(self, points: LampPoints) -> LampPoints:
        """Return points as bright as their ghosts, where they are; those that will not be seen not.

        A pixel's ghost comes to lie on an area that is a little larger or smaller than a pixel.
        """
        x, y = self.view.tangents(points.rows, points.columns)
        share = self.path.share(x, y, self.lean)
        seen = share * self.level.max() * points.light.max(axis=1) > ACCURACY.dimmest_ghost
        x, y, share = x[seen], y[seen], share[seen] * self.path.stretch(x[seen], y[seen], self.lean)
        light = points.light[seen] * share.astype(np.float32)[:, np.newaxis] * self.level
        return LampPoints(points.rows[seen], points.columns[seen], light)

    def matrix(self, lamp: LampPatch, cell: int, margin: int) -> Float64 | None:
        """Return what turns columns and rows of a patch on cells into those of its ghost.

        Parameters
        ----------
        lamp : LampPatch
            The patch, its light on cells.
        cell : int
            Pixels to a cell.
        margin : int
            Cells before the picture's first one.

        Notes
        -----
        By its corners: exact for a lens focused at infinity. None where a corner is thrown abeam.
        """
        height, width = lamp.light.shape[:2]
        rows, columns = np.array([[0, 0, height, height], [0, width, width, 0]], np.float64)
        places = lamp.top + cell * rows - 0.5, lamp.left + cell * columns - 0.5
        if (self.path.ahead(*self.view.tangents(*places), self.lean) <= LEAST_AHEAD).any():
            return None
        there = [(part + 0.5) / cell - 0.5 + margin for part in self.thrown(*places)]
        corners = np.stack([columns - 0.5, rows - 0.5], axis=1)
        # Single precision is what it takes; from the first corner it is enough.
        origin = np.floor([there[1][0], there[0][0]])
        ghost = np.stack([there[1], there[0]], axis=1) - origin
        found = cv2.getPerspectiveTransform(corners.astype(np.float32), ghost.astype(np.float32))
        shift = np.array([[1, 0, origin[0]], [0, 1, origin[1]], [0, 0, 1]])
        return np.asarray(shift @ found)


class Disc(NamedTuple):
    """What draws the disc of a ghost: its way, its iris, pixels to a cell, cells across."""

    path: ReturnPath
    blades: int
    cell: int
    across: float

    @classmethod
    def of(cls, path: ReturnPath, blades: int, blur_px: float) -> Disc:
        """Return the disc of a way, so many pixels wide."""
        cell = max(1, int(blur_px / ACCURACY.cells_in_a_ghost))
        return cls(path, blades, cell, blur_px / cell)

    @property
    def reach(self) -> int:
        """Cells from its middle to where it has ended."""
        return math.ceil(self.across / 2) + 1

    def kernel(self, walk: tuple[float, float]) -> Float32:
        """Return it on cells, of sum 1, for light that walks so far; 0 where none comes in."""
        places = np.arange(-self.reach, self.reach + 1) / self.across
        iris = Iris(blades=self.blades, edge=1 / self.across)
        cover = self.path.cover(places[np.newaxis, :], places[:, np.newaxis], walk, iris)
        total = cover.sum()
        return np.asarray(cover / total if total > 0 else cover, np.float32)
