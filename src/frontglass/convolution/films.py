"""What a film of grease does to every point of light: oblong Gaussians, compounded."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.accuracy import ACCURACY
from frontglass.convolution.filters import Filter

Float64 = NDArray[np.float64]

REACH_SIGMAS = 5.5
FEW_ALIASES = 9
NARROWEST_PX = 0.01
"""Standard deviation of a single deviation that pixels cannot tell from none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmFilter(Filter):
    """A film in one channel: a compound scatterer whose profile is oblong Gaussians.

    Parameters
    ----------
    optical_depth : float
        [1], >= 0.
    across_px : tuple of float
        Standard deviations of a single deviation across the stroke, one per texture. [px], > 0.
    shares : tuple of float
        Of the deviations, one per texture. [1], summing to 1.
    streak_ratio : float
        How much narrower each is along the stroke. [1], >= 1.
    stroke_rad : float
        Direction of the stroke, from x towards y. [rad]
    clear_share : float
        Light that meets no film. [1], in [0, 1].

    Notes
    -----
    ``OTF = exp(-tau (1 - K))``, and the pixel that sends and the one that receives the light blur
    the whole once: the transfer function on the grid is the sum over its aliases, each times
    ``sinc(fx)**2 sinc(fy)**2``. So no kernel is negative anywhere, however narrow.
    """

    optical_depth: float
    across_px: tuple[float, ...]
    shares: tuple[float, ...]
    streak_ratio: float
    stroke_rad: float
    clear_share: float

    @property
    def direct(self) -> float:
        """See `Filter`."""
        return self.clear_share + (1 - self.clear_share) * math.exp(-self.optical_depth)

    @property
    def is_even(self) -> bool:
        """See `Filter`."""
        return self.is_round or self.stroke_rad % (math.pi / 2) == 0

    @property
    def is_round(self) -> bool:
        """See `Filter`."""
        return self.streak_ratio == 1

    @property
    def reach_px(self) -> float:
        """See `Filter`."""
        most = self.optical_depth + REACH_SIGMAS * math.sqrt(self.optical_depth) + REACH_SIGMAS
        return 2 + REACH_SIGMAS * math.sqrt(most) * max(self.across_px)

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`; along the stroke, where it is narrowest."""
        return self._deviated(f_per_px, np.zeros(1))

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        aliases = self._aliases()
        if len(aliases) <= FEW_ALIASES:
            return self._alias_sum(aliases, fx_per_px, fy_per_px)
        # Many aliases: a kernel of few pixels, so that fewer frequencies say all.
        size = fft.next_fast_len(2 * math.ceil(self.reach_px) + 2, real=True)
        f = fft.fftfreq(size)
        whole = self._alias_sum(aliases, f[: size // 2 + 1], f)
        kernel = fft.irfft2(whole, s=(size, size))
        offsets = np.round(f * size)
        x, y = (2 * np.pi * np.outer(offsets, f) for f in (fx_per_px, fy_per_px))
        along_x = np.concatenate([kernel @ np.cos(x), -(kernel @ np.sin(x))])
        return np.asarray(np.concatenate([np.cos(y), np.sin(y)]).T @ along_x)

    def _alias_sum(
        self, aliases: list[tuple[int, int]], fx_per_px: Float64, fy_per_px: Float64
    ) -> Float64:
        c, s = math.cos(self.stroke_rad), math.sin(self.stroke_rad)
        total = np.zeros((len(fy_per_px), len(fx_per_px)))
        for my, mx in aliases:
            fx, fy = fx_per_px + mx, (fy_per_px + my)[:, np.newaxis]
            light = self._deviated(c * fx + s * fy, c * fy - s * fx)
            light *= np.sinc(fx) ** 2
            light *= np.sinc(fy) ** 2
            total += light
        return total

    def _deviated(self, f_along: Float64, f_across: Float64) -> Float64:
        """Transfer function of the deviated light itself, before pixels see it."""
        exponent = np.full(
            np.broadcast_shapes(f_along.shape, f_across.shape), -float(self.optical_depth)
        )
        for across, share in zip(self.across_px, self.shares, strict=True):
            along = max(across / self.streak_ratio, NARROWEST_PX)
            bell = (math.sqrt(2) * math.pi * along * f_along) ** 2
            bell = bell + (math.sqrt(2) * math.pi * max(across, NARROWEST_PX) * f_across) ** 2
            exponent += self.optical_depth * share * np.exp(-bell)
        np.exp(exponent, out=exponent)
        exponent -= math.exp(-self.optical_depth)
        exponent *= 1 - self.clear_share
        return exponent

    def _aliases(self) -> list[tuple[int, int]]:
        """Which aliases of the grid's frequencies hold any light, as rows and columns."""
        narrowest = max(min(self.across_px) / self.streak_ratio, NARROWEST_PX)
        last = math.ceil(math.sqrt(-math.log(ACCURACY.negligible_alias) / 2) / math.pi / narrowest)
        m = np.arange(-last, last + 1)
        my, mx = m[:, np.newaxis], m[np.newaxis, :]
        c, s = abs(math.cos(self.stroke_rad)), abs(math.sin(self.stroke_rad))
        # No frequency of an alias lies nearer to either axis of the stroke than this.
        turn = self.stroke_rad
        along = np.abs(math.cos(turn) * mx + math.sin(turn) * my) - (c + s) / 2
        across = np.abs(math.cos(turn) * my - math.sin(turn) * mx) - (c + s) / 2
        light = self._deviated(np.maximum(along, 0), np.maximum(across, 0))
        for n in (my, mx):
            light *= np.where(n == 0, 1, 1 / (np.pi * np.maximum(np.abs(n) - 0.5, 0.5)) ** 2)
        rows, columns = np.nonzero(light > ACCURACY.negligible_alias)
        return [(int(m[row]), int(m[column])) for row, column in zip(rows, columns, strict=True)]
