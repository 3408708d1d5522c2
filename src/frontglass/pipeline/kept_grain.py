"""Grain that stays: noise of the sensor, which never went through what stands before the lens."""

from __future__ import annotations

import weakref
import zlib

import numpy as np
from numpy.typing import NDArray

from frontglass.picture.grain import FAINT, grain_of
from frontglass.picture.picture import Picture

Float32 = NDArray[np.float32]

ROWS_AT_ONCE = 64


def without_grain(picture: Picture) -> Float32:
    """Light of a still without its noise; the light itself if it has none.

    Files of floats are taken to have none: what was rendered or merged has none, and nobody knows
    how finely the rest was coded.
    """
    step = picture.encoding.code_step
    return picture.radiance if step is None else _LAST.of(picture.radiance, step)


class _Last:
    """What the last still is without its grain, for as long as that still is there as it was.

    A sheet shows one still through many looks, and finding grain takes longer than most of them.
    """

    def __init__(self) -> None:
        self._found: tuple[weakref.ref[Float32], tuple[float, int], Float32 | None] | None = None

    def of(self, light: Float32, step: float) -> Float32:
        """Return light without its grain, the light itself if it has none."""
        found = self._found
        as_it_is = step, zlib.crc32(np.ascontiguousarray(light).data)
        if found is None or found[0]() is not light or found[1] != as_it_is:
            grain = grain_of(light, step)
            if grain is not None:
                np.subtract(light, grain, out=grain)
                grain.flags.writeable = False
            found = self._found = (weakref.ref(light, self._forget), as_it_is, grain)
        return light if found[2] is None else found[2]

    def _forget(self, gone: weakref.ref[Float32]) -> None:
        found = self._found
        if found is not None and found[0] is gone:
            self._found = None


_LAST = _Last()


def with_grain(seen: Float32, bare: Float32, still: Float32) -> Float32:
    """Light seen through something, with the grain of the still laid over it, in place.

    Parameters
    ----------
    seen : ndarray, shape (H, W, 3), float32
        What became of `bare`.
    bare : ndarray of the same shape
        The still without its grain; the still itself if it has none.
    still : ndarray of the same shape
        The still.

    Notes
    -----
    The sensor adds noise to what reaches it. So noise goes by the light that is seen, be it veiled,
    hazed or dimmed, and not by that of the surface: as its root, for light is noisy as its root
    [Foi2008]. In display codes, which are nearly roots, grain is as strong as it was. Where nothing
    has changed the still is given back bit for bit.
    """
    if bare is still:
        return seen
    if seen is bare:
        return still
    for top in range(0, len(seen), ROWS_AT_ONCE):
        rows = slice(top, top + ROWS_AT_ONCE)
        own, base = seen[rows], bare[rows]
        louder = np.maximum(own, 0) + np.float32(FAINT)
        louder /= np.maximum(base, 0) + np.float32(FAINT)
        grain = still[rows] - base
        changed = own - base
        grain *= np.sqrt(louder, out=louder) - 1
        grain += changed
        np.add(still[rows], grain, out=own)
    return seen
