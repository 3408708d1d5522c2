"""Grain that stays: noise of the sensor, which never went through what stands before the lens."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import cv2
import numpy as np

from frontglass.arrays import Float32
from frontglass.picture.codes import StillInCodes
from frontglass.picture.dither import rank_tile
from frontglass.picture.grain import FAINT, Grain, grain_of
from frontglass.picture.last_light import LastLight
from frontglass.picture.picture import Picture
from frontglass.threads import meanwhile, over_strips


class Bare(NamedTuple):
    """A still, and the grain that is not of its light; None where it has none.

    Where codes tell the still again, its own frame may be written over.
    """

    light: Float32
    grain: Grain | None
    again: StillInCodes | None = None

    def shown(self, where: Any) -> Float32:
        """Light of some rows or pixels, with its grain."""
        light: Float32 = (self.light if self.again is None else self.again)[where]
        return light

    def at(self, where: Any) -> Float32:
        """Light without grain of some rows or pixels."""
        light = self.shown(where)
        return light if self.grain is None else np.subtract(light, self.grain.at(where))

    def whole(self) -> Float32:
        """Light without grain, in a frame that may be written over."""
        grain = self.grain
        if grain is None:
            return self.light.copy() if self.again is None else self.light
        frame = np.empty_like(self.light) if self.again is None else self.light

        def lay(rows: slice) -> None:
            np.subtract(self.light[rows], grain.at(rows), out=frame[rows])

        over_strips(lay, frame.shape[0], frame.shape[1] * 3)
        return frame

    def laid_over(self, seen: Float32, look: Callable[[Float32], None] | None = None) -> Float32:
        """Light seen through something, with the grain of the still laid over it, in place.

        Parameters
        ----------
        seen : ndarray, shape (H, W, 3), float32
            What became of the light without grain.
        look : callable or None
            Is shown some rows after the others, once they are done.

        Notes
        -----
        The sensor adds noise to what reaches it. So noise goes by the light that is seen, be it
        veiled, hazed or dimmed, and not by that of the surface: as its root, for light is noisy as
        its root [Foi2008]. In display codes, which are nearly roots, grain is as strong as it was.
        Where nothing has changed the still is given back bit for bit.
        """
        grain = self.grain

        def lay(rows: slice) -> None:
            own = seen[rows]
            if grain is not None:
                _lay(own, grain.at(rows), self.shown(rows))
            if look is not None:
                look(own)

        if grain is not None or look is not None:
            over_strips(lay, seen.shape[0], seen.shape[1] * 3)
        return seen


def _lay(own: Float32, noise: Float32, still: Float32) -> None:
    """Lay noise of a still over light seen through something, in place; all three of some rows."""
    bare = still - noise
    louder = _not_below_nothing(own)
    own -= bare
    louder += np.float32(FAINT)
    bare = _not_below_nothing(bare)
    bare += np.float32(FAINT)
    louder /= bare
    cv2.sqrt(louder, louder)
    louder -= 1
    louder *= noise
    own += louder
    own += still


def _not_below_nothing(light: Float32) -> Float32:
    """Light but for what is below 0; numpy's maximum takes four times as long."""
    rows = light.reshape(len(light), -1)
    above = cv2.threshold(rows, 0, 0, cv2.THRESH_TOZERO)[1]
    return np.asarray(above, np.float32).reshape(light.shape)


def bare(picture: Picture, again: StillInCodes | None = None) -> Bare:
    """Return a still and its grain; its frame may be written over if something tells it again.

    Files of floats are taken to have none: what was rendered or merged has none, and nobody knows
    how finely the rest was coded.
    """
    step = picture.encoding.code_step
    if step is None:
        return Bare(picture.radiance, None, again)
    find = _LAST.of if again is None else _LAST.once
    grain = find(picture.radiance, step, lambda: grain_of(picture.radiance, step))
    return Bare(picture.radiance, grain, again)


def begin_grain(picture: Picture) -> None:
    """Look for a still's grain in another thread; its light must stay as it is meanwhile.

    Then the noise that its codes are dithered with is there too once it is needed.
    """
    step = picture.encoding.code_step
    if step is not None:
        light = picture.radiance
        # What another thread makes so large goes back to the system, and is not used again.
        room = np.empty(light.shape, np.int16)
        _LAST.begin(light, step, lambda: grain_of(light, step, room))
        meanwhile(rank_tile)


# A sheet shows one still through many looks, and finding grain takes longer than most of them.
_LAST = LastLight[Grain | None]()
