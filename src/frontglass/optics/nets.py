"""Nets over the lens: woven and knitted ones as crossed threads, tulle as a honeycomb."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple, Self

from frontglass.checks import check_number, check_positive, check_share
from frontglass.errors import ParameterError
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings, CrossedMask

NYLON_KG_PER_M3 = 1140.0
"""Density of nylon; from memory."""

DENIER_KG_PER_M = 1e-3 / 9000
"""One denier is a gram in nine kilometres."""


def thread_width_m_from_denier(
    denier: float, *, density_kg_per_m3: float = NYLON_KG_PER_M3
) -> float:
    """Width of a round thread from its weight per length.

    Parameters
    ----------
    denier : float
        Grams per 9000 m. [1], > 0.
    density_kg_per_m3 : float
        Of the thread. [kg/m3], > 0.

    Returns
    -------
    float
        sqrt(4 denier / (9000 density pi)) in units of its own. [m]

    Examples
    --------
    >>> round(thread_width_m_from_denier(15) * 1e6)
    43
    """
    weight = check_positive("denier", denier) * DENIER_KG_PER_M
    area = weight / check_positive("density_kg_per_m3", density_kg_per_m3)
    return math.sqrt(4 * area / math.pi)


class ThreadLight(NamedTuple):
    """What becomes of light that meets threads; shares of all that enters the net."""

    absorbed: float
    forward: float
    backward: float


def light_from_threads(
    transmittance: float, *, forward_share: float, backward_share: float = 0.0
) -> ThreadLight:
    """Light that pale threads scatter instead of absorbing it.

    Parameters
    ----------
    transmittance : float
        Of the net: what no thread meets. [1], in [0, 1].
    forward_share, backward_share : float
        Of the light that a thread meets, what it scatters onwards and back. [1], in [0, 1],
        sum <= 1; both 0 for black thread.

    Returns
    -------
    ThreadLight
        `forward` goes into a halo as wide as thread scatters, tens of degrees, and adds to the
        light that leaves. `backward` is what makes a lit net glow towards the lens as well: for
        an irradiance E on the lens' side it adds a veil of ``backward E / pi``.
    """
    met = 1 - check_share("transmittance", transmittance)
    forward = check_share("forward_share", forward_share)
    backward = check_share("backward_share", backward_share)
    if forward + backward > 1:
        rule = "at most 1 together with backward_share"
        raise ParameterError("forward_share", rule, forward_share)
    return ThreadLight(met * (1 - forward - backward), met * forward, met * backward)


@dataclass(frozen=True, slots=True, kw_only=True)
class SquareNet(CrossedMask):
    """Opaque threads both ways: a woven net; with drift, a knitted one.

    Parameters
    ----------
    pitch_m, width_m : float
        Thread to thread, and width of a thread. [m]; pitch > 0, 0 <= width <= pitch / 2.
    angle_rad : float
        Turn of the net, from x towards y. [rad]
    jitter_m : float
        Standard deviation of each thread about a perfect grid (first kind). [m], >= 0.
    drift_m : float
        Standard deviation of each spacing, adding up (second kind: knits). [m], >= 0.

    Notes
    -----
    With b = 1 - width / pitch: transmittance T = b**2, of which T again is direct; the arms hold
    2 b (1 - b), the rest (1 - b)**2. Neither kind of irregularity changes that.

    References
    ----------
    [Goodman2005] sec. 4.4; [BornWolf1999] sec. 8.6.
    """

    pitch_m: float
    width_m: float
    angle_rad: float = 0.0
    jitter_m: float = 0.0
    drift_m: float = 0.0

    def __post_init__(self) -> None:
        check_number("angle_rad", self.angle_rad)
        self.crossed  # noqa: B018 - checks the rest

    @property
    def crossed(self) -> CrossedGratings:
        """Both sets of threads, one over the other."""
        threads = Grating(
            pitch_m=self.pitch_m,
            width_m=self.width_m,
            jitter_m=self.jitter_m,
            drift_m=self.drift_m,
        )
        across = (self.angle_rad, self.angle_rad + math.pi / 2)
        return CrossedGratings(gratings=(threads, threads), across_rad=across)

    def at_strength(self, strength: float) -> Self:
        """Return a net of the same pitch whose transmittance is ``transmittance**strength``."""
        width_m = self.crossed.gratings[0].at_strength(strength).width_m
        return replace(self, width_m=width_m)
