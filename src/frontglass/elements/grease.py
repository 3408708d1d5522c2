"""Grease: a film wiped over a clear filter that is there to be spoilt."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from frontglass.checks import (
    check_not_negative,
    check_number,
    check_positive,
    check_share,
    check_within,
)
from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.element import Place
from frontglass.errors import ParameterError
from frontglass.optics.grease import GreaseFilm, Strokes
from frontglass.units import m_from_mm, m_from_um, rad_from_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class Grease:
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
        are. [mm], > 0.
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
    """

    place: ClassVar[Place] = Place.FRONT

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
        check_not_negative("film_um", self.film_um)
        check_within("texture_um", self.texture_um, 2, 20000)
        check_within("grain_um", self.grain_um, 2, 20000)
        check_share("grain_share", self.grain_share)
        check_within("streak_ratio", self.streak_ratio, 1, 100)
        object.__setattr__(self, "strokes", Strokes.of("strokes", self.strokes))
        check_number("stroke_deg", self.stroke_deg)
        check_positive("patch_mm", self.patch_mm)
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
    def patch_m(self) -> float:
        """Size of a patch [m]."""
        return m_from_mm(self.patch_mm)

    @property
    def transmittance(self) -> float:
        """See `Element`: what a clear film loses by reflection is not counted."""
        return 1.0

    def at(self, strength: float) -> Self:
        """See `Element`."""
        return replace(self, film_um=self.film_um * math.sqrt(strength))
