"""Filters: what something in the light path does to every point of light, in one channel.

A filter divides light in three: a direct share stays in its own pixel and never enters a transform,
a veil is laid evenly over the frame, and the rest is deviated, which `Filter.on_grid` describes.
Filters are frozen and hashable, so that what was made of one serves the next still of a scene.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.convolution.blocks import Blocks, available_cores, in_blocks
from frontglass.convolution.halo import pixel_transform
from frontglass.optics.hankel import density_from_transform
from frontglass.optics.profiles import Profile

Float64 = NDArray[np.float64]

BLOCKS_AT_ONCE = 4
REFERENCE_PX = 10.0


class Planes(NamedTuple):
    """What the cosine waves of a frame of (H, W) pixels among its mirror images become.

    Row k and column l stand for the frequencies k / 2H and l / 2W [cycles/px], from 0 to H and W.

    Parameters
    ----------
    even : Blocks, shape (H + 1, W + 1)
        What a wave ``cos cos`` is multiplied by: ``(T(fx, fy) + T(fx, -fy)) / 2``.
    odd : Blocks of the same shape, or None
        What it is multiplied by to be ``sin sin`` instead: ``(T(fx, -fy) - T(fx, fy)) / 2``, or
        the sum of the kernel times ``sin sin``; 0 in the first and last row and column. None for a
        filter that looks the same in a mirror.
    """

    even: Blocks
    odd: Blocks | None


class Filter(ABC):
    """What is done to every point of light, in one channel, on a grid of pixels.

    One that lays a kernel on pixels sets `is_laid` and overrides `cosine_planes`; any other has
    `on_grid`. A kernel must look the same turned by half a turn.
    """

    __slots__ = ()

    @property
    @abstractmethod
    def direct(self) -> float:
        """Share of the light that stays in its own pixel. [1], in [0, 1]."""

    @property
    def veil(self) -> float:
        """Share of the light that is laid evenly over the frame. [1], in [0, 1]."""
        return 0.0

    @property
    def is_even(self) -> bool:
        """Whether it looks the same in a mirror."""
        return True

    @property
    def is_round(self) -> bool:
        """Whether it looks the same all round: then `along_radius` says all."""
        return False

    @property
    def is_laid(self) -> bool:
        """Whether it has `cosine_planes` of its own and no `on_grid`."""
        return False

    @property
    def reach_px(self) -> float:
        """Offset in x or y beyond which there is no deviated light to speak of [px]."""
        return math.inf

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """Transfer function of the deviated light, real, shape (len(fy), len(fx)).

        Parameters
        ----------
        fx_per_px, fy_per_px : ndarray, 1-D
            Frequencies of either sign [cycles/px].
        """
        raise NotImplementedError

    def along_radius(self, f_per_px: Float64) -> Float64:
        """Return the same along a radius, pixels taken as points: how wide and smooth it is.

        A filter that does not say is taken for one that has detail in every pixel.
        """
        return np.full(f_per_px.shape, 1 - self.direct - self.veil)

    def density(self, r_px: Float64) -> Float64:
        """Deviated light per px^2 at a distance [px], of a round filter."""
        return density_from_transform(self.along_radius, r_px, scale_rad=REFERENCE_PX)

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
        """Transfer function of the deviated light, for a frame of `shape`, in blocks."""
        planes = empty_planes(shape, dtype, is_even=self.is_even)
        for_columns(self, planes, _put)
        return planes


def empty_planes(shape: tuple[int, int], dtype: np.dtype[Any], *, is_even: bool) -> Planes:
    """Planes of zeros for a frame of `shape`."""
    size = (shape[0] + 1, shape[1] + 1)
    return Planes(Blocks(dtype, size), None if is_even else Blocks(dtype, size))


def for_columns(filter_: Filter, planes: Planes, do: Any) -> None:
    """Call ``do(even, odd, new_even, new_odd)`` with blocks and with a filter's values there."""
    rows, width = planes.even.shape
    fy = np.arange(rows) / (2 * (rows - 1))
    columns = planes.even.columns

    def some(a: int, b: int) -> None:
        start = columns[a].start
        fx = np.arange(start, columns[b - 1].stop) / (2 * (width - 1))
        even, odd = filter_.on_grid(fx, fy), None
        if not filter_.is_even:
            turned = filter_.on_grid(fx, -fy)
            even, odd = (turned + even) / 2, (turned - even) / 2
            # At the highest frequencies a grid cannot tell a wave from its mirror image.
            odd[[0, -1]] = 0
            odd[:, (fx == 0) | (fx == 0.5)] = 0
        for block in range(a, b):
            here = slice(columns[block].start - start, columns[block].stop - start)
            own_odd = None if planes.odd is None else planes.odd[block]
            do(planes.even[block], own_odd, even[:, here], None if odd is None else odd[:, here])

    with ThreadPoolExecutor(available_cores()) as pool:
        in_blocks(pool, some, len(columns), BLOCKS_AT_ONCE)


def _put(even: Any, odd: Any, new_even: Any, new_odd: Any) -> None:
    even[:] = new_even
    if new_odd is not None:
        odd[:] = new_odd


