"""What is seen of single clipped areas: how deep their pixels lie, how light falls outside."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32
from frontglass.picture.clipped import Labels, Outline

RING = 0.25
"""Two rings beside an area, each that share of the way to its middle wide, tell the slope."""
BLUR_SHARE = 0.06
"""The lens' own blur, on that scale, is left out."""
LEAST_RING_PX = 2.0
FEWEST_PX = 4


class Seen(NamedTuple):
    """Distance of an area's pixels from its edge [px], and how light falls outside it.

    `slope` is the logarithm of light lost on a pixel of the way out, 0 where none is seen [1/px];
    `edge` what light there would be at the edge itself, over white, 0 where none is seen. [1]
    """

    depth: Float32
    slope: float
    edge: float


@dataclass(frozen=True, eq=False)
class Rims:
    """Clipped areas of a still, one by one.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light of the still.
    found : Outline
        Its clipped areas.
    px_per_rad : float
        Pixels of one radian.
    """

    light: Float32
    found: Outline
    px_per_rad: float

    @cached_property
    def _labels(self) -> Labels:
        return self.found.labels

    @cached_property
    def _order(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Clipped pixels area by area, and where each area begins among them."""
        order = np.argsort(self.found.owner, kind="stable")
        return order, np.searchsorted(
            self.found.owner, np.arange(self.found.regions + 1), sorter=order
        )

    def seen(self, index: int) -> Seen:
        """Area of that number."""
        order, first = self._order
        depth = self.found.depth[order[first[index] : first[index + 1]]]
        return Seen(depth, *self._fall(index, float(depth.max())))

    def _fall(self, index: int, deepest_px: float) -> tuple[float, float]:
        """Slope of light outside an area, and light at its edge."""
        wide = max(LEAST_RING_PX, RING * deepest_px)
        gap = max(0.5, BLUR_SHARE * deepest_px)
        reach = int(np.ceil(gap + 2 * wide)) + 1
        left, top, width, height = (int(side) for side in self.found.boxes[index])
        rows = slice(max(0, top - reach), top + height + reach)
        columns = slice(max(0, left - reach), left + width + reach)
        grey, labels = self.light[rows, columns].mean(axis=2), self._labels[rows, columns]
        away = np.asarray(
            cv2.distanceTransform((labels != index + 1).astype(np.uint8), cv2.DIST_L2, 5)
        )
        inner, outer = (
            grey[(labels == 0) & (away > gap + k * wide) & (away <= gap + (k + 1) * wide)]
            for k in (0, 1)
        )
        if min(inner.size, outer.size) < FEWEST_PX:
            return 0.0, 0.0
        near, far = (max(float(np.median(ring)), 1e-4) for ring in (inner, outer))
        slope = max(0.0, float(np.log(near / far)) / wide)
        white = float(self.found.levels.mean())
        return slope, near / white * float(np.exp(slope * (gap + wide / 2)))
