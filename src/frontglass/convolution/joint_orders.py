"""Orders in which several families of a net deviate light together, near the lamp.

What the means of two families lack of the mean of their product over a channel's band: so much is
laid at the places of their first orders.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import scipy

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.splat import (
    POINTS_IN_CACHE,
    Pixels,
    Points,
    off_torus,
    on_torus,
)
from frontglass.convolution.strewn import is_smooth, strewn_by_two
from frontglass.optics.bands import REACH_SIGMAS, Band
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings, Orders
from frontglass.threads import end_if_unwanted

NO_LIGHT = 1e-12
"""Share of light that is none."""


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
    deviated = sorted(1 - grating.direct for grating in mask.gratings)
    both, three = math.prod(deviated[-2:]), math.prod(deviated[-3:])
    tier = next(tier for tier in reversed(ACCURACY.joint_orders) if both >= tier[0])
    _, orders, step, most_orders = tier
    more = next(tier[1:] for tier in reversed(ACCURACY.orders_of_several) if three >= tier[0])
    between = 0
    strewn = both * max(map(_strewn, mask.gratings))
    if strewn > ACCURACY.strewn_joint_orders[0][0]:
        uneven = next(tier for tier in reversed(ACCURACY.strewn_joint_orders) if strewn > tier[0])
        _, fewer, step, per_px, most = uneven
        between = min(max(math.ceil(per_px * spacing), ACCURACY.fewest_between), most)
        orders = min(orders, fewer)
    if any(g.drift_m for g in mask.gratings):
        # Parts of a peak lie beside one another.
        step = max(step, min(2 * step, spacing / 16))
    wanted = max(orders, math.ceil(ACCURACY.joint_px / spacing))
    wanted = min(wanted, max(orders, most_orders))
    highest = max(min(wanted, int(ACCURACY.joint_reach_px / spacing)), 1)
    wide = 1 + REACH_SIGMAS * band.sigma_m / band.centre_m
    # Far enough along either axis for what all families together deviate.
    across = np.array(mask.across_rad)
    turns = max(float(np.abs(turn(across)).sum()) for turn in (np.cos, np.sin))
    widest = max(band.centre_m / g.pitch_m for g in mask.gratings) * px_per_rad
    are_few = spacing >= ACCURACY.few_parts_from_px
    parts = ACCURACY.few_parts_of_a_peak if are_few else ACCURACY.parts_of_a_peak

    def torus(highest: int, between: int) -> _Torus:
        reach = turns * (highest + 0.5) * wide * widest
        side = 2 * scipy.fft.next_fast_len(math.ceil(reach) + 2, real=True)
        fine = _fine(both, widest)
        return _Torus(mask, band, px_per_rad, side, step, fine, parts, between, highest)

    several = (highest, *more)[: len(mask.gratings) - 1]
    tori = (torus(min(highest, most), between) for most in several)
    return Pixels.joined([some.of(size) for size, some in enumerate(tori, 2)])


def _fine(both: float, first_px: float) -> tuple[float, float]:
    """Radius within which points are closer, and how close [px], by what two families deviate."""
    within, part, from_share = ACCURACY.fine_joint_orders
    apart = math.sqrt(max(from_share / max(both, NO_LIGHT), 1.0))
    return within * first_px, part * apart * math.sqrt(first_px)


def _strewn(grating: Grating) -> float:
    """Return how much of what a grating deviates jitter takes from its orders."""
    if not grating.jitter_m:
        return 0.0
    highest = ACCURACY.strewn_joint_orders[0][1]
    still, left = replace(grating, jitter_m=0.0).orders(highest), grating.orders(highest)
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
    fine_px: tuple[float, float]
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
            on_pixels = self.parts_between > 0 and is_smooth(self.mask, members, self._first_px)
            light = self._joint(members, one_quarter=one_quarter, strewn_twice=not on_pixels)
            if one_quarter:
                light += self._after_a_quarter_turn(light)
            if on_pixels:
                band, scale, end = self.band, self.px_per_rad, self.highest + 0.5
                light += strewn_by_two(self.mask, members, band, scale, end=end, side=self.side)
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
        if self.mask.is_even:
            # What stands for faint orders need not have a mirror image of its own.
            transformed = (transformed + np.roll(transformed[::-1], 1, axis=0)) / 2
        light = scipy.fft.irfft2(transformed, s=(self.side,) * 2, workers=-1, overwrite_x=True)
        pixels = off_torus(np.asarray(light))
        lit = np.abs(pixels.light) > ACCURACY.darkest_share
        return Pixels(pixels.rows[lit], pixels.columns[lit], pixels.light[lit])

    @property
    def _first_px(self) -> float:
        """How far away the nearest order is."""
        pitch_m = max(grating.pitch_m for grating in self.mask.gratings)
        return self.band.centre_m / pitch_m * self.px_per_rad

    def _joint(self, members: tuple[int, ...], *, one_quarter: bool, strewn_twice: bool) -> Float64:
        """Orders in which some gratings deviate light, whatever the others do."""
        faintest, of_strewn = ACCURACY.faintest_joint_orders
        if self.parts_between and len(members) > 2:
            faintest = of_strewn
        orders = self.mask.joint_orders(
            members,
            self.highest,
            self.parts_of_a_peak,
            parts_between=self.parts_between,
            faintest=faintest if len(members) > 1 else 0.0,
            one_quarter=one_quarter,
            strewn_twice=strewn_twice,
        )
        points = streaks_of(
            orders,
            self.band,
            self.px_per_rad,
            self.step_px,
            fine=self.fine_px,
            at_once=POINTS_IN_CACHE,
        )
        # What is opposite has the conjugate transform; a lamp in the middle turns every other sign.
        transformed = scipy.fft.rfft2(on_torus(points, self.side), workers=-1)
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
            end_if_unwanted()
            chosen = members[start : start + some]
            yield Points(
                np.outer(ratio, x[chosen]).ravel(),
                np.outer(ratio, y[chosen]).ravel(),
                np.outer(weights, orders.shares[chosen]).ravel(),
            )