@dataclass(frozen=True, slots=True, kw_only=True)
class VeilFilter(Filter):
    """A veil: a share of the light laid evenly over the frame.

    Parameters
    ----------
    share : float
        [1], in [0, 1].
    """

    share: float

    @property
    def direct(self) -> float:
        """See `Filter`."""
        return 1 - self.share

    @property
    def veil(self) -> float:
        """See `Filter`."""
        return self.share

    @property
    def is_round(self) -> bool:
        """See `Filter`."""
        return True

    @property
    def reach_px(self) -> float:
        """See `Filter`."""
        return 0.0

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        return np.zeros((len(fy_per_px), len(fx_per_px)))

    def density(self, r_px: Float64) -> Float64:
        """See `Filter`."""
        return np.zeros_like(r_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScatterFilter(Filter):
    """Thin scatterers one behind the other.

    Parameters
    ----------
    scatterers : tuple of (float, Profile)
        Optical depth [1], >= 0, and the profile of a single deviation.
    px_per_rad : float
        Scale of the picture, > 0.

    Notes
    -----
    ``OTF = exp(-sum tau_i (1 - K_i))`` with each K_i averaged over the pixel that sends the light
    and the pixel that receives it. Averaging K rather than the whole keeps three things exact on
    the grid: nothing is negative, the energy is 1, and strengths add.
    """

    scatterers: tuple[tuple[float, Profile], ...]
    px_per_rad: float

    @property
    def direct(self) -> float:
        """exp(-total optical depth)."""
        return math.exp(-sum(depth for depth, _ in self.scatterers))

    @property
    def is_round(self) -> bool:
        """See `Filter`."""
        return True

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        exponent = np.zeros((len(fy_per_px), len(fx_per_px)))
        for depth, profile in self.scatterers:
            exponent += depth * pixel_transform(profile, self.px_per_rad, fx_per_px, fy_per_px)
        np.expm1(exponent, out=exponent)
        exponent *= self.direct
        return exponent

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`."""
        return np.asarray(self.direct * np.expm1(self._exponent(f_per_px)))

    def density(self, r_px: Float64) -> Float64:
        """See `Filter`; single deviations are in closed form, which keeps their rings."""
        once = np.zeros_like(r_px)
        for depth, profile in self.scatterers:
            once += depth * profile.radial_density(r_px / self.px_per_rad) / self.px_per_rad**2
        more = density_from_transform(self._multiple, r_px, scale_rad=REFERENCE_PX)
        return np.asarray(self.direct * once + more)

    def _exponent(self, f_per_px: Float64) -> Float64:
        f_per_rad = f_per_px * self.px_per_rad
        exponent = np.zeros_like(f_per_px)
        for depth, profile in self.scatterers:
            exponent += depth * profile.transform(f_per_rad)
        return exponent

    def _multiple(self, f_per_px: Float64) -> Float64:
        """Transform of what is deviated twice or more."""
        exponent = self._exponent(f_per_px)
        return np.asarray(self.direct * (np.expm1(exponent) - exponent))


@dataclass(frozen=True, slots=True)
class Product(Filter):
    """Filters one behind the other: transfer functions multiply.

    Parameters
    ----------
    members : tuple of Filter
        In any order, since they commute; at least one.
    """

    members: tuple[Filter, ...]

    @property
    def direct(self) -> float:
        """See `Filter`."""
        return math.prod(member.direct for member in self.members)

    @property
    def veil(self) -> float:
        """See `Filter`."""
        return 1 - math.prod(1 - member.veil for member in self.members)

    @property
    def is_even(self) -> bool:
        """See `Filter`."""
        return all(member.is_even for member in self.members)

    @property
    def is_round(self) -> bool:
        """See `Filter`."""
        return all(member.is_round for member in self.members)

    @property
    def is_laid(self) -> bool:
        """See `Filter`."""
        return any(member.is_laid for member in self.members)

    @property
    def reach_px(self) -> float:
        """See `Filter`."""
        return sum(member.reach_px for member in self.members)

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        passed = np.ones((len(fy_per_px), len(fx_per_px)))
        for member in self.members:
            passed *= member.direct + member.on_grid(fx_per_px, fy_per_px)
        return passed - self.direct

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`."""
        passed = np.ones_like(f_per_px)
        for member in self.members:
            passed *= member.direct + member.along_radius(f_per_px)
        return passed - self.direct

    def density(self, r_px: Float64) -> Float64:
        """See `Filter`; what only one of them deviates keeps that one's rings."""
        others = [
            math.prod(other.direct for other in self.members if other is not member)
            for member in self.members
        ]

        def by_several(f_per_px: Float64) -> Float64:
            once = np.zeros_like(f_per_px)
            for member, other in zip(self.members, others, strict=True):
                once += other * member.along_radius(f_per_px)
            return self.along_radius(f_per_px) - once

        once = np.zeros_like(r_px)
        for member, other in zip(self.members, others, strict=True):
            once += other * member.density(r_px)
        return once + density_from_transform(by_several, r_px, scale_rad=REFERENCE_PX)

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
        """See `Filter`; planes of filters that are laid on pixels, times the grids of all others.

        With E and O a filter's planes and E with its direct light, a product has
        ``E1 E2 + O1 O2`` and ``E1 O2 + O1 E2``.
        """
        planes = empty_planes(shape, dtype, is_even=self.is_even)
        for block in range(len(planes.even)):
            planes.even[block][:] = 1
        for member in self.members:
            if not member.is_laid:
                for_columns(member, planes, _multiplied_with(member.direct))
                continue
            laid = member.cosine_planes(shape, dtype)
            multiply = _multiplied_with(member.direct)
            for block in range(len(planes.even)):
                odds = (None if p.odd is None else p.odd[block] for p in (planes, laid))
                own_odd, laid_odd = odds
                multiply(planes.even[block], own_odd, laid.even[block], laid_odd)
        for block in range(len(planes.even)):
            planes.even[block][:] -= self.direct
        return planes


def _multiplied_with(direct: float) -> Any:
    def multiply(even: Any, odd: Any, new_even: Any, new_odd: Any) -> None:
        passed = new_even + direct
        if new_odd is None:
            even *= passed
            if odd is not None:
                odd *= passed
            return
        even_before = even.copy()
        even *= passed
        even += odd * new_odd
        odd *= passed
        odd += even_before * new_odd

    return multiply
