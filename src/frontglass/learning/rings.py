"""Rings of light round a point: what a halo is made of while it is being learned.

A ring is a smooth bump in the logarithm of the angle, so that many of them make a smooth halo.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from frontglass.arrays import Float32, Float64
from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.filters import Filter
from frontglass.optics.even_spline import of_radius
from frontglass.optics.hankel import density_from_transform
from frontglass.optics.table import Table

STEP = math.log(1.45)
"""Rings' distance in ln r: a power law is followed to 0.1 %."""
ROWS_PER_STEP, ROWS_OF_RING = 2, 4
FINEST_PX = 0.5
"""What goes no farther than that stays in its pixel."""
FARTHEST_FRAMES = 0.5
"""Of the diagonal: what goes farther is laid over the whole frame, and is a veil."""
LOWEST = -0.9
NODES = 400
"""Of a transform along the radius, dense near zero, where a wide ring's falls."""


@dataclass(frozen=True, kw_only=True)
class RingFilter(Filter):
    """Light sent to one ring, all of it.

    Pixels do not average it, since a still's pixels have averaged both sides of a pair already:
    what a halo makes of a mean over a pixel is the mean of the halo. The engine averages once
    more when it renders, for it cannot know what light there is within a pixel.
    """

    is_round = True

    profile: Table
    px_per_rad: float

    @property
    def direct(self) -> float:
        """See `Filter`: none."""
        return 0.0

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`."""
        return self.profile.transform(f_per_px * self.px_per_rad)

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        f = np.hypot(fy_per_px[:, np.newaxis], fx_per_px)
        return of_radius(self.along_radius, f, NODES)


@dataclass(frozen=True, kw_only=True)
class Rings:
    """Rings about angles that rise in steps of one ratio."""

    angles_rad: tuple[float, ...]

    @classmethod
    def between(cls, finest_rad: float, farthest_rad: float) -> Rings:
        """Rings from one angle to another."""
        count = max(2, math.ceil(math.log(farthest_rad / finest_rad) / STEP) + 1)
        return cls(angles_rad=tuple(finest_rad * math.exp(STEP * i) for i in range(count)))

    def __len__(self) -> int:
        return len(self.angles_rad)

    @cached_property
    def profiles(self) -> tuple[Table, ...]:
        """Shape of the light of each, deviated once."""
        offsets = np.arange(-2 * ROWS_OF_RING, 2 * ROWS_OF_RING + 1) / ROWS_OF_RING
        bump = _bump(offsets)
        found = []
        for number, angle in enumerate(self.angles_rad):
            angles = angle * np.exp(STEP * offsets)
            densities = bump / (angles / angle) ** 2
            if number == 0:  # the finest is a disc: no pair sees a hole in it
                angles, densities = angles[len(bump) // 2 :], densities[len(bump) // 2 :]
            found.append(
                Table(angles_rad=tuple(angles.tolist()), densities=tuple(densities.tolist()))
            )
        return tuple(found)

    def spread(self, number: int, light: Float32, px_per_rad: float, surround: Surround) -> Float32:
        """Light of a picture, all of it sent to one ring: shape (H, W, 3), as the light."""
        filter_ = RingFilter(profile=self.profiles[number], px_per_rad=px_per_rad)
        return convolve(light, [filter_] * 3, surround)

    def transforms(self, f_per_rad: Float64) -> Float64:
        """Transform of the light of each ring, shape (rings, frequencies); 1 at the origin."""
        return np.stack([profile.transform(f_per_rad) for profile in self.profiles])

    def within(self, edges_rad: Float64) -> Float64:
        """Share of each ring's light between neighbouring angles, shape (rings, edges - 1)."""
        return np.stack([np.diff(one.encircled_flux(edges_rad)) for one in self.profiles])

    def rows_rad(self) -> Float64:
        """Angles at which a table of the whole has its rows."""
        count = (len(self) + 1) * ROWS_PER_STEP + 1
        return np.asarray(self.angles_rad[0] * np.exp(STEP * np.arange(count) / ROWS_PER_STEP))


@dataclass(frozen=True, kw_only=True)
class Once:
    """A thin scatterer found from what it does: its depth, and where one deviation sends light.

    Densities are times the depth: integral of ``2 pi r d`` is the depth. [1/sr]
    """

    optical_depth: float
    angles_rad: Float64
    densities: Float64


def once_deviated(rings: Rings, shares: Float64) -> Once:
    """Scatterer that sends these shares of the light to rings, after any number of deviations.

    Notes
    -----
    ``exp(tau K) - 1 = S / (1 - S(0))``: of the measured transform S the logarithm says what a
    single deviation does, and strengths then multiply it. Shares are below 1 in sum.

    References
    ----------
    [Wells1969].
    """
    total = float(shares.sum())
    direct = 1 - total
    angles = rings.rows_rad()
    depth = -math.log(direct)

    def exponent(f_per_rad: Float64) -> Float64:
        share = np.tensordot(shares / direct, rings.transforms(f_per_rad), 1)
        # Of next to no direct light, rounding alone could take away more than there is.
        return np.log1p(np.maximum(share, LOWEST))

    middle = float(np.exp(np.average(np.log(rings.angles_rad), weights=shares + 1e-12)))
    densities = density_from_transform(exponent, angles, scale_rad=middle)
    # A halo that no scatterer makes asks for less than nothing somewhere.
    densities = np.maximum(densities, 0)
    densities[-1] = 0
    return Once(optical_depth=depth, angles_rad=angles, densities=densities)


def _bump(t: Float64) -> Float64:
    """Cubic B-spline: 2/3 in the middle, 0 from 2 on."""
    t = np.abs(t)
    near, far = 2 / 3 - t**2 + t**3 / 2, np.maximum(2 - t, 0) ** 3 / 6
    return np.where(t < 1, near, far)
