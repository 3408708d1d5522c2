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

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.accuracy import ACCURACY
from frontglass.convolution.blocks import COLUMNS_AT_ONCE
from frontglass.convolution.filters import Planes
from frontglass.convolution.splat import (
    POINTS_IN_CACHE,
    MaskFilter,
    Pixels,
    Points,
    off_torus,
    on_torus,
    planes_of,
    splat,
)
from frontglass.optics.bands import REACH_SIGMAS, Band
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings, Orders
from frontglass.threads import in_pieces

Float64 = NDArray[np.float64]


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


@lru_cache(maxsize=6)
def beside_the_arms(mask: CrossedGratings, band: Band, px_per_rad: float) -> Pixels | None:
    """Light of first orders that several gratings deviate, less what a product makes of it.

    Notes
    -----
    What the means of two lack of the mean of their product is their covariance C over the band,
    and of three their third moment about the means as well: with the means T of all,
    ``C_12 T_3 + C_13 T_2 + C_23 T_1 + C_123`` is added to ``T_1 T_2 T_3``, and so on for four.
    """
    numbers = range(len(mask.gratings))
    if len(numbers) < 2 or not all(g.width_m for g in mask.gratings):
        return None
    spacing = min(band.centre_m / g.pitch_m for g in mask.gratings) * px_per_rad
    both = math.prod(sorted(1 - grating.direct for grating in mask.gratings)[-2:])
    _, orders, step = next(tier for tier in reversed(ACCURACY.joint_orders) if both >= tier[0])
    between = 0
    if both * max(map(_strewn, mask.gratings)) > ACCURACY.strewn_joint_light:
        between = min(math.ceil(spacing), ACCURACY.most_parts_between)
        orders, step = min(orders, ACCURACY.strewn_joint_orders[0]), ACCURACY.strewn_joint_orders[1]
    if any(g.drift_m for g in mask.gratings):
        # Parts of a peak lie beside one another.
        step = max(step, min(2 * step, spacing / 16))
    wanted = max(orders, math.ceil(ACCURACY.joint_px / spacing))
    wanted = min(wanted, max(orders, ACCURACY.most_joint_orders))
    highest = max(min(wanted, int(ACCURACY.joint_reach_px / spacing)), 1)
    wide = 1 + REACH_SIGMAS * band.sigma_m / band.centre_m
    # Far enough along either axis for what all families together deviate.
    across = np.array(mask.across_rad)
    turns = max(float(np.abs(turn(across)).sum()) for turn in (np.cos, np.sin))
    widest = max(band.centre_m / g.pitch_m for g in mask.gratings) * px_per_rad
    are_few = spacing >= ACCURACY.few_parts_from_px
    parts = ACCURACY.few_parts_of_a_peak if are_few else ACCURACY.parts_of_a_peak

    def torus(highest: int) -> _Torus:
        reach = turns * (highest + 0.5) * wide * widest
        side = 2 * fft.next_fast_len(math.ceil(reach) + 2, real=True)
        return _Torus(mask, band, px_per_rad, side, step, parts, between, highest)

    several = (highest, *ACCURACY.orders_of_several)[: len(mask.gratings) - 1]
    tori = (torus(min(highest, most)) for most in several)
    return Pixels.joined([some.of(size) for size, some in enumerate(tori, 2)])


def _strewn(grating: Grating) -> float:
    """Return how much of what a grating deviates jitter takes from its orders."""
    if not grating.jitter_m:
        return 0.0
    still = replace(grating, jitter_m=0.0).orders(ACCURACY.strewn_joint_orders[0])
    left = grating.orders(ACCURACY.strewn_joint_orders[0])
    return float(1 - left.shares.sum() / still.shares.sum())


def _about_means(joint: Mapping[tuple[int, ...], Float64], group: tuple[int, ...]) -> Float64:
    """Mean over a band of the product of what some deviate, each less its own mean.

    Of the terms of that product all with one member or none are alike but for their sign.
    """
    size = len(group)
    means = [joint[i,] for i in group]
    moment: Float64 = (-1) ** (size - 1) * (size - 1) * math.prod(means[1:], start=means[0])
    for n in range(2, size + 1):
        for some in itertools.combinations(range(size), n):
            rest = (mean for i, mean in enumerate(means) if i not in some)
            members = tuple(group[i] for i in some)
            moment += (-1) ** (size - n) * math.prod(rest, start=joint[members])
    return moment


