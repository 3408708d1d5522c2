"""Light that a still does not show: what it sends spreads, what the still shows stays."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from frontglass.elements import Element, Passage, Place
from frontglass.picture.codes import over_strips
from frontglass.picture.picture import Picture

Float32 = NDArray[np.float32]

CHANNELS = (0, 1, 2)


def without_direct(
    seen: Float32, base: Float32, recovered: Float32, elements: Sequence[Element]
) -> Float32:
    """Take the recovered light that went straight on out of `seen`, in place, and return it.

    Parameters
    ----------
    seen : ndarray, shape (H, W, 3), float32
        ``base + recovered`` after the elements.
    base, recovered : ndarray, shape (H, W, 3), float32
        The still, and the light that it had lost.
    elements : sequence of Element
        What the light went through.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        What was taken out.

    Notes
    -----
    What is left is the direct light of the base and all that was spread. A lamp never falls below
    what the still showed of it, unless it does with all its light: a real lamp behind glass is
    still far above white.
    """
    direct = _direct(elements)
    lamp = _lit(recovered)
    whole = seen[lamp]
    without = np.maximum(whole - recovered[lamp] * direct, np.minimum(whole, base[lamp]))
    seen[lamp] = without
    # Not zeros_like, which writes them all.
    taken = np.zeros(seen.shape, seen.dtype)
    taken[lamp] = whole - without
    return taken


def _direct(elements: Sequence[Element]) -> Float32:
    return np.array(
        [math.prod(part.direct_share(c) for part in elements) for c in CHANNELS], np.float32
    )


def without_direct_beyond(
    seen: Float32, picture: Picture, base: Float32, path: Sequence[Element], passage: Passage
) -> tuple[Float32, Float32 | None]:
    """Take light that a still's file holds beyond what it shows out of `seen`, in place.

    Parameters
    ----------
    seen : ndarray, shape (H, W, 3), float32
        All light of the still after the elements.
    picture : Picture
        The still, with light beyond.
    base : ndarray, shape (H, W, 3), float32
        What it shows, as it went in.
    path, passage
        What the light went through.

    Returns
    -------
    tuple of ndarray, and ndarray or None
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
    direct = _direct(glass)
    beyond, recovered = picture.beyond, picture.recovered
    left = np.empty_like(seen)
    lamp_left = None if recovered is None else np.zeros(seen.shape, seen.dtype)

    def work(rows: slice) -> None:
        whole = seen[rows]
        through = direct * _air_share(air, passage, rows)
        taken = beyond[rows] * through
        held = np.clip(whole - 1, 0, 1)
        if recovered is not None:
            lost = recovered[rows]
            taken = taken + lost * direct
            held[lost.max(axis=-1) > 0] = 1
        floor = np.minimum(whole, base[rows]) * held
        without = np.maximum(whole - taken, np.minimum(floor, whole))
        gone = whole - without
        if lamp_left is not None:
            own = np.minimum(gone, beyond[rows] * through)
            lamp_left[rows] = gone - own
            gone = own
        left[rows] = gone
        seen[rows] = without

    over_strips(work, seen.shape[0], seen.shape[1] * 3)
    return left, lamp_left


def _air_share(air: Sequence[Element], passage: Passage, rows: slice) -> Float32:
    """Share of light that crosses the air to each pixel, shape (rows, W, 3) or (1, 1, 3)."""
    share = np.ones((1, 1, 3), np.float32)
    for element in air:
        share = share * element.share_through(passage, rows)
    return share


def _lit(recovered: Float32) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the pixels that gave back any light: few, in few rows."""
    rows = np.flatnonzero(recovered.reshape(recovered.shape[0], -1).max(axis=1) > 0)
    some = recovered[rows]
    down, across = np.nonzero((some[..., 0] > 0) | (some[..., 1] > 0) | (some[..., 2] > 0))
    return rows[down], across
