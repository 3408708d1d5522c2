"""What to do with samples that are no number or infinite."""

from __future__ import annotations

from enum import Enum

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import PictureFileError

FloatArray = NDArray[np.float32]


class NonFinite(Enum):
    """The rule for NaN and infinities in float files.

    REFUSE tells how many there are and where the first one is. MEND gives NaN and
    -inf the median of the finite samples of the same channel around them, and +inf the
    largest finite sample of its channel: a lamp beyond the format's range stays the
    brightest thing in the frame. Negative samples are no error: colours outside the
    primaries have them, and they pass as they are.
    """

    REFUSE = "refuse"
    MEND = "mend"


def checked_light(radiance: FloatArray, rule: NonFinite) -> tuple[FloatArray, tuple[str, ...]]:
    """Return finite light, and a notice of what was mended.

    Raises
    ------
    PictureFileError
        If there are NaN or infinities and the rule is to refuse them, or a channel has
        no finite sample at all.
    """
    # One sum tells the usual case: NaN and infinities never add up to a finite number.
    with np.errstate(over="ignore", invalid="ignore"):
        if np.isfinite(radiance.sum(dtype=np.float64)):
            return radiance, ()
    bad = ~np.isfinite(radiance)
    nan_count = int(np.count_nonzero(np.isnan(radiance)))
    inf_count = int(np.count_nonzero(bad)) - nan_count
    y, x, _ = (int(value) for value in np.argwhere(bad)[0])
    found = f"{nan_count} NaN and {inf_count} infinite samples"
    if rule is NonFinite.REFUSE:
        raise PictureFileError(
            f"It holds {found}, the first at x {x}, y {y}. "
            "Mend them in the program that made it, or read it with non_finite=NonFinite.MEND "
            "(--non-finite mend)."
        )
    mended = radiance.copy()
    for channel in range(radiance.shape[2]):
        _mend(mended[..., channel])
    notice = f"{found} are mended from the light around them, the first at x {x}, y {y}."
    return mended, (notice,)


def _mend(plane: FloatArray) -> None:
    finite = np.isfinite(plane)
    if finite.all():
        return
    if not finite.any():
        raise PictureFileError("A channel holds no finite sample at all.")
    source = plane.copy()
    plane[np.isposinf(source)] = source[finite].max()
    for y, x in np.argwhere(~finite & ~np.isposinf(source)):
        reach = 1
        while True:
            rows = slice(max(0, y - reach), y + reach + 1)
            columns = slice(max(0, x - reach), x + reach + 1)
            around = source[rows, columns][finite[rows, columns]]
            if around.size:
                plane[y, x] = np.median(around)
                break
            reach *= 2