@dataclass(frozen=True, slots=True)
class _Torus:
    """Transforms of first orders laid on a square that repeats, wide enough for them."""

    mask: CrossedGratings
    band: Band
    px_per_rad: float
    side: int
    step_px: float
    parts_of_a_peak: tuple[float, ...]
    parts_between: int
    highest: int

    def of(self, size: int) -> Pixels:
        """Joint moments about the means of so many families, behind all others."""
        joint = {group: some for n in range(1, size + 1) for group, some in self._groups(n).items()}
        numbers = range(len(self.mask.gratings))
        passed = [self.mask.gratings[i].direct + joint[i,] for i in numbers]
        light = np.zeros((self.side, self.side // 2 + 1))
        for group in self.mask.groups_of(size):
            others = (some for i, some in enumerate(passed) if i not in group)
            light += math.prod(others, start=_about_means(joint, group))
        return self._pixels(light)

    def _groups(self, size: int) -> dict[tuple[int, ...], Float64]:
        """Light that so many families deviate, for all choices of them.

        What lies as others do after a quarter turn, as threads of a weave do, is laid once.
        """
        found: dict[tuple[int, ...], Float64] = {}
        for members in self.mask.groups_of(size):
            turned = self.mask.quarter_turn_of(members)
            if turned in found:
                found[members] = self._after_a_quarter_turn(found[turned])
                continue
            one_quarter = size == 2 and turned == members
            light = self._joint(members, one_quarter=one_quarter)
            if one_quarter:
                light += self._after_a_quarter_turn(light)
            found[members] = light
        return found

    def _after_a_quarter_turn(self, light: Float64) -> Float64:
        """Real and even transform of what a square shows when it is turned."""
        half = self.side // 2
        turned = np.empty_like(light)
        turned[: half + 1] = light[-np.arange(half + 1)].T
        turned[half + 1 :] = light[: half + 1, half - 1 : 0 : -1].T
        return turned

    def _pixels(self, transformed: Float64) -> Pixels:
        light = fft.irfft2(transformed, s=(self.side,) * 2, workers=-1, overwrite_x=True)
        pixels = off_torus(np.asarray(light))
        lit = np.abs(pixels.light) > ACCURACY.darkest_share
        return Pixels(pixels.rows[lit], pixels.columns[lit], pixels.light[lit])

    def _joint(self, members: tuple[int, ...], *, one_quarter: bool) -> Float64:
        """Orders in which some gratings deviate light, whatever the others do."""
        orders = self.mask.joint_orders(
            members,
            self.highest,
            self.parts_of_a_peak,
            parts_between=self.parts_between,
            one_quarter=one_quarter,
        )
        pitch_m = min(grating.pitch_m for grating in self.mask.gratings)
        first_px = self.band.centre_m / pitch_m * self.px_per_rad
        within, step = ACCURACY.fine_joint_orders
        fine = (within * first_px, step)
        points = streaks_of(
            orders, self.band, self.px_per_rad, self.step_px, fine=fine, at_once=POINTS_IN_CACHE
        )
        # What is opposite has the conjugate transform; a lamp in the middle turns every other sign.
        transformed = fft.rfft2(on_torus(points, self.side), workers=-1)
        light = 2 * transformed.real
        light[1::2] *= -1
        light[:, 1::2] *= -1
        return np.asarray(light)


def streaks_of(
    orders: Orders,
    band: Band,
    px_per_rad: float,
    step_px: float,
    *,
    fine: tuple[float, float] = (0.0, math.inf),
    at_once: int = ACCURACY.points_at_once,
) -> Iterator[Points]:
    """Orders as a band blurs them, along the line to the lamp, a ring of them at a time.

    Points are `step_px` apart at most; `fine` is a radius and a smaller step within [px]. So many
    come `at_once`, or those of one order.
    """
    x, y = (at * band.centre_m * px_per_rad for at in (orders.x_per_m, orders.y_per_m))
    radius = np.hypot(x, y)
    rings = np.ceil(2 * np.log2(np.maximum(radius, 1.0)))
    for ring in np.unique(rings):
        (members,) = np.nonzero(rings == ring)
        farthest = float(radius[members].max())
        step = min(step_px, fine[1]) if farthest <= fine[0] else step_px
        wavelengths, weights = band.wavelengths(band.centre_m * step / farthest)
        ratio = wavelengths / band.centre_m
        some = max(at_once // ratio.size, 1)
        for start in range(0, members.size, some):
            chosen = members[start : start + some]
            yield Points(
                np.outer(ratio, x[chosen]).ravel(),
                np.outer(ratio, y[chosen]).ravel(),
                np.outer(weights, orders.shares[chosen]).ravel(),
            )


def _turned(points: Points, angle_rad: float) -> Points:
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    x, y, shares = points
    c, s = (0.0 if abs(v) < 1e-12 else v for v in (c, s))
    x, y = c * x - s * y, s * x + c * y
    return Points(x, y, shares)
