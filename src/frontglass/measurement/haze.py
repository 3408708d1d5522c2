"""Numbers of the haze in a look, all of it together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from frontglass.elements import Element, Place
from frontglass.elements.haze import ACROSS_THE_ROOM_M, NEAR_M
from frontglass.elements.haze_light import CAUTION_MG_PER_M3
from frontglass.optics.air import droplet_load_mg_per_m3, optical_range_m

CHANNELS = (0, 1, 2)
GREEN = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class HazeNumbers:
    """What all the haze of a look takes, at its strength; per channel red, green, blue.

    Parameters
    ----------
    extinction_per_m : tuple of 3 float
        [1/m]
    optical_range_m : float
        Where 5 % of a green light is left [m]; inf without haze.
    kept_near, kept_across : tuple of 3 float
        Share of light left after 3 m and after 10 m. [1]
    droplet_load_mg_per_m3 : float
        Mass of the usual droplets that it takes. [mg/m3]
    """

    extinction_per_m: tuple[float, ...]
    optical_range_m: float
    kept_near: tuple[float, ...]
    kept_across: tuple[float, ...]
    droplet_load_mg_per_m3: float

    @property
    def is_cautioned(self) -> bool:
        """Whether so much mist calls for the cautions."""
        return self.droplet_load_mg_per_m3 > CAUTION_MG_PER_M3


def haze_numbers(path: Sequence[Element]) -> HazeNumbers | None:
    """Numbers of the haze in a light path, all of it together; None where there is none."""
    if all(element.place is not Place.AIR for element in path):
        return None
    extinction = tuple(
        math.fsum(element.extinction(channel) for element in path) for channel in CHANNELS
    )
    return HazeNumbers(
        extinction_per_m=extinction,
        optical_range_m=optical_range_m(extinction[GREEN]),
        kept_near=tuple(math.exp(-NEAR_M * part) for part in extinction),
        kept_across=tuple(math.exp(-ACROSS_THE_ROOM_M * part) for part in extinction),
        droplet_load_mg_per_m3=droplet_load_mg_per_m3(extinction[GREEN]),
    )
