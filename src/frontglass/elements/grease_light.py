"""Light through a film of grease that is the same all over."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.films import FilmFilter
from frontglass.optics.grease import GreaseFilm
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.units import m_from_nm

Float32 = NDArray[np.float32]


def light_through_film(
    light: Float32, film: GreaseFilm, px_per_rad: float, surround: Surround
) -> Float32:
    """Light that leaves a film."""
    if film.rms_height_m == 0:
        return light
    filters = [film_filter(film, m_from_nm(nm), px_per_rad) for nm in CHANNEL_WAVELENGTHS_NM]
    return convolve(light, filters, surround)


def film_filter(film: GreaseFilm, wavelength_m: float, px_per_rad: float) -> FilmFilter:
    """What a film does to light of a wavelength, on pixels."""
    across = (wavelength_m / (2 * math.pi * texture) for texture in film.textures_m)
    return FilmFilter(
        optical_depth=film.optical_depth(wavelength_m),
        across_px=tuple(angle_rad * px_per_rad for angle_rad in across),
        shares=film.shares,
        streak_ratio=film.streak_ratio,
        stroke_rad=film.stroke_rad,
        clear_share=film.clear_share,
    )
