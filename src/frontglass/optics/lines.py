"""Line glass: families of parallel lines that draw rays through every lamp."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Self

from numpy.typing import ArrayLike

from frontglass.checks import check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.bands import Band
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings, Dots, PupilMask
from frontglass.optics.psf import FloatArray

MOST_FAMILIES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class LineGlass(PupilMask):
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
    def points(self) -> int:
        """Rays that leave a lamp."""
        return 2 * self.families

    @property
    def transmittance(self) -> float:
        """Light that leaves over light that enters."""
        return self._crossed.transmittance

    @property
    def direct(self) -> float:
        """Zero order over all light that leaves."""
        return self._crossed.direct

    def at_strength(self, strength: float) -> Self:
        """Return lines so wide that the direct share is ``direct**strength``."""
        return replace(self, lines=self.lines.at_strength(strength))

    def finest_detail_m(self) -> float:
        """Width of a line [m]."""
        return self.lines.width_m

    def otf(self, fx: ArrayLike, fy: ArrayLike, wavelength_m: float) -> FloatArray:
        """Transfer function at (fx, fy) [cycles/rad], 1 at the origin."""
        return self._crossed.otf(fx, fy, wavelength_m)

    def dots(self, band: Band, *, step_rad: float, reach_rad: float) -> Dots:
        """Deviated light within a reach of a lamp, as points; see `PupilMask`."""
        return self._crossed.dots(band, step_rad=step_rad, reach_rad=reach_rad)

    @property
    def _crossed(self) -> CrossedGratings:
        turn = math.pi / self.families
        return CrossedGratings(
            gratings=(self.lines,) * self.families,
            across_rad=tuple(self.angle_rad + turn * i for i in range(self.families)),
        )


def phase_of_groove_rad(depth_m: float, *, index: float, wavelength_m: float) -> float:
    """Phase by which light through a groove runs ahead [rad]: 2 pi (index - 1) depth / wavelength.

    Parameters
    ----------
    depth_m, wavelength_m : float
        [m], > 0.
    index : float
        Refractive index of the glass. [1], > 0.
    """
    depth = check_positive("depth_m", depth_m)
    index = check_positive("index", index)
    return 2 * math.pi * (index - 1) * depth / check_positive("wavelength_m", wavelength_m)
