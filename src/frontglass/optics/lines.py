"""Line glass: families of parallel lines that draw rays through every lamp."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Self

from frontglass.checks import check_number
from frontglass.errors import ParameterError
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings, CrossedMask

MOST_FAMILIES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class LineGlass(CrossedMask):
    """One to four families of parallel lines, evenly turned: rays of 2, 4, 6 or 8 points.

    Parameters
    ----------
    lines : Grating
        One family: opaque lines, or clear grooves with a phase.
    families : int
        [1], in 1...4.
    angle_rad : float
        Direction of the first pair of rays, from x towards y; across the lines. [rad]

    Raises
    ------
    ParameterError
        If the number of families is out of range.

    Notes
    -----
    Opaque lines of cover c transmit (1 - c)**n, and keep the same share of that direct; grooves
    keep (1 - 2 c (1 - c) (1 - cos phase))**n.

    References
    ----------
    [Goodman2005] sec. 4.4.
    """

    lines: Grating
    families: int = 2
    angle_rad: float = 0.0

    def __post_init__(self) -> None:
        whole = isinstance(self.families, int) and not isinstance(self.families, bool)
        if not whole or not 1 <= self.families <= MOST_FAMILIES:
            raise ParameterError("families", f"1 to {MOST_FAMILIES}", self.families)
        check_number("angle_rad", self.angle_rad)

    @property
    def crossed(self) -> CrossedGratings:
        """The families one over the other."""
        turn = math.pi / self.families
        return CrossedGratings(
            gratings=(self.lines,) * self.families,
            across_rad=tuple(self.angle_rad + turn * i for i in range(self.families)),
        )

    def at_strength(self, strength: float) -> Self:
        """Return lines so wide that the direct share is ``direct**strength``."""
        return replace(self, lines=self.lines.at_strength(strength))
