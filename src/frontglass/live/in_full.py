"""Full stills through looks, in as little memory as may be."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

from frontglass.convolution.kept import keeping_small_alone
from frontglass.picture.codes import StillInCodes
from frontglass.picture.picture import Picture
from frontglass.threads import over_strips, while_wanted


@contextmanager
def lean(picture: Picture, *, is_compared: bool) -> Iterator[StillInCodes | None]:
    """Hold no planes and no second frame of a large still while it is rendered.

    Parameters
    ----------
    picture : Picture
        The still.
    is_compared : bool
        Whether its light is needed beside what it becomes.

    Yields
    ------
    StillInCodes or None
        What tells the still while its own frame is written over; it is there again afterwards.
    """
    again = None
    if picture.wider is None and not is_compared:
        again = StillInCodes.of(picture.radiance, picture.encoding)
    light = picture.radiance
    # What an earlier render left half done may hold frames of its own.
    gc.collect()
    try:
        with keeping_small_alone():
            yield again
    finally:
        if again is not None:

            def restore(rows: slice) -> None:
                light[rows] = again[rows]

            # Also where nobody waits for the render any more, which ends all that is shared.
            with while_wanted(lambda: True):
                over_strips(restore, len(light), light[0].size)
