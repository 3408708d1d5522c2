"""What nets and line glass share: a regular structure that diffracts light into orders."""

from __future__ import annotations

from abc import abstractmethod

from frontglass.convolution.filters import Filter
from frontglass.elements.covering import Covering
from frontglass.elements.element import CHANNELS, GREEN, Fact
from frontglass.elements.mask_filter import mask_filter
from frontglass.optics.masks import PupilMask
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.units import deg_from_rad, m_from_mm, m_from_nm


class Diffracting(Covering):
    """A structure of threads or lines before the lens, as the pupil sees it."""

    __slots__ = ()

    pitch_mm: float

    @abstractmethod
    def mask(self, channel: int = GREEN) -> PupilMask:
        """Return what the pupil sees in a channel."""

    @property
    @abstractmethod
    def width_mm(self) -> float:
        """Width of a thread or line [mm]."""

    @property
    def spacing_ratio(self) -> float:
        """Spacing of the orders over that of a grating of the same pitch. [1]."""
        return 1.0

    @property
    def veil_share(self) -> float:
        """Light that leaves it as a veil, of all that leaves. [1], in [0, 1)."""
        return 0.0

    @property
    def is_round(self) -> bool:
        """See `Element`."""
        return False

    @property
    def is_steady(self) -> bool:
        """See `Element`; orders wax and wane as threads get thicker."""
        return False

    def direct_share(self, channel: int) -> float:
        """See `Element`."""
        return (1 - self.veil_share) * self.mask(channel).direct

    def covered_filter(self, channel: int, px_per_rad: float) -> Filter:
        """See `Covering`."""
        return mask_filter(self.mask(channel), channel, px_per_rad, self.veil_share)

    def covered_facts(self, px_per_deg: float) -> tuple[Fact, ...]:
        """See `Covering`."""
        wavelengths = [m_from_nm(nm) for nm in CHANNEL_WAVELENGTHS_NM]
        ratio, pitch_m = self.spacing_ratio, m_from_mm(self.pitch_mm)
        apart = tuple(deg_from_rad(ratio * w / pitch_m) for w in wavelengths)
        direct = tuple(100 * self.direct_share(channel) for channel in CHANNELS)
        facts = [
            Fact(name="passes", values=(100 * self.covered_transmittance,), unit="%"),
            Fact(name="of that direct", values=direct, unit="%"),
            Fact(name="dots apart", values=apart, unit="degrees"),
            Fact(name="dots apart", values=tuple(deg * px_per_deg for deg in apart), unit="px"),
        ]
        if self.width_mm:
            first_gap = deg_from_rad(wavelengths[GREEN] / m_from_mm(self.width_mm))
            facts.append(Fact(name="rays fade out at", values=(first_gap,), unit="degrees"))
            facts.append(Fact(name="rays fade out at", values=(first_gap * px_per_deg,), unit="px"))
        return tuple(facts)
