"""A still without its grain: what the page blends, and the grain that it lays over the blend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32
from frontglass.elements import Element, Place
from frontglass.lit_pixels import LitPixels
from frontglass.live.shown import BRIGHTEST, Half
from frontglass.looks import Look
from frontglass.picture.grain import FAINT
from frontglass.picture.picture import Picture
from frontglass.picture.wider import framed
from frontglass.pipeline.kept_grain import bare
from frontglass.pipeline.recovered_light import direct_share
from frontglass.threads import over_strips

GLASS = {"plate", "glow", "veil", "tint", "stray_lamp"}
"""Kinds behind which light spreads smoothly, and by powers of one number for each unit of
strength."""


class Smooth(NamedTuple):
    """A still without its grain.

    Parameters
    ----------
    picture : Picture
        The still; nothing is found in it once more.
    grain : ndarray, shape (H, W, 3), float32, or None
        What its grain adds to its light, over the root of that. None where it has none.
    finds_floor : bool
        Whether it is left to the page how dark lamps may be: not where light that is lost stays so.

    Notes
    -----
    Grain goes by the root of the light (`Bare.laid_over`), of which no few strengths tell enough
    near bare, while light alone is nearly a polynomial of strength. With grain g light L is
    ``L + g sqrt(L + faint)``.
    """

    picture: Picture
    grain: Float32 | None = None
    finds_floor: bool = True

    @classmethod
    def of(cls, still: Picture) -> Smooth:
        """Return a still without its grain."""
        if still.wider is not None:
            whole, region = cls.of(still.wider.picture), still.wider.region
            if whole.grain is None:
                return cls(still)
            return cls(framed(whole.picture, region, still.shot), region.cut(whole.grain))
        found = bare(still)
        if found.grain is None:
            return cls(still)
        light = np.empty_like(still.radiance)
        grain = np.empty_like(light)

        def some(rows: slice) -> None:
            light[rows] = found.at(rows)
            grain[rows] = (still.radiance[rows] - light[rows]) / _root(light[rows])

        over_strips(some, len(light), light[0].size)
        return cls(replace(still, radiance=light), grain)

    def laid(self) -> Half | None:
        """Return the grain as the page lays it over a blend, or None."""
        own, grain = self.picture, self.grain
        if grain is not None and own.display is not None:
            grain = grain * (_root(own.radiance) / _root(own.scene))
        return None if grain is None else grain.astype(np.float16)

    def without_grain(self, seen: Picture) -> Picture:
        """Return the still seen through something without the grain that was laid over it."""
        if self.grain is None:
            return seen
        light, grain = np.empty_like(seen.radiance), self.grain

        def some(rows: slice) -> None:
            # Light with grain is u**2 + g u - faint, with u the root of what it is without.
            own, half = seen.radiance[rows], grain[rows] / 2
            root = np.sqrt(np.maximum(half * half + own + np.float32(FAINT), 0)) - half
            found = root * root - np.float32(FAINT)
            # Below nothing noise is that of nothing.
            dark = own - 2 * half * np.float32(math.sqrt(FAINT))
            light[rows] = np.where(found < 0, dark, found)

        over_strips(some, len(light), light[0].size)
        return replace(seen, radiance=light)

    def lost(self) -> NDArray[np.uint16]:
        """Return the light that lamps had lost and what is shown of them, for the page.

        Returns
        -------
        ndarray, shape (N, 8), uint16
            A pixel's number, low half first; in half floats its lost light, and its own.
        """
        own = self.picture.recovered
        if own is None or not self._has_floor():
            return np.zeros((0, 8), np.uint16)
        rows, columns = own.at
        place = (rows * own.shape[1] + columns).astype("<u4")
        light = np.concatenate([own.light, self.picture.radiance[own.at]], axis=1)
        halves = np.minimum(light, BRIGHTEST).astype("<f2").view("<u2")
        return np.concatenate([place.view("<u2").reshape(-1, 2), halves], axis=1)

    def without_floor(self, seen: Picture, looks: Sequence[Look]) -> LitPixels | None:
        """Return light of lamps less all direct light that they had lost, be it darker than bare.

        None if there are none, or what is seen of them is no such sum.

        Notes
        -----
        Of lost light L, of which a share d goes straight on, what is seen of a lamp with all its
        light W is ``max(W - L d, min(W, bare))``, which has kinks. The difference has none, and
        neither has d, a power of strength: the page finds the greater itself. What is no such
        power, as of nets, stays as it is.
        """
        lost, left = self.picture.recovered, seen.recovered
        if lost is None or left is None or not self._has_floor():
            return None
        if any(glass_depths(look) is None for look in looks):
            return None
        light = seen.radiance[lost.at] + left.light - lost.light * direct_share(_glass(looks))
        return LitPixels(lost.shape, lost.at, light)

    def with_floor(self, light: Float32, looks: Sequence[Look]) -> Float32:
        """Return light that has lamps of `without_floor` no darker than bare, in place."""
        lost = self.picture.recovered
        if lost is not None:
            own = light[lost.at]
            whole = own + lost.light * direct_share(_glass(looks))
            light[lost.at] = np.minimum(whole, np.maximum(own, self.picture.radiance[lost.at]))
        return light

    def _has_floor(self) -> bool:
        return self.finds_floor and self.picture.beyond is None


def glass_depths(look: Look) -> list[float] | None:
    """Return optical depths of a look's glass for each channel and unit of strength.

    None if direct light is no power of strength, as of nets.
    """
    if not all(element.is_steady for element in look.elements):
        return None
    return [float(own) for own in -np.log(direct_share(_glass([look.at(1)])))]


def _glass(looks: Sequence[Look]) -> list[Element]:
    return [part for look in looks for part in look.light_path if part.place is not Place.AIR]


def _root(light: Float32) -> Float32:
    return np.sqrt(np.maximum(light, 0) + np.float32(FAINT))
