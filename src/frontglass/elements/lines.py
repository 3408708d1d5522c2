"""Lines: glass with fine lines that draw rays through every lamp."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from frontglass.checks import check_not_negative, check_within
from frontglass.elements.bounds import FINEST_LINES_MM, WIDEST_PITCH_MM, check_turn_deg
from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.diffracting import Diffracting
from frontglass.elements.element import GREEN
from frontglass.optics.gratings import Grating
from frontglass.optics.lines import LineGlass
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM, REFERENCE_WAVELENGTH_NM
from frontglass.units import m_from_mm, mm_from_m, rad_from_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines(Diffracting):
    """One to four families of parallel lines, evenly turned.

    Parameters
    ----------
    pitch_mm : float
        From line to line. [mm], in [0.002, 100].
    line_mm : float
        Width of a line at strength 1. [mm], in [0, pitch / 2].
    families : int
        Two rays leave each lamp for every family. [1], 1 to 4.
    groove_phase_deg : float or None
        Phase by which a clear groove delays light at 540 nm; without it lines are opaque.
        [degree]
    angle_deg : float
        Direction of the first pair of rays, anticlockwise from the horizontal. [degree]
    unevenness : float
        Standard deviation of a line's place, as a share of the pitch. [1], >= 0.
    clear_centre : ClearCentre or None
        Where there are no lines.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Examples
    --------
    >>> import frontglass as fg
    >>> star = fg.Lines(pitch_mm=1, line_mm=0.02, families=3)
    >>> round(star.at(2).line_mm, 3)
    0.04
    """

    kind: ClassVar[str] = "lines"

    pitch_mm: float
    line_mm: float
    families: int = 2
    groove_phase_deg: float | None = None
    angle_deg: float = 0.0
    unevenness: float = 0.0
    clear_centre: ClearCentre | None = None

    def __post_init__(self) -> None:
        check_within("pitch_mm", self.pitch_mm, FINEST_LINES_MM, WIDEST_PITCH_MM)
        check_not_negative("line_mm", self.line_mm)
        check_turn_deg("angle_deg", self.angle_deg)
        check_not_negative("unevenness", self.unevenness)
        if self.groove_phase_deg is not None:
            check_turn_deg("groove_phase_deg", self.groove_phase_deg)
        self.mask()  # checks the rest

    def mask(self, channel: int = GREEN) -> LineGlass:
        """Return what the pupil sees in a channel: 0 red, 1 green, 2 blue."""
        phase_rad = None
        if self.groove_phase_deg is not None:
            # The same depth of glass delays short waves by more of their length.
            ratio = REFERENCE_WAVELENGTH_NM / CHANNEL_WAVELENGTHS_NM[channel]
            phase_rad = rad_from_deg(self.groove_phase_deg) * ratio
        grating = Grating(
            pitch_m=m_from_mm(self.pitch_mm),
            width_m=m_from_mm(self.line_mm),
            phase_rad=phase_rad,
            jitter_m=self.unevenness * m_from_mm(self.pitch_mm),
        )
        return LineGlass(
            lines=grating, families=self.families, angle_rad=-rad_from_deg(self.angle_deg)
        )

    @property
    def width_mm(self) -> float:
        """See `Diffracting`."""
        return self.line_mm

    @property
    def covered_transmittance(self) -> float:
        """Light that leaves over light that enters, where the lines are [1]."""
        return self.mask().transmittance

    def at(self, strength: float) -> Self:
        """See `Element`: lines of another width at the same pitch."""
        if strength == 1:
            return self
        width_m = self.mask().at_strength(strength).lines.width_m
        return replace(self, line_mm=mm_from_m(width_m))
