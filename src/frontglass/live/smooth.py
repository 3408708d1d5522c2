"""A still without its grain: what the page blends, and the grain that it lays over the blend."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.live.shown import Half
from frontglass.picture.grain import FAINT
from frontglass.picture.picture import Picture
from frontglass.picture.wider import framed
from frontglass.pipeline.kept_grain import bare

Float32 = NDArray[np.float32]


class Smooth(NamedTuple):
    """A still without its grain.

    Parameters
    ----------
    picture : Picture
        The still; nothing is found in it once more.
    noise : ndarray, shape (H, W, 3), float32, or None
        What its grain adds to its light. None where it has none.

    Notes
    -----
    Grain goes by the root of the light (`Bare.laid_over`), of which no few strengths tell enough
    near bare, while light alone is nearly a polynomial of strength. Light L and noise n that was
    laid over light b is ``L + n sqrt((L + faint) / (b + faint))``.
    """

    picture: Picture
    noise: Float32 | None

    @classmethod
    def of(cls, still: Picture) -> Smooth:
        """Return a still without its grain."""
        if still.wider is None:
            grain = bare(still).grain
            if grain is None:
                return cls(still, None)
            noise = grain.at(slice(None))
            return cls(replace(still, radiance=still.radiance - noise), noise)
        whole, region = cls.of(still.wider.picture), still.wider.region
        if whole.noise is None:
            return cls(still, None)
        return cls(framed(whole.picture, region, still.shot), region.cut(whole.noise))

    def over_root(self) -> Half | None:
        """Return the grain over the root of light: what the page lays over a blend, times that."""
        if self.noise is None:
            return None
        own = self.picture
        light = own.radiance if own.display is None else own.scene
        return (self.noise / _root(light)).astype(np.float16)

    def without_grain(self, seen: Picture) -> Picture:
        """Return the still seen through something without the grain that was laid over it."""
        if self.noise is None:
            return seen
        share = self.noise / _root(self.picture.radiance)
        # What is seen is u**2 + share u - faint, with u the root of light.
        root = np.square(share / 2)
        root += seen.radiance
        root += np.float32(FAINT)
        np.sqrt(np.maximum(root, 0, out=root), out=root)
        root -= share / 2
        light = np.square(root) - np.float32(FAINT)
        # Below nothing noise is that of nothing.
        dark = seen.radiance - share * np.float32(math.sqrt(FAINT))
        return replace(seen, radiance=np.where(light < 0, dark, light))


def _root(light: Float32) -> Float32:
    return np.sqrt(np.maximum(light, 0) + np.float32(FAINT))
