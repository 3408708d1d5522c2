"""Light that a still does not show: what it sends spreads, what the still shows stays."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from frontglass.arrays import Float32
from frontglass.elements import Element, Passage, Place
from frontglass.lit_pixels import LitPixels
from frontglass.picture.picture import Picture
from frontglass.pipeline.kept_grain import Bare
from frontglass.threads import in_pieces, over_strips

CHANNELS = (0, 1, 2)
PIXELS_AT_ONCE = 1 << 15


def without_direct(
    seen: Float32, still: Bare, recovered: LitPixels, elements: Sequence[Element]
) -> LitPixels:
    """Take the recovered light that went straight on out of `seen`, in place, and return it.

    Parameters
    ----------
    seen : ndarray, shape (H, W, 3), float32
        The bare still and what was recovered, after the elements.
    still : Bare
        The still.
    recovered : LitPixels
        The light that its lamps had lost.
    elements : sequence of Element
        What the light went through.

    Returns
    -------
    LitPixels
        What was taken out.

    Notes
    -----
    What is left is the direct light of the base and all that was spread. A lamp never falls below
    what the still showed of it, unless it does with all its light: a real lamp behind glass is
    still far above white.
    """
    direct = direct_share(elements)
    left = np.empty_like(recovered.light)

    def some(own: slice) -> None:
        at = recovered.at[0][own], recovered.at[1][own]
        whole = seen[at]
        least = np.minimum(whole, still.at(at))
        seen[at] = np.maximum(whole - recovered.light[own] * direct, least)
        left[own] = whole - seen[at]

    in_pieces(some, len(left), PIXELS_AT_ONCE)
    return LitPixels(seen.shape, recovered.at, left)


def direct_share(elements: Sequence[Element]) -> Float32:
    """Return the share of red, green and blue that goes straight on through elements."""
    return np.array(
        [math.prod(part.direct_share(c) for part in elements) for c in CHANNELS], np.float32
    )


def without_direct_beyond(
    seen: Float32, picture: Picture, still: Bare, path: Sequence[Element], passage: Passage
) -> tuple[Float32, LitPixels | None]:
    """Take light that a still's file holds beyond what it shows out of `seen`, in place.

    Parameters
    ----------
    seen : ndarray, shape (H, W, 3), float32
        All light of the still after the elements.
    picture : Picture
        The still, with light beyond.
    still : Bare
        What it shows, as it went in.
    path, passage
        What the light went through.

    Returns
    -------
    tuple of ndarray, and LitPixels or None
        What was taken out of light beyond, and of recovered light.

    Notes
    -----
    As for recovered light, but that such light lies all over the frame, and air dims it. A part
    shown does not fall while it is still above white behind the glass; below white it does, and
    from there to a stop above it falls more and more.
    """
    assert picture.beyond is not None
    glass = [element for element in path if element.place is not Place.AIR]
    air = [element for element in path if element.place is Place.AIR]
    direct = direct_share(glass)
    beyond, recovered = picture.beyond, picture.recovered
    left = np.empty_like(seen)
    of_lamps: dict[int, Float32] = {}

    def work(rows: slice) -> None:
        whole = seen[rows]
        through = direct * _air_share(air, passage, rows)
        taken = beyond[rows] * through
        held = np.clip(whole - 1, 0, 1)
        lost = None if recovered is None else recovered.within(rows)
        if lost is not None:
            taken = lost.times(direct).added_to(np.asarray(taken, np.float32))
            held[lost.at] = 1
        floor = np.minimum(whole, still.at(rows)) * held
        without = np.maximum(whole - taken, np.minimum(floor, whole))
        gone = whole - without
        if lost is not None:
            own = np.minimum(gone, beyond[rows] * through)
            of_lamps[rows.start] = (gone - own)[lost.at]
            gone = own
        left[rows] = gone
        seen[rows] = without

    over_strips(work, seen.shape[0], seen.shape[1] * 3)
    if recovered is None:
        return left, None
    lamps = np.concatenate([of_lamps[start] for start in sorted(of_lamps)])
    return left, LitPixels(recovered.shape, recovered.at, lamps)


def _air_share(air: Sequence[Element], passage: Passage, rows: slice) -> Float32:
    """Share of light that crosses the air to each pixel, shape (rows, W, 3) or (1, 1, 3)."""
    share = np.ones((1, 1, 3), np.float32)
    for element in air:
        share = share * element.share_through(passage, rows)
    return share
