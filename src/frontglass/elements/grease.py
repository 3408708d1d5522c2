"""Grease: a film wiped over a clear filter that is there to be spoilt."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from frontglass.checks import (
    check_share,
    check_within,
)
from frontglass.convolution.convolve import MixedPart
from frontglass.convolution.films import FilmFilter
from frontglass.convolution.filters import Filter
from frontglass.elements.bounds import AT_STRENGTH, THICKEST_FILM_UM, check_turn_deg
from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.covering import Covering, all_of_it
from frontglass.elements.element import CHANNELS, Fact
from frontglass.elements.encircled import encircled_flux
from frontglass.elements.grease_patches import Patches
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.optics.grease import GreaseFilm, Strokes
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.units import deg_from_rad, m_from_mm, m_from_nm, m_from_um, rad_from_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class Grease(Covering):
    """A film of uneven height: thin it glows, thick it blurs.

    Parameters
    ----------
    film_um : float
        Standard deviation of its height at strength 1. [um], in [0, 20].
    texture_um : float
        Length over which the height varies, across the stroke. [um], in [2, 20000].
    grain_um : float
        A second, finer length, whose wide halo gives lamps a soft rim. [um], in [2, 20000].
    grain_share : float
        Its share of the variance of height. [1], in [0, 1].
    streak_ratio : float
        How much longer the texture is along the stroke; lamps streak across it. [1], in
        [1, 100]; 1 is dabbed on without a stroke.
    strokes : "straight", "radial", "circular" or "random"
        How it was wiped.
    stroke_deg : float
        Direction of straight strokes, anticlockwise from the horizontal; a turn of all others.
        [degree]
    patch_mm : float
        How far random strokes go before they turn, and how wide the patches of an uneven film
        are. [mm], in [0.1, 1000].
    unevenness : float
        How patchy the film is: 0 the same all over, 1 from nothing to twice. [1], in [0, 1].
    gaps : float
        Share of the area without any film, evenly strewn. [1], in [0, 1].
    seed : int
        The same number is wiped the same way. >= 0.
    clear_centre : ClearCentre or None
        Where the filter is wiped clean.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Notes
    -----
    Strength multiplies the variance of the height, so that strengths add.

    Examples
    --------
    >>> import frontglass as fg
    >>> wiped = fg.Grease(film_um=0.4, texture_um=80, strokes="radial", streak_ratio=6)
    >>> round(wiped.at(4).film_um, 2)
    0.8
    """

    kind: ClassVar[str] = "grease"
    is_speckled: ClassVar[bool] = True

    film_um: float
    texture_um: float
    grain_um: float = 10.0
    grain_share: float = 0.0
    streak_ratio: float = 1.0
    strokes: Strokes | str = Strokes.STRAIGHT
    stroke_deg: float = 0.0
    patch_mm: float = 10.0
    unevenness: float = 0.0
    gaps: float = 0.0
    seed: int = 0
    clear_centre: ClearCentre | None = None

    def __post_init__(self) -> None:
        check_within("film_um", self.film_um, 0, THICKEST_FILM_UM, AT_STRENGTH)
        check_within("texture_um", self.texture_um, 2, 20000)
        check_within("grain_um", self.grain_um, 2, 20000)
        check_share("grain_share", self.grain_share)
        check_within("streak_ratio", self.streak_ratio, 1, 100)
        object.__setattr__(self, "strokes", Strokes.of("strokes", self.strokes))
        check_turn_deg("stroke_deg", self.stroke_deg)
        check_within("patch_mm", self.patch_mm, 0.1, 1000)
        check_share("unevenness", self.unevenness)
        check_share("gaps", self.gaps)
        if isinstance(self.seed, bool) or not isinstance(self.seed, int) or self.seed < 0:
            raise ParameterError("seed", "a whole number >= 0", self.seed)

    def film(self, *, variance_ratio: float = 1.0, stroke_rad: float | None = None) -> GreaseFilm:
        """Return the film of a patch, `variance_ratio` times as deep, its stroke in frame sense."""
        # Elements turn anticlockwise as one sees them; rows of a picture count downwards.
        own = -rad_from_deg(self.stroke_deg)
        return GreaseFilm(
            rms_height_m=m_from_um(self.film_um) * math.sqrt(variance_ratio),
            textures_m=(m_from_um(self.texture_um), m_from_um(self.grain_um)),
            shares=(1 - self.grain_share, self.grain_share),
            streak_ratio=self.streak_ratio,
            stroke_rad=own if stroke_rad is None else stroke_rad,
            clear_share=self.gaps,
        )

    @property
    def covered_transmittance(self) -> float:
        """See `Covering`: what a clear film loses by reflection is not counted."""
        return 1.0

    def at(self, strength: float) -> Self:
        """See `Element`."""
        return replace(self, film_um=self.film_um * math.sqrt(strength))

    @property
    def is_round(self) -> bool:
        """See `Element`; patches of an uneven film are large beside what they do to a point."""
        return self.streak_ratio == 1

    def direct_share(self, channel: int) -> float:
        """See `Element`; of an uneven film, where it is as deep as on average."""
        return self.film().direct(_wavelength_m(channel))

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        """See `Element`; of an uneven film, where it is as deep as on average."""
        film = self.film()
        return encircled_flux(lambda scale: film_filter(film, channel, scale), radius_rad)

    def covered_filter(self, channel: int, px_per_rad: float) -> Filter | None:
        """See `Covering`; a film that differs from place to place has none."""
        if self._turns or self.unevenness:
            return None
        return film_filter(self.film(), channel, px_per_rad)

    @property
    def _turns(self) -> bool:
        """Whether streaks run in different directions."""
        return self.streak_ratio > 1 and self.strokes != Strokes.STRAIGHT.value

    def covered_parts(self, shape: tuple[int, int], camera: Camera) -> list[MixedPart]:
        """See `Covering`.

        Notes
        -----
        What leaves an uneven film in a direction is a mean over films of a few depths and strokes,
        by how much of each the pupil sees in that direction (see `Covering.through_over`).
        """
        if self.film_um == 0 or self.gaps == 1:
            return [MixedPart(all_of_it, None)]
        if not (self._turns or self.unevenness):
            return Covering.covered_parts(self, shape, camera)
        px_per_rad = camera.px_per_rad(shape[1])
        parts = []
        for share, patch in self._patches().over_frame(shape, camera):
            film = self.film(variance_ratio=patch.variance_ratio, stroke_rad=patch.stroke_rad)
            filters = [film_filter(film, channel, px_per_rad) for channel in CHANNELS]
            parts.append(MixedPart(share.within, filters))
        return parts

    def _patches(self) -> Patches:
        return Patches(
            strokes=Strokes(self.strokes) if self._turns else Strokes.STRAIGHT,
            stroke_rad=self.film().stroke_rad,
            unevenness=self.unevenness,
            patch_m=m_from_mm(self.patch_mm),
            seed=self.seed,
        )

    def covered_facts(self, px_per_deg: float) -> tuple[Fact, ...]:
        """See `Covering`."""
        film = self.film()
        depths = tuple(film.optical_depth(_wavelength_m(channel)) for channel in CHANNELS)
        direct = tuple(100 * self.direct_share(channel) for channel in CHANNELS)
        across = deg_from_rad(film.rms_angle_rad)
        name = "root mean square across the stroke"
        return (
            Fact(name="optical depth", values=depths, unit=""),
            Fact(name="direct", values=direct, unit="%"),
            Fact(name=name, values=(across,), unit="degrees"),
            Fact(name=name, values=(across * px_per_deg,), unit="px"),
        )


def film_filter(film: GreaseFilm, channel: int, px_per_rad: float) -> FilmFilter:
    """Return what a film does to the light of a channel on pixels."""
    wavelength_m = _wavelength_m(channel)
    return FilmFilter(
        optical_depth=film.optical_depth(wavelength_m),
        across_px=tuple(
            wavelength_m / (2 * math.pi * texture) * px_per_rad for texture in film.textures_m
        ),
        shares=film.shares,
        streak_ratio=film.streak_ratio,
        stroke_rad=film.stroke_rad,
        clear_share=film.clear_share,
    )


def _wavelength_m(channel: int) -> float:
    return m_from_nm(CHANNEL_WAVELENGTHS_NM[channel])
