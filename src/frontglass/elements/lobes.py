"""Lobes of a glow: how far, and in what shape, light is deviated once."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass

from frontglass.checks import check_number, check_positive, check_within
from frontglass.elements.bounds import MOST_OF_A_CHANNEL
from frontglass.errors import ParameterError
from frontglass.optics.profiles import Airy, Cone, Exponential, Gaussian, Moffat, Profile
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM, width_ratio_at_wavelength
from frontglass.units import rad_from_deg

WIDEST_DEG = 60.0
"""Beyond this a lobe's angles are no longer small, and a veil describes it better."""

SMALLEST_SHARE = 1e-6
"""Less than this of the light, or of one lobe beside another, is not to be seen."""

EVEN = (1.0, 1.0, 1.0)


def check_triple(name: str, values: object) -> tuple[float, float, float]:
    """Return three numbers in [0, 1000], one per channel, else raise ParameterError."""
    if not isinstance(values, tuple) or len(values) != len(EVEN):
        # A list would leave a frozen value without a hash, and open to change.
        hint = "Give a tuple." if isinstance(values, list) else ""
        raise ParameterError(name, "three numbers, for red, green and blue", values, hint)
    red, green, blue = (check_number(name, value) for value in values)
    if min(red, green, blue) < 0:
        raise ParameterError(name, ">= 0 for each channel", values)
    if max(red, green, blue) > MOST_OF_A_CHANNEL:
        raise ParameterError(name, f"<= {MOST_OF_A_CHANNEL:g} for each channel", values)
    return red, green, blue


def check_width_deg(name: str, value: object) -> None:
    """Raise ParameterError unless a width is in (0, 60] degrees."""
    if check_positive(name, value) > WIDEST_DEG:
        hint = "What is wider is a veil."
        raise ParameterError(name, f"in (0, {WIDEST_DEG:g}]", value, hint)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lobe(ABC):
    """One shape of deviation, and its share of all deviated light.

    Parameters
    ----------
    share : float
        Share among the lobes of its glow; shares are taken relative to their sum.
        [1], in [1e-6, 1e6].
    wavelength_exponent : float
        The lobe widens as (wavelength / 540 nm) to this power: 0 for refraction, 1 for
        diffraction. [1], in [-4, 4].
    channel_scale : tuple of 3 float
        Further factor on the width in red, green and blue. [1], > 0.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Examples
    --------
    >>> import frontglass as fg
    >>> issubclass(fg.ConeLobe, fg.Lobe)
    True
    """

    share: float = 1.0
    wavelength_exponent: float = 0.0
    channel_scale: tuple[float, float, float] = EVEN

    def __post_init__(self) -> None:
        check_within("share", self.share, SMALLEST_SHARE, 1 / SMALLEST_SHARE)
        exponent = check_number("wavelength_exponent", self.wavelength_exponent)
        if abs(exponent) > 4:  # Rayleigh's law, the steepest there is
            raise ParameterError("wavelength_exponent", "in [-4, 4]", exponent)
        if min(check_triple("channel_scale", self.channel_scale)) == 0:
            raise ParameterError("channel_scale", "> 0 for each channel", self.channel_scale)

    @abstractmethod
    def shape(self) -> Profile:
        """Return the profile at 540 nm."""

    def profile(self, channel: int) -> Profile:
        """Return the profile in a channel: 0 red, 1 green, 2 blue."""
        ratio = self.channel_scale[channel] * width_ratio_at_wavelength(
            CHANNEL_WAVELENGTHS_NM[channel], exponent=self.wavelength_exponent
        )
        shape = self.own_shape(channel)
        return shape if ratio == 1 else shape.scaled(ratio)

    def own_shape(self, channel: int) -> Profile:
        """Return the profile of a channel before its width is scaled: the same, unless told."""
        del channel
        return self.shape()


@dataclass(frozen=True, slots=True, kw_only=True)
class GaussianLobe(Lobe):
    """A bell without a tail.

    Parameters
    ----------
    sigma_deg : float
        Standard deviation along one axis. [degree], in (0, 60].

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.GaussianLobe(sigma_deg=0.4, share=2.0).share
    2.0
    """

    sigma_deg: float

    def __post_init__(self) -> None:
        Lobe.__post_init__(self)
        check_width_deg("sigma_deg", self.sigma_deg)

    def shape(self) -> Profile:
        """Return the profile at 540 nm."""
        return Gaussian(sigma_rad=rad_from_deg(self.sigma_deg))


@dataclass(frozen=True, slots=True, kw_only=True)
class ExponentialLobe(Lobe):
    """A core with a tail like the inverse cube of the angle; its OTF is an exponential.

    Parameters
    ----------
    scale_deg : float
        Core radius. [degree], in (0, 60].

    Examples
    --------
    >>> import math, frontglass as fg
    >>> lobe = fg.ExponentialLobe(scale_deg=0.5)
    >>> round(math.degrees(lobe.profile(1).half_energy_radius_rad), 3)
    0.866
    """

    scale_deg: float

    def __post_init__(self) -> None:
        Lobe.__post_init__(self)
        check_width_deg("scale_deg", self.scale_deg)

    def shape(self) -> Profile:
        """Return the profile at 540 nm."""
        return Exponential(scale_rad=rad_from_deg(self.scale_deg))


@dataclass(frozen=True, slots=True, kw_only=True)
class MoffatLobe(Lobe):
    """A core with a power-law tail.

    Parameters
    ----------
    core_deg : float
        Core radius. [degree], in (0, 60].
    beta : float
        Half the exponent of the tail. [1], in (1, 50].

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.MoffatLobe(core_deg=0.25, beta=1.6).beta
    1.6
    """

    core_deg: float
    beta: float

    def __post_init__(self) -> None:
        Lobe.__post_init__(self)
        check_width_deg("core_deg", self.core_deg)
        self.shape()  # checks beta

    def shape(self) -> Profile:
        """Return the profile at 540 nm."""
        return Moffat(core_rad=rad_from_deg(self.core_deg), beta=self.beta)


@dataclass(frozen=True, slots=True, kw_only=True)
class FlecksLobe(Lobe):
    """Diffraction by round flecks of one size; red wider than blue unless told otherwise.

    Parameters
    ----------
    diameter_um : float
        Diameter of a fleck. [um], in [2, 5000].

    Examples
    --------
    Red light is spread wider than blue:

    >>> import frontglass as fg
    >>> lobe = fg.FlecksLobe(diameter_um=60)
    >>> red, blue = (lobe.profile(channel).half_energy_radius_rad for channel in (0, 2))
    >>> red > blue
    True
    """

    diameter_um: float
    wavelength_exponent: float = 1.0

    def __post_init__(self) -> None:
        Lobe.__post_init__(self)
        if not 2 <= check_positive("diameter_um", self.diameter_um) <= 5000:
            raise ParameterError("diameter_um", "in [2, 5000]", self.diameter_um)

    def shape(self) -> Profile:
        """Return the profile at 540 nm."""
        return Airy.from_diameter(self.diameter_um)


@dataclass(frozen=True, slots=True, kw_only=True)
class ConeLobe(Lobe):
    """A halo that falls in a straight line to nothing.

    Parameters
    ----------
    radius_deg : float
        Where it ends. [degree], in (0, 60].

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.ConeLobe(radius_deg=4).radius_deg
    4
    """

    radius_deg: float

    def __post_init__(self) -> None:
        Lobe.__post_init__(self)
        check_width_deg("radius_deg", self.radius_deg)

    def shape(self) -> Profile:
        """Return the profile at 540 nm."""
        return Cone(radius_rad=rad_from_deg(self.radius_deg))
