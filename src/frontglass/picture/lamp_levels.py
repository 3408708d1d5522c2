"""How far above white clipped areas are: estimated, by kind, or typed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from frontglass.arrays import Float64
from frontglass.picture.clipped_features import RegionFeatures
from frontglass.picture.lamp_kinds import (
    KINDS,
    MOST_CORE,
    LampKind,
    White,
    core_of,
    disc_px,
    level_of,
)
from frontglass.picture.lamp_likeness import blueness, rim_colours
from frontglass.picture.lamp_rim import Seen

MOST_ESTIMATED_STOPS = 12.0
LEAST_STOPS = 0.1
"""An area estimated at less is plain white, and given nothing."""
BY_STILL = (-2.1, 4.1, 1.45, 1.25, 1.0, -0.95, -4.0, 0.55)
BY_WHITE = (-1.7, 3.7, 4.2, 1.25, 0.85, -0.6, -0.26, 0.35)
"""The light that an area lost, over white [stop]: a constant; more by the share of its inner part
that clips in all channels, and where light falls off round it as round the sun; more in stills lit
by their lamps, and there by the level at which these send as much as the still shows; less by how
much bluer than red its rim is [stop], as skies and windows are. Where white is not known less
for crumbs of a sky, else by how far white lies above `MIDDLE_WHITE_STOPS` [stop]. Last, less by
each octave that the area is less deep than the deepest lamp of the still: of lamps side by side the
brighter blooms wider. Rounded from what tests/benchmarks/fit_lamps.py prints."""
LEAST_RIM = 0.1
"""Light of a rim that counts as much as the still's own colour: more than for colours, for a JPEG
moves the colour of dim rims."""
MIDDLE_WHITE_STOPS, WHITE_REACH_STOPS = 8.0, 6.0
"""The binary logarithm of white [cd/m2] about which, and how far, it tells of levels."""
DAYLIGHT_FROM_STOPS, DAYLIGHT_TO_STOPS = 9.0, 12.0
"""Where white is dimmer than the first, what falls off softly is no sun; from the second on it
is."""
UNCERTAIN_STOPS = 1.9
"""As that script prints it for panoramas left out: two stills in three lie that near."""
FALL_AT_STOPS, FALL_SLOPE_STOPS = 3.5, 2.0
"""Light falls from the middle of an area to its edge in proportion to the distance from the edge at
the first level, by twice that exponent at the second more: the median of open panoramas, as
fit_lamps.py prints it."""
SUN_FROM = 0.5
"""An aureole in daylight, beyond that, is taken for the sun's: the light lies in its disc."""
LEAST_FALL, MOST_FALL = 0.25, 40.0
HALF_PX, HALF_SHARE, LEAST_FLAT = 0.7, 0.05, 0.05
"""At a lamp's edge its light is halved on so many pixels, or on that share of its radius; the rest
is flat, and at least that share of the area."""


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """What is believed of each clipped area; arrays of one entry each.

    Parameters
    ----------
    stops : ndarray
        Mean light over white. [stop], >= 0; 0 is plain white.
    uncertain_stops : ndarray
        Its standard deviation; 0 where it was typed. [stop]
    fall, core : ndarray
        Light rises from the edge as that power of the distance from it, [1], > 0, up to a core of
        that share of the way from the middle to the edge. [1], in [0, 1)
    disc_px : ndarray
        Radius of a disc in the sky that all the light is in instead; 0 where there is none. [px]
    """

    stops: Float64
    uncertain_stops: Float64
    fall: Float64
    core: Float64
    disc_px: Float64

    @classmethod
    def of(cls, stops: Float64, uncertain_stops: float = 0.0) -> Levels:
        """Return levels of areas of unknown kinds, all equally uncertain unless plain white."""
        doubt = np.where(stops > 0, uncertain_stops, 0)
        return cls(stops, doubt, fall_at(stops), *np.zeros((2, len(stops))))

    @classmethod
    def estimated(cls, features: RegionFeatures, white: White | None, px_per_rad: float) -> Levels:
        """Return the levels that a still itself speaks for."""
        stops = estimated_stops(features, white)
        levels = cls.of(np.where(stops < LEAST_STOPS, 0, stops), UNCERTAIN_STOPS)
        if white is not None:
            for index in np.flatnonzero(signs(features, white)[:, 2] > SUN_FROM):
                levels.disc_px[index] = disc_px(KINDS["sun"], px_per_rad)
        return levels

    def name(
        self, index: int, kind: LampKind, white: White | None, seen: Seen, px_per_rad: float
    ) -> None:
        """Take an area to be a lamp of a kind, by what is seen of it."""
        disc, deepest = disc_px(kind, px_per_rad), float(seen.depth.max())
        area = len(seen.depth)
        in_disc = min(MOST_CORE, disc / math.sqrt(area / math.pi)) ** 2
        if disc:
            core = math.sqrt(in_disc)
        else:
            core = core_of(
                kind,
                white,
                deepest_px=deepest,
                area_px=area,
                slope=seen.slope,
                edge=seen.edge,
            )
        # Half as bright at the lamp's edge as one blur further in.
        blur = max(HALF_PX, HALF_SHARE * core * deepest)
        core = max(core - blur / deepest, LEAST_FLAT)
        to_core = (1 - core) * deepest
        left = max(0.05, 1 - blur / to_core)
        fall = float(np.clip(np.log(0.5) / np.log(left), LEAST_FALL, MOST_FALL))
        share = float((np.minimum(seen.depth / to_core, 1) ** fall).mean())
        found = level_of(
            kind, white, share=in_disc if disc else share, steradian=area / px_per_rad**2
        )
        self.stops[index], self.uncertain_stops[index] = found
        self.fall[index], self.core[index], self.disc_px[index] = fall, core, disc

    def type(self, index: int, stops: float) -> None:
        """Give an area a level that somebody knows."""
        self.stops[index], self.uncertain_stops[index] = stops, 0
        self.fall[index] = fall_at(np.array([stops]))[0]
        self.core[index] = self.disc_px[index] = 0

    def off_by(self, deviations: float) -> Float64:
        """Levels so many standard deviations from the likely ones [stop]; plain white stays."""
        moved = np.maximum(self.stops + deviations * self.uncertain_stops, 0)
        return np.asarray(np.where(self.stops > 0, moved, 0))


