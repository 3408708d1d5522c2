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
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.blocks import over_rows
from frontglass.convolution.filters import Planes
from frontglass.convolution.joint_orders import beside_the_arms
from frontglass.convolution.splat import MaskFilter, MirrorKernel, Points, lay_planes, splat
from frontglass.optics.bands import Band
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings
from frontglass.threads import end_if_unwanted


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
        # Fresh memory costs as much as a transform: all that is multiplied is laid in one place.
        room = Planes.empty(shape, dtype, is_even=False)
        product: _Passed | None = None
        # With one that is askew first, its planes have room for what the others make of it.
        for family in sorted(self._families(), key=lambda family: family.is_even):
            light = _turned_streak(family, self.band, self.px_per_rad)
            pixels = map(splat, light.pieces())
            kernel = MirrorKernel.of(pixels, shape, has_mirrors=self.has_mirrors)
            if product is None:
                planes = Planes.empty(shape, dtype, is_even=family.is_laid_even)
                product = family.laid(kernel, planes)
                continue
            own = Planes(room.even, None) if family.is_laid_even else room
            product.pass_through(family.laid(kernel, own))
            product = _Passed(product.direct * family.direct, product.planes)
        assert product is not None
        beside = beside_the_arms(self.mask, self.band, self.px_per_rad)
        if beside is not None:
            kernel = MirrorKernel.of([beside], shape, has_mirrors=self.has_mirrors)
            own = Planes(room.even, None) if product.planes.odd is None else room
            lay_planes(kernel, own)
            product.add(own)
        if self.pale_share:
            for plane in product.planes:
                if plane is not None:
                    np.multiply(plane, plane.dtype.type(1 - self.pale_share), out=plane)
        return product.planes

    def _families(self) -> Iterator[_Family]:
        """Yield all families of threads, each with its mirror image if that is another."""
        done: set[int] = set()
        for index, grating in enumerate(self.mask.gratings):
            if index not in done:
                image = self.mask.mirror_image_of(index)
                done |= set() if image is None else {image}
                yield _Family(
                    grating=grating,
                    across_rad=self.mask.across_rad[index],
                    is_laid_even=image == index,
                    has_image=image not in {None, index},
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Family:
    """Threads across a direction, and their mirror image if that is another family."""

    grating: Grating
    across_rad: float
    is_laid_even: bool
    has_image: bool

    @property
    def is_even(self) -> bool:
        return self.is_laid_even or self.has_image

    @property
    def direct(self) -> float:
        return self.grating.direct ** (2 if self.has_image else 1)

    def laid(self, kernel: MirrorKernel, planes: Planes) -> _Passed:
        """Return what it lets pass, laid into planes.

        Light that passes a family and its mirror image is even: (d + E)^2 - O^2 - d^2.
        """
        lay_planes(kernel, planes)
        if not self.has_image:
            return _Passed(self.direct, planes)

        def multiply(some: slice) -> None:
            even, odd = planes.rows(some)
            even *= even + even.dtype.type(2 * self.grating.direct)
            assert odd is not None
            even -= np.square(odd)

        over_rows(multiply, planes.even.shape)
        return _Passed(self.direct, Planes(planes.even, None))


@dataclass(frozen=True, slots=True)
class _Passed:
    """Direct light, and planes of deviated light that are used up by what is done with them.

    Direct light never enters a transform, nor is it ever added to what a transform gave.
    """

    direct: float
    planes: Planes

    def pass_through(self, other: _Passed) -> None:
        """Make planes those of light that passes another too: E1 E2 + O1 O2 and E1 O2 + O1 E2."""

        def multiply(rows: slice) -> None:
            (even, odd), (more, turned) = self.planes.rows(rows), other.planes.rows(rows)
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

        over_rows(multiply, self.planes.even.shape)

    def add(self, more: Planes) -> None:
        """Add further light."""

        def add(rows: slice) -> None:
            for plane, own in zip(self.planes.rows(rows), more.rows(rows), strict=True):
                if plane is not None and own is not None:
                    np.add(plane, own, out=plane)

        over_rows(add, self.planes.even.shape)


@lru_cache(maxsize=9)
def streak(grating: Grating, band: Band, px_per_rad: float) -> Points:
    """Light that a grating deviates in a band, along x: points to one side of the lamp.

    Notes
    -----
    Points close by are those of a fine and short transform, less what it folds back; far away,
    where dots have run into one another, those of a coarse one.
    """
    if grating.direct == 1:
        return Points(*np.zeros((3, 1)))
    coarse, middling, most = ACCURACY.streak_points_per_px
    # Where pixels are coarse nothing is left at so large an angle.
    farthest = max(ACCURACY.streak_reach_rad * px_per_rad, ACCURACY.streak_least_px)
    reach = min(ACCURACY.streak_reach_px, 2 ** math.ceil(math.log2(farthest)))
    last = ACCURACY.revivals * grating.pitch_m / band.centre_m / px_per_rad
    transfer = grating.band_table(last * px_per_rad, band)

    def deviated(f_per_px: Float64) -> Float64:
        return transfer(px_per_rad * f_per_px) - grating.direct

    far = _along(deviated, last, coarse, reach)
    blur_px = band.sigma_m / grating.pitch_m * px_per_rad  # of the first order
    fine = middling
    while fine < most and fine * blur_px < ACCURACY.points_in_a_dot:
        fine *= 2
    near_px, middle_px = ACCURACY.streak_fine_px
    short = 2 * middle_px
    near = _along(deviated, last, fine, short)[: fine * middle_px + 1]
    at = np.arange(near.size) / fine
    near -= _folded(far, at * coarse, short * coarse) * (coarse / fine)
    # Both ends of both hold half a point.
    near[[0, -1]] /= 2
    tail = far[coarse * middle_px :]
    tail[[0, -1]] /= 2
    inner, outer = np.split(near, [fine * near_px])
    x = [at[: inner.size], np.arange(near_px * middling, middle_px * middling + 1) / middling]
    x.append(middle_px + np.arange(tail.size) / coarse)
    shares = np.concatenate([inner, _together(outer, fine // middling), tail])
    shares *= (1 - grating.direct) / 2 / shares.sum()
    return Points(np.concatenate(x), np.zeros_like(shares), shares)


def _along(transfer: Callable[[Float64], Float64], last: float, per_px: int, reach: int) -> Float64:
    """Light along x at points so many to a pixel, from the lamp to a reach [px].

    The inverse transform of a transfer function up to its last frequency [cycles/px], averaged over
    the distance of two points by a triangle, so that none is lost between them. What lies beyond
    the reach comes back, as from mirrors, along the same line.
    """
    count = per_px * reach
    frequency = np.arange(count + 1) / (2 * reach)
    # What is finer than a small part of a point only moves light between neighbouring points.
    last = min(last, ACCURACY.aliases_of_points * per_px)
    aliases = math.ceil(last / per_px)
    seen = np.zeros(count + 1)
    for alias in range(-aliases, aliases + 1):
        end_if_unwanted()
        f = np.abs(frequency + alias * per_px)
        near = f <= last
        seen[near] += transfer(f[near]) * np.sinc(f[near] / per_px) ** 2
    light: Float64 = scipy.fft.dct(seen, type=1) / (2 * count)
    return light


def _folded(light: Float64, at: Float64, short: int) -> Float64:
    """Light that a short reach folds back to places, by a transform of a long one [its points]."""
    last = light.size - 1
    points = np.arange(light.size)
    folded = np.zeros(at.size)
    for place in range(2 * short, 2 * last, 2 * short):
        away = place + at
        # Beyond the last point they lie as in a mirror.
        folded += np.interp(np.where(away > last, 2 * last - away, away), points, light)
    return folded


def _together(light: Float64, some: int) -> Float64:
    """Light of points on every so manyth of them; each goes to the two beside it."""
    part = np.arange(some) / some
    groups = light[:-1].reshape(-1, some)
    fewer = np.zeros(len(groups) + 1)
    fewer[:-1] = groups @ (1 - part)
    fewer[1:] += groups @ part
    fewer[-1] += light[-1]
    return fewer


def _turned_streak(family: _Family, band: Band, px_per_rad: float) -> Points:
    """Streak of a family, so that edges of pixels along the nearer axis fall on points.

    What is divided among pixels is straight between those, and a triangle over the distance of two
    points then blurs nothing.
    """
    c, s = math.cos(family.across_rad), math.sin(family.across_rad)
    c, s = (0.0 if abs(v) < 1e-12 else v for v in (c, s))
    part = round(max(abs(c), abs(s)), 12)  # the same for threads that cross at right angles
    x, _, shares = streak(family.grating, band, px_per_rad * part)
    return Points(x * (c / part), x * (s / part), shares)
