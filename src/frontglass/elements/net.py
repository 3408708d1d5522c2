"""Net: a stocking, a woven net or tulle stretched before the lens."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from frontglass.checks import check_not_negative, check_share, check_within
from frontglass.choices import Choice
from frontglass.elements.bounds import FINEST_PITCH_MM, WIDEST_PITCH_MM, check_turn_deg
from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.diffracting import Diffracting
from frontglass.elements.element import GREEN
from frontglass.errors import ParameterError
from frontglass.optics.nets import SquareNet, light_from_threads, thread_width_m_from_denier
from frontglass.optics.tulle import HexagonalNet
from frontglass.units import m_from_mm, mm_from_m, rad_from_deg


class Weave(Choice):
    """How the threads run."""

    WOVEN = "woven"
    KNITTED = "knitted"
    TULLE = "tulle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Net(Diffracting):
    """Threads before the lens that let most light by and bend the rest into dots and rays.

    Parameters
    ----------
    pitch_mm : float
        From thread to thread. [mm], in [0.02, 100].
    thread_mm : float or None
        Width of a thread at strength 1. [mm], in [0, pitch / 2]. This or `denier`.
    denier : float or None
        Weight of a round nylon thread, grams in nine kilometres. [1], > 0.
    weave : "woven", "knitted" or "tulle"
        Square; square, spacing errors add up; hexagonal.
    angle_deg : float
        Turn of the net, anticlockwise. [degree]
    unevenness : float
        Standard deviation of a thread's place, for a knit of a spacing, as a share of the
        pitch. [1], >= 0.
    pale_share : float
        Of the light that a thread meets, what it scatters on into a veil: 0 for black thread,
        more for skin colour and white. [1], in [0, 1].
    clear_centre : ClearCentre or None
        Where the net is cut away.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Notes
    -----
    With b = 1 - thread / pitch, b**2 of the light passes, and b**2 of that undeviated. Strength s
    changes the thread's width so that the share that passes is ``b**(2 s)``.

    Examples
    --------
    >>> import frontglass as fg
    >>> net = fg.Net(pitch_mm=0.5, thread_mm=0.05, weave="knitted", unevenness=0.03)
    >>> round(net.transmittance, 2)  # (1 - 0.05 / 0.5) ** 2
    0.81
    """

    kind: ClassVar[str] = "net"

    pitch_mm: float
    thread_mm: float | None = None
    denier: float | None = None
    weave: Weave | str = Weave.WOVEN
    angle_deg: float = 0.0
    unevenness: float = 0.0
    pale_share: float = 0.0
    clear_centre: ClearCentre | None = None

    def __post_init__(self) -> None:
        check_within("pitch_mm", self.pitch_mm, FINEST_PITCH_MM, WIDEST_PITCH_MM)
        if (self.thread_mm is None) == (self.denier is None):
            hint = "Give the thread's width or its denier."
            raise ParameterError("thread_mm", "given if denier is not", self.thread_mm, hint)
        if self.thread_mm is not None:
            check_not_negative("thread_mm", self.thread_mm)
        object.__setattr__(self, "weave", Weave.of("weave", self.weave))
        check_turn_deg("angle_deg", self.angle_deg)
        check_not_negative("unevenness", self.unevenness)
        check_share("pale_share", self.pale_share)
        self.mask()  # checks the rest

    @property
    def thread_width_mm(self) -> float:
        """Width of a thread [mm], given or from its denier."""
        if self.thread_mm is not None:
            return self.thread_mm
        return mm_from_m(thread_width_m_from_denier(self.denier or 0.0))

    @property
    def width_mm(self) -> float:
        """See `Diffracting`."""
        return self.thread_width_mm

    @property
    def spacing_ratio(self) -> float:
        """See `Diffracting`; nearest orders of tulle are of rows closer together than its holes."""
        return 2 / math.sqrt(3) if self.weave is Weave.TULLE else 1.0

    def mask(self, channel: int = GREEN) -> SquareNet | HexagonalNet:
        """Return what the pupil sees, the same in every channel."""
        del channel
        pitch_m, width_m = m_from_mm(self.pitch_mm), m_from_mm(self.thread_width_mm)
        error_m, angle_rad = self.unevenness * pitch_m, -rad_from_deg(self.angle_deg)
        if self.weave is Weave.TULLE:
            return HexagonalNet(
                pitch_m=pitch_m, width_m=width_m, angle_rad=angle_rad, jitter_m=error_m
            )
        jitter_m, drift_m = (0.0, error_m) if self.weave is Weave.KNITTED else (error_m, 0.0)
        return SquareNet(
            pitch_m=pitch_m,
            width_m=width_m,
            angle_rad=angle_rad,
            jitter_m=jitter_m,
            drift_m=drift_m,
        )

    @property
    def veil_share(self) -> float:
        """Light from pale threads over all that leaves. [1], in [0, 1)."""
        passed = self.mask().transmittance
        pale = light_from_threads(passed, forward_share=self.pale_share).forward
        return pale / (passed + pale)

    @property
    def covered_transmittance(self) -> float:
        """Light that leaves over light that enters, where the net is [1]."""
        passed = self.mask().transmittance
        return passed + light_from_threads(passed, forward_share=self.pale_share).forward

    def without_veil(self) -> Self:
        """See `Element`: what pale threads scatter is left out."""
        return replace(self, pale_share=0.0)

    def draped(self, turn_deg: float) -> Self:
        """See `Element`."""
        return replace(self, angle_deg=self.angle_deg + turn_deg)

    def at(self, strength: float) -> Self:
        """See `Element`: threads of another width at the same pitch."""
        if strength == 1:
            return self
        width_mm = mm_from_m(self.mask().at_strength(strength).width_m)
        return replace(self, thread_mm=width_mm, denier=None)
