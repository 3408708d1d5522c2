"""Light through a film of grease that is the same all over."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.choices import Surround
from frontglass.convolution.halo import gaussian_alias_sum
from frontglass.convolution.spread import spread
from frontglass.convolution.tiles import spread_by_kernels
from frontglass.optics.grease import GreaseFilm
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.units import m_from_nm

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

PIXEL_VARIANCE = 0.25
"""Of a Gaussian that stands for the sending and the receiving pixel [px^2]; their own is 1/6."""
SMALLEST_VARIANCE = 0.2
"""Of a Gaussian that pixels still sample without changing it [px^2]."""
MOST_DEVIATIONS = 100.0
"""Their sum differs from that of any larger number by 1 % at its peak."""
REACH_SIGMAS = 5.5
FARTHEST_PX = 1024


def _through_film(
    light: Float32, film: GreaseFilm, px_per_rad: float, surround: Surround
) -> Float32:
    if film.rms_height_m == 0:
        return light
    halos = [_film_halo(film, m_from_nm(nm), px_per_rad) for nm in CHANNEL_WAVELENGTHS_NM]
    if all(halo.along_axes for halo in halos):
        return spread(light, halos, surround=surround)
    reach = max(halo.reach_px for halo in halos)
    kernels = [halo.kernel(reach) for halo in halos]
    out = spread_by_kernels(light, kernels, surround=surround)
    direct = np.array([halo.direct for halo in halos])
    out += light * direct.astype(np.float32)
    if surround is Surround.MIRROR:
        # What goes beyond the reach comes back from mirrors all round.
        beyond = 1 - direct - np.array([kernel.sum() for kernel in kernels])
        out += (beyond * light.mean(axis=(0, 1), dtype=np.float64)).astype(np.float32)
    return out


def _film_halo(film: GreaseFilm, wavelength_m: float, px_per_rad: float) -> FilmHalo:
    depth = film.optical_depth(wavelength_m)
    # Of a great many deviations only their summed variance counts: fewer of
    # them, and as much wider, put less of the pixels' own blur into each.
    wider = math.sqrt(max(depth / MOST_DEVIATIONS, 1.0))
    across = (wavelength_m / (2 * math.pi * texture) * wider for texture in film.textures_m)
    return FilmHalo(
        optical_depth=min(depth, MOST_DEVIATIONS),
        across_px=tuple(angle_rad * px_per_rad for angle_rad in across),
        shares=film.shares,
        streak_ratio=film.streak_ratio,
        stroke_rad=film.stroke_rad,
        clear_share=film.clear_share,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmHalo:
    """Halo of a film in one channel: a compound scatterer whose profile is oblong Gaussians.

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
    """

    optical_depth: float
    across_px: tuple[float, ...]
    shares: tuple[float, ...]
    streak_ratio: float
    stroke_rad: float
    clear_share: float

    @property
    def direct(self) -> float:
        """See `Halo`."""
        return self.clear_share + (1 - self.clear_share) * math.exp(-self.optical_depth)

    @property
    def along_axes(self) -> bool:
        """Whether the halo is symmetric in x and in y, as a cosine transform needs it."""
        quarter_turns = self.stroke_rad / (math.pi / 2)
        return self.streak_ratio == 1 or abs(quarter_turns - round(quarter_turns)) < 1e-9

    @property
    def reach_px(self) -> int:
        """How far the halo goes [px]."""
        most = self.optical_depth + REACH_SIGMAS * math.sqrt(self.optical_depth) + REACH_SIGMAS
        reach = REACH_SIGMAS * math.sqrt(most * max(self.across_px) ** 2 + PIXEL_VARIANCE)
        return min(math.ceil(reach), FARTHEST_PX)

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Halo`; right only where `along_axes`."""
        level = abs(math.cos(self.stroke_rad)) > 0.5  # the stroke runs along x
        profile = np.zeros((len(fy_per_px), len(fx_per_px)))
        for across, share in zip(self.across_px, self.shares, strict=True):
            along = across / self.streak_ratio
            sigmas = (along, across) if level else (across, along)
            sigma_x, sigma_y = (self._less_pixels(sigma) for sigma in sigmas)
            profile += share * np.outer(
                gaussian_alias_sum(sigma_y, fy_per_px), gaussian_alias_sum(sigma_x, fx_per_px)
            )
        return np.asarray(self._deviated(profile))

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Halo`; along the stroke, so that cells are fine enough for both ways."""
        profile = np.zeros_like(f_per_px)
        for across, share in zip(self.across_px, self.shares, strict=True):
            along = across / self.streak_ratio
            profile += share * np.exp(-2 * (math.pi * along * f_per_px) ** 2)
        return np.asarray(self._deviated(profile))

    def kernel(self, reach_px: int) -> Float64:
        """Kernel of the deviated light, shape (2 reach + 1, 2 reach + 1).

        Notes
        -----
        The profile, with the pixels' own variance added, compounded on a grid twice as wide.
        """
        size = fft.next_fast_len(4 * reach_px + 2, real=True)
        offsets = fft.fftfreq(size, 1 / size)
        x, y = offsets[np.newaxis, :], offsets[:, np.newaxis]
        c, s = math.cos(self.stroke_rad), math.sin(self.stroke_rad)
        along, across = (c * x + s * y) ** 2, (c * y - s * x) ** 2
        profile = np.zeros((size, size))
        for sigma, share in zip(self.across_px, self.shares, strict=True):
            exponent = across / self._with_pixels(sigma)
            exponent += along / self._with_pixels(sigma / self.streak_ratio)
            bell = np.exp(-exponent / 2)
            profile += share / bell.sum() * bell
        deviated = fft.irfft2(self._deviated(fft.rfft2(profile)), s=(size, size))
        around = np.arange(-reach_px, reach_px + 1)
        return np.asarray(deviated[np.ix_(around, around)])

    def _less_pixels(self, sigma_px: float) -> float:
        """Width of a deviation such that the pixels' blur, part of each, is in the whole once."""
        too_much = (1 - 1 / max(self.optical_depth, 1.0)) / 6
        return math.sqrt(max(sigma_px**2 - too_much, sigma_px**2 / 4))

    def _with_pixels(self, sigma_px: float) -> float:
        """Variance [px^2] of a deviation with its part of the pixels' blur."""
        variance = sigma_px**2 + PIXEL_VARIANCE / max(self.optical_depth, 1.0)
        return max(variance, SMALLEST_VARIANCE)

    def _deviated(self, profile: NDArray[Any]) -> NDArray[Any]:
        scale = (1 - self.clear_share) * math.exp(-self.optical_depth)
        return np.asarray(scale * np.expm1(self.optical_depth * profile))
