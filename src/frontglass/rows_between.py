"""Maps that vary slowly down a frame: known on few rows, and between them along straight lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32

if TYPE_CHECKING:
    from typing import Self

Places = NDArray[np.intp]


class RowsBetween(NamedTuple):
    """A map over a frame of H rows and W columns, as OpenCV enlarges one of nodes.

    Parameters
    ----------
    nodes : ndarray, shape (N, W), float32
        Its values in the middles of N equal parts of the rows.
    height : int
        H.
    """

    nodes: Float32
    height: int

    @classmethod
    def of(cls, nodes: Float32, height: int, width: int) -> Self:
        """Return nodes both ways as a map over a frame."""
        size = width, len(nodes)
        wide = cv2.resize(nodes, size, interpolation=cv2.INTER_LINEAR)
        return cls(np.asarray(wide, np.float32), height)

    def at(self, rows: Places, columns: Places | slice) -> Float32:
        """Values at pixels, or in all of some columns of rows."""
        above, below, t = self._round(rows)
        if isinstance(columns, slice):
            t = t[:, np.newaxis]
        level = (1 - t) * self.nodes[above, columns] + t * self.nodes[below, columns]
        return np.asarray(level, np.float32)

    def within(self, rows: slice, columns: slice = slice(None)) -> Float32:
        """Values of some rows and columns."""
        return self.at(np.arange(rows.start, rows.stop), columns)

    def least(self, rows: slice) -> Float32:
        """Return what no value of some rows is less than, in each column."""
        above, below, _ = self._round(np.array([rows.start, rows.stop - 1]))
        return np.asarray(self.nodes[above[0] : below[1] + 1].min(axis=0))

    def _round(self, rows: Places) -> tuple[Places, Places, Float32]:
        """Nodes above and below rows, and how far on the way between them these lie."""
        count = len(self.nodes)
        y = np.clip((rows + 0.5) * count / self.height - 0.5, 0, count - 1)
        above = np.minimum(y.astype(np.intp), max(count - 2, 0))
        return above, np.minimum(above + 1, count - 1), (y - above).astype(np.float32)