def fall_at(stops: Float64) -> Float64:
    """Power with which light rises from the edge of an area of unknown kind."""
    rising = 2.0 ** ((stops - FALL_AT_STOPS) / FALL_SLOPE_STOPS)
    return np.asarray(np.clip(rising, LEAST_FALL, MOST_FALL))


def estimated_stops(
    features: RegionFeatures, white: White | None, coefficients: Sequence[float] | None = None
) -> Float64:
    """Mean light of each area over white [stop].

    Parameters
    ----------
    features : RegionFeatures
        What the still shows.
    white : White or None
        White of the still, if it is known.
    coefficients : numbers or None
        As `BY_WHITE`, or as `BY_STILL` where white is not known; None takes those.

    Notes
    -----
    A level is not read off an area but is that of areas like it, right in the middle: too little
    light is as wrong as too much.
    """
    if coefficients is None:
        coefficients = BY_STILL if white is None else BY_WHITE
    lost = np.minimum(signs(features, white) @ np.asarray(coefficients), MOST_ESTIMATED_STOPS)
    return np.asarray(np.log2(1 + 2.0**lost) * features.lamp_share)


def signs(features: RegionFeatures, white: White | None) -> Float64:
    """Return what the coefficients multiply, shape (R, 8)."""
    core, aureole = features.core_share, features.aureole
    lamp = core * features.lamp_lit
    blue = blueness(rim_colours(features.rim_light, features.frame_light, LEAST_RIM))
    last = core * features.crumbs
    if white is not None:
        stops = float(np.log2(white.cd_per_m2))
        span = DAYLIGHT_TO_STOPS - DAYLIGHT_FROM_STOPS
        aureole = aureole * np.clip((stops - DAYLIGHT_FROM_STOPS) / span, 0, 1)
        above = float(np.clip(stops - MIDDLE_WHITE_STOPS, -WHITE_REACH_STOPS, WHITE_REACH_STOPS))
        last = np.full_like(core, above)
    known = [np.ones_like(core), core, aureole, lamp, lamp * features.closure_stops, blue, last]
    known += [core * features.shallow]
    return np.stack(known, axis=1)
