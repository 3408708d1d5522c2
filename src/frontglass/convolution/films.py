"""What a film of grease does to every point of light: oblong Gaussians, compounded."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.filters import Filter

AT_ONCE = 300_000


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
        tau = self.optical_depth
        times = np.arange(1, math.ceil(tau + 6 * math.sqrt(tau) + 12))
        log_share = times * math.log(tau) - tau - scipy.special.gammaln(times + 1)
        fallen = np.maximum(log_share - math.log(ACCURACY.negligible_alias), 0)
        return 2 + max(self.across_px) * math.sqrt(float(np.max(2 * times * fallen)))

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`; along the stroke, where it is narrowest."""
        return self._deviated(f_per_px, np.zeros(1))

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        aliases = self._aliases(fx_per_px, fy_per_px)
        if len(aliases) <= ACCURACY.few_aliases:
            return self._alias_sum(aliases, fx_per_px, fy_per_px)
        # A kernel of few pixels, which few frequencies say all of.
        even, odd = _kernel(self)
        x, y = (2 * np.pi * np.outer(np.arange(len(even)), f) for f in (fx_per_px, fy_per_px))
        whole = np.cos(y).T @ (even @ np.cos(x))
        return whole if self.is_even else whole - np.sin(y).T @ (odd @ np.sin(x))

    def _alias_sum(
        self, aliases: NDArray[np.intp], fx_per_px: Float64, fy_per_px: Float64
    ) -> Float64:
        """Sum over aliases of what both pixels see of each, a cache's worth at a time."""
        total = np.zeros((len(fy_per_px), len(fx_per_px)))
        rows_at_once = max(1, AT_ONCE // len(fx_per_px))
        for top in range(0, len(fy_per_px), rows_at_once):
            rows = slice(top, top + rows_at_once)
            aliases_at_once = max(1, AT_ONCE // total[rows].size)
            for start in range(0, len(aliases), aliases_at_once):
                some = aliases[start : start + aliases_at_once, :, np.newaxis, np.newaxis]
                fx, fy = fx_per_px + some[:, 1], fy_per_px[rows, np.newaxis] + some[:, 0]
                light = self._deviated(*self._along_and_across(fx, fy))
                light *= np.sinc(fx) ** 2
                light *= np.sinc(fy) ** 2
                total[rows] += light.sum(axis=0)
        return total

    def _along_and_across(self, fx: Float64, fy: Float64) -> tuple[Float64, Float64]:
        """Frequencies along the stroke and across it."""
        c, s = math.cos(self.stroke_rad), math.sin(self.stroke_rad)
        if self.is_even:  # left apart, they need no more than a row and a column of exponentials
            return (fx, fy) if abs(c) > abs(s) else (fy, fx)
        return c * fx + s * fy, c * fy - s * fx

    def _deviated(self, f_along: Float64, f_across: Float64) -> Float64:
        """Transfer function of the deviated light itself, before pixels see it."""
        exponent = np.full(
            np.broadcast_shapes(f_along.shape, f_across.shape), -float(self.optical_depth)
        )
        along, across = -2 * (math.pi * f_along) ** 2, -2 * (math.pi * f_across) ** 2
        for sigma, share in zip(self.across_px, self.shares, strict=True):
            least = ACCURACY.narrowest_film_px
            narrow, wide = max(sigma / self.streak_ratio, least), max(sigma, least)
            weight = self.optical_depth * share
            if self.is_even:
                exponent += weight * np.exp(narrow**2 * along) * np.exp(wide**2 * across)
            else:
                exponent += weight * np.exp(narrow**2 * along + wide**2 * across)
        np.exp(exponent, out=exponent)
        exponent -= math.exp(-self.optical_depth)
        exponent *= 1 - self.clear_share
        return exponent

    def _aliases(self, fx_per_px: Float64, fy_per_px: Float64) -> NDArray[np.intp]:
        """Which aliases of some frequencies hold any light, as rows and columns."""
        narrowest = max(min(self.across_px) / self.streak_ratio, ACCURACY.narrowest_film_px)
        last = math.ceil(math.sqrt(-math.log(ACCURACY.negligible_alias) / 2) / math.pi / narrowest)
        m = np.arange(-last, last + 1)
        (middle_y, far_y), (middle_x, far_x) = _middle(fy_per_px), _middle(fx_per_px)
        y, x = middle_y + m[:, np.newaxis], middle_x + m[np.newaxis, :]
        c, s = math.cos(self.stroke_rad), math.sin(self.stroke_rad)
        # No frequency of an alias lies nearer to either axis of the stroke than this.
        along = np.maximum(np.abs(c * x + s * y) - abs(c) * far_x - abs(s) * far_y, 0)
        across = np.maximum(np.abs(c * y - s * x) - abs(c) * far_y - abs(s) * far_x, 0)
        light = self._deviated(along, across)
        for at, far in ((y, far_y), (x, far_x)):
            light *= 1 / np.maximum(np.pi * (np.abs(at) - far), 1) ** 2
        return np.argwhere(light > ACCURACY.negligible_alias) - last


def _middle(f: Float64) -> tuple[float, float]:
    """Middle of some frequencies, and how far they go to either side."""
    low, high = float(f.min()), float(f.max())
    return (low + high) / 2, (high - low) / 2


@lru_cache(maxsize=8)
def _kernel(film: FilmFilter) -> tuple[Float64, Float64]:
    """Deviated light on pixels, its even and its odd part: offsets >= 0, with all that mirror them.

    Multiply by cosines of the one and by sines of the other.
    """
    reach = math.ceil(film.reach_px)
    size = scipy.fft.next_fast_len(2 * reach + 2, real=True)
    f = scipy.fft.fftfreq(size)
    fx = np.abs(f[: size // 2 + 1])
    whole = film._alias_sum(film._aliases(fx, f), fx, f)
    kernel = scipy.fft.irfft2(whole, s=(size, size))
    right, left = kernel[: reach + 1, : reach + 1], kernel[: reach + 1, -np.arange(reach + 1)]
    on_axes = np.outer(*(2 * [np.where(np.arange(reach + 1), 2.0, 1.0)]))
    return (right + left) / 2 * on_axes, (right - left) / 2 * on_axes
