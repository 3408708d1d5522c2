"""Pieces of a plane small enough for a processor's cache, and precision."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.late import put_off
from frontglass.threads import in_pieces, meanwhile

Plane = NDArray[Any]

ROWS_AT_ONCE, COLUMNS_AT_ONCE = 32, 192
COLUMN_SAMPLES = 1 << 18
"""No more of tall columns at once: a piece in work takes up to ten times as much memory."""


ALONE_IN_BLAS = 1 << 18
"""Products with so many multiplications OpenBLAS does in the thread that asks; larger ones it
splits among threads that wait for each other in a loop: beside other work ten times what that
saves."""


FEWEST_ROWS = 32


NEVER_USED = ("numpy.f2py", "numpy.testing")
"""A quarter of what scipy's transforms take to load, which name all that numpy has."""


def load_transforms() -> None:
    """Load scipy's transforms, a third of the start of a command, while there is time for it."""
    for name in NEVER_USED:
        put_off(name)
    _ = scipy.fft


def load_transforms_meanwhile() -> None:
    """Load them in another thread: who needs them before they are there waits for them."""
    meanwhile(load_transforms)


def over_columns(do: Callable[[slice], None], shape: tuple[int, ...]) -> None:
    """Share the columns of a plane among threads."""
    in_pieces(do, shape[1], max(1, min(COLUMNS_AT_ONCE, COLUMN_SAMPLES // shape[0])))


def over_rows(do: Callable[[slice], None], shape: tuple[int, ...]) -> None:
    """Share the rows of a plane among threads: what goes sample by sample is far quicker so."""
    in_pieces(do, shape[0], max(1, min(COLUMNS_AT_ONCE, COLUMN_SAMPLES // shape[1])))


_is_single: ContextVar[bool] = ContextVar("single_precision", default=False)


@contextmanager
def single_precision() -> Iterator[None]:
    """Let small frames meanwhile be spread as large ones are, in half the time."""
    before = _is_single.set(True)
    try:
        yield
    finally:
        _is_single.reset(before)


def precision_for(squares: float, shape: tuple[int, ...], share: float) -> np.dtype[Any]:
    """Precision for light of a frame, by the mean of its squares, of which a share is spread."""
    if math.sqrt(squares) * share > ACCURACY.single_rms:
        return np.dtype(np.float64)
    return precision_of_planes(shape)


def precision_of_planes(shape: tuple[int, ...]) -> np.dtype[Any]:
    """Precision for planes: their errors are small beside what transforms of bright light make."""
    small = shape[0] * shape[1] < ACCURACY.single_from_px and not _is_single.get()
    return np.dtype(np.float64 if small else np.float32)


def in_place(transform: Callable[..., Plane], plane: Plane, **how: int) -> None:
    """Put the transform where its input was; scipy does so when it may, but does not promise it."""
    out = transform(plane, overwrite_x=True, **how)
    if not np.may_share_memory(out, plane):
        plane[:] = out


def add_product(out: Plane, left: Plane, right: Plane) -> Plane:
    """Return `out` with a product of two matrices added to it, in place.

    Notes
    -----
    In pieces so small that BLAS takes no threads for them: those that share planes would wait for
    its own. 720 x 7 times 7 x 384 took 4 to 6 CPU ms so, beside other work, and 0.2 in pieces.
    """
    step = max(1, ALONE_IN_BLAS // max(1, right.size))
    if step >= FEWEST_ROWS:
        for start in range(0, len(left), step):
            out[start : start + step] += left[start : start + step] @ right
        return out
    # By columns too: row by row, what is on the right would be read for each anew.
    step = max(1, ALONE_IN_BLAS // (FEWEST_ROWS * left.shape[1]))
    for top in range(0, len(left), FEWEST_ROWS):
        rows = slice(top, top + FEWEST_ROWS)
        for start in range(0, right.shape[1], step):
            columns = slice(start, start + step)
            out[rows, columns] += left[rows] @ right[:, columns]
    return out
