"""Nets and lines as filters: a product of streaks, one for each family of threads.

What a family of threads does to light is a streak of one dimension. Its transfer function is in
closed form, and one transform of it along the streak gives the light there, dots, halos and tails
together. Streaks are laid on the mirrored frame, and what they make of its waves multiplies.

A product of means over a channel's band is not the mean of products: near a lamp the dots beside
the arms point at it, where a product would make blots of them, averaged over pixels once too often.
So the first orders that two or three families deviate together are laid at their places, and what
the product makes of the same orders is taken off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from scipy import fft

from frontglass.accuracy import ACCURACY
from frontglass.convolution.blocks import COLUMNS_AT_ONCE
from frontglass.convolution.filters import Planes
from frontglass.convolution.joint_orders import beside_the_arms
from frontglass.convolution.splat import MaskFilter, Pixels, Points, planes_of, splat
from frontglass.optics.bands import Band
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings
from frontglass.threads import in_pieces


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedFilter(MaskFilter):
    """Crossed gratings before the lens, in one channel.

    Parameters
    ----------
    mask : CrossedGratings
        What the pupil sees.
    """

    mask: CrossedGratings

    @property
    def is_level(self) -> bool:
        """See `Filter`."""
        return all(turn % (math.pi / 2) == 0 for turn in self.mask.across_rad)

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
        """See `Filter`."""
        streaks = {g: streak(g, self.band, self.px_per_rad) for g in set(self.mask.gratings)}
        product: _Passed | None = None
        spare: Planes | None = None
        done: set[int] = set()
        for index, grating in enumerate(self.mask.gratings):
            if index in done:
                continue
            image = self.mask.mirror_image_of(index)
            laid = splat(_turned(streaks[grating], self.mask.across_rad[index]))
            own = self._planes(laid, shape, dtype, is_even=image == index, spare=spare)
            family, spare = _Passed(grating.direct, own), None
            if image is not None and image != index:
                done.add(image)
                family = family.with_mirror_image()
                spare = own.odd if own.odd is None else Planes(own.odd, None)
            if product is not None:
                before, family = product, product.times(family)
                spare = own if family.planes is before.planes else before.planes
            product = family
        assert product is not None
        beside = beside_the_arms(self.mask, self.band, self.px_per_rad)
        more = beside and self._planes(beside, shape, dtype, is_even=self.is_even, spare=spare)
        return product.mixed(more, 1 - self.pale_share)

    def _planes(
        self,
        laid: Pixels,
        shape: tuple[int, int],
        dtype: np.dtype[Any],
        *,
        is_even: bool,
        spare: Planes | None,
    ) -> Planes:
        """Planes of light on pixels, in memory that is no longer needed if it fits."""
        if spare is not None and (spare.odd is None) != is_even:
            spare = None
        return planes_of(
            [laid], shape, dtype, is_even=is_even, has_mirrors=self.has_mirrors, spare=spare
        )


@dataclass(frozen=True, slots=True)
class _Passed:
    """Direct light, and planes of deviated light that are used up by what is done with them.

    Direct light never enters a transform, nor is it ever added to what a transform gave.
    """

    direct: float
    planes: Planes

    def with_mirror_image(self) -> _Passed:
        """Light that passes a family and its mirror image: even, (d + E)^2 - O^2 - d^2."""

        def multiply(columns: slice) -> None:
            even, odd = self.planes.at(columns)
            even *= even + even.dtype.type(2 * self.direct)
            assert odd is not None
            even -= np.square(odd)

        in_pieces(multiply, self.planes.even.shape[1], COLUMNS_AT_ONCE)
        return _Passed(self.direct**2, Planes(self.planes.even, None))

    def times(self, other: _Passed) -> _Passed:
        """Light that passes another as well: planes E1 E2 + O1 O2 and E1 O2 + O1 E2."""
        if self.planes.odd is None and other.planes.odd is not None:
            return other.times(self)

        def multiply(columns: slice) -> None:
            (even, odd), (more, turned) = self.planes.at(columns), other.planes.at(columns)
            direct = even.dtype.type(self.direct)
            passed = more + even.dtype.type(other.direct)
            crossed = None
            if odd is not None and turned is not None:
                crossed = odd * turned
                odd *= passed
                odd += (even + direct) * turned
            elif odd is not None:
                odd *= passed
            even *= passed
            even += direct * more
            if crossed is not None:
                even += crossed

        in_pieces(multiply, self.planes.even.shape[1], COLUMNS_AT_ONCE)
        return _Passed(self.direct * other.direct, self.planes)

    def mixed(self, beside: Planes | None, share: float) -> Planes:
        """Planes with further light, times a share."""

        def mix(columns: slice) -> None:
            for number, plane in enumerate(self.planes):
                if plane is None:
                    continue
                some = plane[:, columns]
                more = None if beside is None else beside[number]
                if more is not None:
                    some += more[:, columns]
                if share != 1:
                    some *= some.dtype.type(share)

        in_pieces(mix, self.planes.even.shape[1], COLUMNS_AT_ONCE)
        return self.planes


@lru_cache(maxsize=4)
def streak(grating: Grating, band: Band, px_per_rad: float) -> Points:
    """Light that a grating deviates in a band, along x: points to one side of the lamp.

    Notes
    -----
    The inverse transform of its transfer function, averaged over the distance of two points by a
    triangle, so that none is lost between them. What lies beyond the reach comes back, as from
    mirrors, along the same line. Far from the lamp several points are taken together.
    """
    blur_px = band.sigma_m / grating.pitch_m * px_per_rad  # of the first order
    per_px, most = ACCURACY.streak_points_per_px
    while per_px < most and per_px * blur_px < ACCURACY.points_in_a_dot:
        per_px *= 2
    # Where pixels are coarse nothing is left at so large an angle.
    farthest = max(ACCURACY.streak_reach_rad * px_per_rad, ACCURACY.streak_least_px)
    reach = min(ACCURACY.streak_reach_px, 2 ** math.ceil(math.log2(farthest)))
    count = per_px * reach
    frequency = np.arange(count + 1) / (2 * reach)
    last = ACCURACY.revivals * grating.pitch_m / band.centre_m / px_per_rad
    # What is finer than a small part of a point only moves light between neighbouring points.
    last = min(last, ACCURACY.aliases_of_points * per_px)
    transfer = np.zeros(count + 1)
    for alias in range(-math.ceil(last / per_px), math.ceil(last / per_px) + 1):
        f = frequency + alias * per_px
        seen = np.abs(f) <= last
        deviated = grating.band_transfer(px_per_rad * f[seen], band) - grating.direct
        transfer[seen] += deviated * np.sinc(f[seen] / per_px) ** 2
    light = fft.dct(transfer, type=1) / (2 * count)
    light[[0, -1]] /= 2
    at = np.arange(count + 1) / per_px
    near = slice(0, per_px * ACCURACY.streak_fine_px)
    together = ACCURACY.streak_points_together
    far = slice(near.stop, near.stop + (count - near.stop) // together * together)
    places = [at[near], at[far].reshape(-1, together).mean(axis=1), at[far.stop :]]
    shares = [light[near], light[far].reshape(-1, together).sum(axis=1), light[far.stop :]]
    x = np.concatenate(places)
    return Points(x, np.zeros_like(x), np.concatenate(shares))


def _turned(points: Points, angle_rad: float) -> Points:
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    x, y, shares = points
    c, s = (0.0 if abs(v) < 1e-12 else v for v in (c, s))
    x, y = c * x - s * y, s * x + c * y
    return Points(x, y, shares)
