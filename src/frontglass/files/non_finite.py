"""Samples of a file that are no number or infinite: refused or mended."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import ParameterError, PictureFileError
from frontglass.picture.non_finite import NonFinite, is_finite, mended, spoilt_samples

FloatArray = NDArray[np.float32]


def checked_light(radiance: FloatArray, rule: NonFinite) -> tuple[FloatArray, tuple[str, ...]]:
    """Return finite light, and a notice of what was mended.

    Raises
    ------
    PictureFileError
        If there are NaN or infinities and the rule is to refuse them, or a channel has
        no finite sample at all.
    """
    if is_finite(radiance):
        return radiance, ()
    found, first = spoilt_samples(radiance)
    if rule is NonFinite.REFUSE:
        raise PictureFileError(
            f"It holds {found}, {first}. Mend them in the program that made it, or read it with "
            'non_finite="mend" (--non-finite mend).'
        )
    try:
        return mended(radiance), (f"{found} are mended from the light around them, {first}.",)
    except ParameterError:
        raise PictureFileError("A channel holds no finite sample at all.") from None
