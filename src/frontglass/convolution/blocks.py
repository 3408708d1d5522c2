"""Pieces of a plane small enough for a processor's cache, threads that share them, precision."""

from __future__ import annotations

import math
import os
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Float32 = NDArray[np.float32]
Plane = NDArray[Any]

ROWS_AT_ONCE, COLUMNS_AT_ONCE = 32, 192
FEWEST_IN_SINGLE_PX = 1_000_000
"""Smaller frames cost little in double precision, which keeps their light to a millionth."""
BRIGHTEST_IN_SINGLE = 2000.0
"""Measured on the café: single precision errs by 1e-8 of the brightest lamp."""
MOST_IN_SINGLE = 12.0
"""Root mean square of the light that is spread over a frame: single precision errs by 3e-5 of white
at most, measured with eight lamps of 600 on 1500x1000."""


def precision_for(light: Float32, share: float) -> np.dtype[Any]:
    """Precision for light of shape (H, W, 3) of which a share is spread over the whole frame."""
    root_mean_square = cv2.norm(light, cv2.NORM_L2) / math.sqrt(light.size)
    small = light.shape[0] * light.shape[1] < FEWEST_IN_SINGLE_PX
    is_double = small or root_mean_square * share > MOST_IN_SINGLE
    return np.dtype(np.float64 if is_double else np.float32)


def available_cores() -> int:
    """Processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Workspace:
    """Arrays that each thread keeps: fresh memory costs as much time as transforms do."""

    def __init__(self, kind: np.dtype[Any]) -> None:
        self.kind = kind
        self._threads = threading.local()

    def own(self, name: str, shape: tuple[int, ...]) -> Plane:
        """Return an array for the calling thread alone; it holds anything."""
        kept = self._threads.__dict__
        if name not in kept:
            kept[name] = np.empty(shape, dtype=self.kind)
        return np.asarray(kept[name])


def in_blocks(
    pool: ThreadPoolExecutor, do: Callable[[int, int], None], length: int, step: int
) -> None:
    """Share pieces ``do(start, end)`` of a length among threads; an error in one is raised here."""
    starts = range(0, length, step)
    for _ in pool.map(lambda start: do(start, min(start + step, length)), starts):
        pass


def in_pieces(do: Callable[[slice], None], length: int, step: int) -> None:
    """Share pieces of a length among threads; an error in one is raised here."""
    pieces = [slice(start, min(start + step, length)) for start in range(0, length, step)]
    with ThreadPoolExecutor(available_cores()) as pool:
        for _ in pool.map(do, pieces):
            pass


def in_place(transform: Callable[..., Plane], plane: Plane, **how: int) -> None:
    """Put the transform where its input was; scipy does so when it may, but does not promise it."""
    out = transform(plane, overwrite_x=True, **how)
    if not np.may_share_memory(out, plane):
        plane[:] = out


def columns_of(width: int) -> list[slice]:
    """Blocks of columns."""
    starts = range(0, width, COLUMNS_AT_ONCE)
    return [slice(start, min(start + COLUMNS_AT_ONCE, width)) for start in starts]


class Blocks:
    """A plane of zeros cut into blocks of columns, each of which lies in one piece of memory.

    Rows are written through all blocks; a column is transformed within one.
    """

    def __init__(self, kind: np.dtype[Any], shape: tuple[int, int]) -> None:
        rows, width = shape
        self.columns = columns_of(width)
        self._memory = np.zeros((len(self.columns), rows, COLUMNS_AT_ONCE), dtype=kind)

    def __len__(self) -> int:
        return len(self._memory)

    def __getitem__(self, block: int) -> Plane:
        some = self.columns[block]
        return np.asarray(self._memory[block, :, : some.stop - some.start])

    def write(self, first: int, rows: Plane) -> None:
        """Store rows of the plane, from `first` on."""
        for block, columns in enumerate(self.columns):
            self[block][first : first + len(rows)] = rows[:, columns]
