"""Samples that are no number or infinite: how many there are, and what becomes of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Choice
from frontglass.errors import ParameterError

FloatArray = NDArray[np.float32]


class NonFinite(Choice):
    """The rule for NaN and infinities.

    REFUSE tells how many there are and where the first one is. MEND gives NaN and
    -inf the median of the finite samples of the same channel around them, and +inf the
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
    with np.errstate(over="ignore", invalid="ignore"):
        return bool(np.isfinite(values.sum()) or np.isfinite(values).all())


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
