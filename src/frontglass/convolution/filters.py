"""Filters: what something in the light path does to every point of light, in one channel.

A filter divides light in three: a direct share stays in its own pixel and never enters a transform,
a veil is laid evenly over the frame, and the rest is deviated, which `Filter.on_grid` describes.
Filters are frozen and hashable, so that what was made of one serves the next still of a scene.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Any, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.pixels import (
    deviated_on_grid,
    fits_the_grid,
    point_on_grid,
    transform_at,
    with_aliases,
)
from frontglass.optics.even_spline import of_radius
from frontglass.optics.hankel import density_from_transform
from frontglass.optics.profiles import Profile
from frontglass.optics.scatter import deviated_share
from frontglass.threads import in_pieces

Plane = NDArray[Any]

COLUMNS_AT_ONCE = 384
REFERENCE_PX = 10.0


class Planes(NamedTuple):
    """What the cosine waves of a frame of (H, W) pixels among its mirror images become.

    Row k and column l stand for the frequencies k / 2H and l / 2W [cycles/px], from 0 to H and W.

    Parameters
    ----------
    even : ndarray, shape (H + 1, W + 1)
        What a wave ``cos cos`` is multiplied by: ``(T(fx, fy) + T(fx, -fy)) / 2``, the sum of the
        kernel times ``cos cos``.
    odd : ndarray of the same shape, or None
        What it is multiplied by to be ``sin sin`` instead: ``(T(fx, -fy) - T(fx, fy)) / 2``, the
        sum of the kernel times ``sin sin``; 0 in the first and last row and column. None for a
        filter that looks the same in a mirror.
    """

    even: Plane
    odd: Plane | None

    @classmethod
    def empty(cls, shape: tuple[int, int], dtype: np.dtype[Any], *, is_even: bool) -> Self:
        """Planes for a frame of `shape`, not filled in."""
        size = (shape[0] + 1, shape[1] + 1)
        return cls(np.empty(size, dtype), None if is_even else np.empty(size, dtype))

    def at(self, columns: slice) -> Planes:
        """Return some columns of both."""
        return Planes(self.even[:, columns], None if self.odd is None else self.odd[:, columns])

    def as_precise_as(self, dtype: np.dtype[Any]) -> Planes:
        """Return both in a precision; copies where it is another."""
        odd = None if self.odd is None else self.odd.astype(dtype, copy=False)
        return Planes(self.even.astype(dtype, copy=False), odd)

    def rows(self, rows: slice) -> Planes:
        """Return some rows of both."""
        return Planes(self.even[rows], None if self.odd is None else self.odd[rows])


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
    def is_level(self) -> bool:
        """Whether what it deviates lies on rows and columns, where pixels do not blur it aside."""
        return False

    @property
    def fits_the_grid(self) -> bool:
        """Whether pixels average once all that it deviates."""
        return True

    @property
    def reach_px(self) -> float:
        """Offset in x or y beyond which there is no deviated light to speak of [px]."""
        return math.inf

    @property
    def beyond_the_frame(self) -> tuple[Filter, ...]:
        """What goes farther than a frame is long even when it is `without_mirrors`."""
        return (self,)

    def without_mirrors(self) -> Filter:
        """Return what lays in `cosine_planes` only what lands within a frame, for a dark one."""
        return self

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """Transfer function of the deviated light, real, shape (len(fy), len(fx)).

        Parameters
        ----------
        fx_per_px, fy_per_px : ndarray, 1-D
            Frequencies of either sign [cycles/px].
        """
        raise NotImplementedError

    def aliases_on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """Return what a round filter has on a grid beside what pixels leave of `along_radius`."""
        f = np.hypot(fy_per_px[:, np.newaxis], fx_per_px)
        own = of_radius(self.along_radius, f, ACCURACY.radius_nodes)
        own *= np.sinc(fy_per_px)[:, np.newaxis] ** 2
        own *= np.sinc(fx_per_px) ** 2
        return self.on_grid(fx_per_px, fy_per_px) - own

    def along_radius(self, f_per_px: Float64) -> Float64:
        """Return the same along a radius, pixels taken as points: how wide and smooth it is.

        A filter that does not say is taken for one that has detail in every pixel.
        """
        return np.full(f_per_px.shape, 1 - self.direct - self.veil)

    def density(self, r_px: Float64) -> Float64:
        """Deviated light per px^2 at a distance [px], of a round filter."""
        return density_from_transform(self.along_radius, r_px, scale_rad=REFERENCE_PX)

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
        """Transfer function of the deviated light, for a frame of `shape`."""
        planes = Planes.empty(shape, dtype, is_even=self.is_even)

        def fill(columns: slice) -> None:
            fy, fx = frequencies(shape, columns)
            own, some = planes.at(columns), self.planes_on_grid(fx, fy)
            own.even[:] = some.even
            if own.odd is not None:
                own.odd[:] = some.odd

        in_pieces(fill, shape[1] + 1, COLUMNS_AT_ONCE)
        return planes

    def planes_on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Planes:
        """Return a part of the planes, from `on_grid`."""
        upright = self.on_grid(fx_per_px, fy_per_px)
        if self.is_even:
            return Planes(upright, None)
        turned = self.on_grid(fx_per_px, -fy_per_px)
        return Planes((turned + upright) / 2, (turned - upright) / 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class VeilFilter(Filter):
    """A veil: a share of the light laid evenly over the frame.

    Parameters
    ----------
    share : float
        [1], in [0, 1].
    """

    is_round = True
    reach_px = 0.0

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
    def beyond_the_frame(self) -> tuple[Filter, ...]:
        """See `Filter`; it deviates nothing."""
        return ()

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        return np.zeros((len(fy_per_px), len(fx_per_px)))

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`; a rounding that is not zero would be a point of light at the origin."""
        return np.zeros_like(f_per_px)

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
    ``OTF = exp(-sum tau_i (1 - K_i))``, of which the deviated light is averaged once over the pixel
    that sends it and the pixel that receives it, however often it was deviated. So nothing is
    negative, the energy is 1, depths one behind the other add, and pixels that are split or merged
    see the same light. Light that was deviated by less than a pixel is deviated light all the same,
    of which much lands where it came from.
    """

    is_round = True

    scatterers: tuple[tuple[float, Profile], ...]
    px_per_rad: float

    @property
    def direct(self) -> float:
        """exp(-total optical depth)."""
        return math.exp(-self._depth)

    @property
    def _depth(self) -> float:
        return sum(depth for depth, _ in self.scatterers)

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        return deviated_on_grid(self.scatterers, self.px_per_rad, fx_per_px, fy_per_px)

    def aliases_on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`: few polynomials, where the rest takes sums of Gaussians."""
        dark = np.zeros((len(fy_per_px), len(fx_per_px)))
        return with_aliases(dark, self.scatterers, self.px_per_rad, fx_per_px, fy_per_px)

    @property
    def is_smooth(self) -> bool:
        """Whether what it does has no detail finer than pixels."""
        return fits_the_grid(self.scatterers, self.px_per_rad)

    def of_others(self, fx_per_px: Float64, fy_per_px: Float64, *, are_level: bool) -> Float64:
        """Return what it does on a grid to light that others deviate, which pixels average there.

        Without detail finer than pixels that is exact, on average over places within a pixel;
        otherwise, and along rows and columns, pixels average once too often.
        """
        if self.is_smooth and not are_level:
            return point_on_grid(self.scatterers, self.px_per_rad, fx_per_px, fy_per_px)
        return self.on_grid(fx_per_px, fy_per_px)

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`."""
        return deviated_share(self._exponent(f_per_px), self._depth)

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
            exponent += depth * transform_at(profile, f_per_rad)
        return exponent

    def _multiple(self, f_per_px: Float64) -> Float64:
        """Transform of what is deviated twice or more."""
        exponent = self._exponent(f_per_px)
        return deviated_share(exponent, self._depth) - self.direct * exponent


def frequencies(shape: tuple[int, int], columns: slice) -> tuple[Float64, Float64]:
    """Frequencies [cycles/px] of all rows and of some columns of the planes of a frame."""
    fy = np.arange(shape[0] + 1) / (2 * shape[0])
    return fy, np.arange(columns.start, columns.stop) / (2 * shape[1])
