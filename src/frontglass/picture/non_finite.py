"""Samples that are no number or infinite: how many there are, and what becomes of them."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Choice
from frontglass.errors import ParameterError
from frontglass.threads import over_strips

FloatArray = NDArray[np.float32]

BLOCK = 8
"""Side of the blocks that wide holes are filled from [px]."""
HOLES_AT_A_TIME = 1 << 16


class NonFinite(Choice):
    """The rule for NaN and infinities.

    REFUSE tells how many there are and where the first one is. MEND gives NaN and
    -inf the median of the finite samples of the same channel around them (of blocks, where a
    hole is wider than that reaches), and +inf the
    largest finite sample of its channel: a lamp beyond the format's range stays the
    brightest thing in the frame. Negative samples are no error: colours outside the
    primaries have them, and they pass as they are.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> light = np.full((3, 3), 0.25)
    >>> light[1, 1] = np.nan
    >>> float(fg.Picture.from_array(light, non_finite="mend").radiance.max())
    0.25
    """

    REFUSE = "refuse"
    MEND = "mend"


def is_finite(values: FloatArray) -> bool:
    """Whether there is neither NaN nor infinity among `values`."""
    # One sum tells the usual case in a tenth of the time: NaN and infinities never add up to a
    # finite number. Many large numbers may overflow, and are then looked at one by one.
    if _is_finite_sum(values):
        return True
    return bool(np.isfinite(values).all())


def _is_finite_sum(values: FloatArray) -> bool:
    rows = values.reshape(max(1, len(values)), -1) if values.size else np.zeros((1, 1))
    sums: list[float] = []

    def add(own: slice) -> None:
        with np.errstate(over="ignore", invalid="ignore"):
            sums.append(float(rows[own].sum()))

    over_strips(add, *rows.shape, times=16)
    return math.isfinite(sum(sums))


def spoilt_samples(light: FloatArray) -> tuple[str, str]:
    """Say how many samples are not finite, and where the first one is.

    Parameters
    ----------
    light : ndarray, shape (H, W, C)
        At least one sample is not finite.
    """
    bad = ~np.isfinite(light)
    nan_count = int(np.count_nonzero(np.isnan(light)))
    inf_count = int(np.count_nonzero(bad)) - nan_count
    y, x, _ = (int(value) for value in np.argwhere(bad)[0])
    return f"{nan_count} NaN and {inf_count} infinite samples", f"the first at x {x}, y {y}"


def mended(light: FloatArray) -> FloatArray:
    """Return finite light, shape (H, W, C), by the rule `NonFinite.MEND`.

    Raises
    ------
    ParameterError
        If a channel has no finite sample at all.
    """
    whole = light.copy()
    for channel in range(light.shape[2]):
        _mend(whole[..., channel])
    return whole


def _mend(plane: FloatArray) -> None:
    finite = np.isfinite(plane)
    if finite.all():
        return
    if not finite.any():
        raise ParameterError("light", "finite somewhere in each channel", "nothing finite")
    lamps = np.isposinf(plane)
    plane[lamps] = np.nan
    highest = np.nanmax(plane)
    _fill(plane, ~finite & ~lamps)
    plane[lamps] = highest


def _fill(plane: FloatArray, holes: NDArray[np.bool_]) -> None:
    """Put the light around them into holes; all that is not finite is NaN."""
    source = plane.copy()
    for reach in (1, 2, 4):
        window = np.ones((2 * reach + 1,) * 2, np.uint8)
        near = cv2.dilate(np.isfinite(source).astype(np.uint8), window)
        ys, xs = np.nonzero(holes & (near > 0))
        for at in range(0, len(ys), HOLES_AT_A_TIME):
            one = ys[at : at + HOLES_AT_A_TIME], xs[at : at + HOLES_AT_A_TIME]
            plane[one] = _median_around(source, *one, reach)
        holes = holes & np.isnan(plane)
        if not holes.any():
            return
    # Inside wide holes from a plane of blocks: medians over ever wider windows took a minute.
    blocks = _medians_of_blocks(source)
    _fill(blocks, np.isnan(blocks))
    ys, xs = np.nonzero(holes)
    plane[ys, xs] = blocks[ys // BLOCK, xs // BLOCK]


def _median_around(
    source: FloatArray, ys: NDArray[np.intp], xs: NDArray[np.intp], reach: int
) -> FloatArray:
    """Median of what is finite around places; NaN where nothing is."""
    height, width = source.shape
    steps = np.mgrid[-reach : reach + 1, -reach : reach + 1].reshape(2, -1, 1)
    rows, columns = ys + steps[0], xs + steps[1]
    is_inside = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    around = source[rows.clip(0, height - 1), columns.clip(0, width - 1)]
    return _medians(np.where(is_inside, around, np.nan))


def _medians_of_blocks(source: FloatArray) -> FloatArray:
    height, width = source.shape
    rows, columns = -(-height // BLOCK), -(-width // BLOCK)
    whole = np.full((rows * BLOCK, columns * BLOCK), np.nan, source.dtype)
    whole[:height, :width] = source
    blocks = whole.reshape(rows, BLOCK, columns, BLOCK).transpose(1, 3, 0, 2)
    return _medians(blocks.reshape(BLOCK * BLOCK, -1)).reshape(rows, columns)


def _medians(values: FloatArray) -> FloatArray:
    """Median of each column but for its NaN; NaN where there is nothing else."""
    ordered = np.sort(values, axis=0)  # NaN go last
    count = np.isfinite(values).sum(axis=0)
    each = np.arange(values.shape[1])
    low, high = ordered[np.maximum(count - 1, 0) // 2, each], ordered[count // 2, each]
    # Of an even number the mean of the two in the middle, as usual; halved first, lest it overflow.
    return np.asarray(low / 2 + high / 2, values.dtype)
