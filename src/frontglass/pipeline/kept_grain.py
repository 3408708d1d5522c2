"""Grain that stays: noise of the sensor, which never went through what stands before the lens."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.picture.grain import FAINT, Grain, grain_of
from frontglass.picture.last_light import LastLight
from frontglass.picture.picture import Picture
from frontglass.threads import over_strips

Float32 = NDArray[np.float32]


class Bare(NamedTuple):
    """A still, and the grain that is not of its light; None where it has none."""

    still: Float32
    grain: Grain | None

    def at(self, where: Any) -> Float32:
        """Light without grain of some rows or pixels."""
        light: Float32 = self.still[where]
        return light if self.grain is None else np.subtract(light, self.grain.at(where))

    def whole(self) -> Float32:
        """Light without grain, as a frame of its own."""
        light = np.empty_like(self.still)

        def lay(rows: slice) -> None:
            light[rows] = self.at(rows)

        over_strips(lay, light.shape[0], light.shape[1] * 3)
        return light

    def laid_over(self, seen: Float32) -> Float32:
        """Light seen through something, with the grain of the still laid over it, in place.

        Parameters
        ----------
        seen : ndarray, shape (H, W, 3), float32
            What became of the light without grain.

        Notes
        -----
        The sensor adds noise to what reaches it. So noise goes by the light that is seen, be it
        veiled, hazed or dimmed, and not by that of the surface: as its root, for light is noisy as
        its root [Foi2008]. In display codes, which are nearly roots, grain is as strong as it was.
        Where nothing has changed the still is given back bit for bit.
        """
        grain = self.grain
        if grain is None:
            return seen

        def lay(rows: slice) -> None:
            own, noise = seen[rows], grain.at(rows)
            bare = self.still[rows] - noise
            louder = np.maximum(own, 0)
            own -= bare
            louder += np.float32(FAINT)
            np.maximum(bare, 0, out=bare)
            bare += np.float32(FAINT)
            louder /= bare
            np.sqrt(louder, out=louder)
            louder -= 1
            louder *= noise
            own += louder
            own += self.still[rows]

        over_strips(lay, seen.shape[0], seen.shape[1] * 3)
        return seen


def bare(picture: Picture) -> Bare:
    """Return a still and its grain.

    Files of floats are taken to have none: what was rendered or merged has none, and nobody knows
    how finely the rest was coded.
    """
    step = picture.encoding.code_step
    grain = (
        None
        if step is None
        else _LAST.of(picture.radiance, step, lambda: grain_of(picture.radiance, step))
    )
    return Bare(picture.radiance, grain)


# A sheet shows one still through many looks, and finding grain takes longer than most of them.
_LAST = LastLight[Grain | None]()
