"""Veiling glare: what an even wash of light does to contrast, and what light loss costs."""

from __future__ import annotations

import math

from frontglass.checks import check_not_negative, check_number, check_positive, check_share
from frontglass.errors import ParameterError
from frontglass.units import stops_from_ratio


def veiled_radiance(radiance: float, *, mean_radiance: float, veil_share: float) -> float:
    """Radiance seen through a veil.

    Parameters
    ----------
    radiance : float
        Without the veil. [white = 1], >= 0.
    mean_radiance : float
        Mean over all that the lens sees. [white = 1], >= 0.
    veil_share : float
        Share V of all light that the veil spreads evenly. [1], in [0, 1].

    Returns
    -------
    float
        (1 - V) radiance + V mean_radiance; the mean over the frame is kept.

    References
    ----------
    [ISO9358], whose veiling glare index is V for a black patch in a white field.
    """
    check_not_negative("radiance", radiance)
    check_not_negative("mean_radiance", mean_radiance)
    share = check_share("veil_share", veil_share)
    return (1 - share) * radiance + share * mean_radiance


def black_lift_stops(black: float, *, veil_radiance: float) -> float:
    """How far light laid over a black lifts it [stops].

    Parameters
    ----------
    black, veil_radiance : float
        Radiance of the black [white = 1], > 0, and of the light over it, >= 0.

    Returns
    -------
    float
        log2(1 + veil / black).
    """
    check_positive("black", black)
    check_not_negative("veil_radiance", veil_radiance)
    return math.log1p(veil_radiance / black) / math.log(2)


def veil_share_at_strength(veil_share: float, strength: float) -> float:
    """Veil share at a strength, such that strengths add.

    Parameters
    ----------
    veil_share : float
        Share V at strength 1. [1], in [0, 1).
    strength : float
        [1], >= 0.

    Returns
    -------
    float
        1 - (1 - V)**strength: what two veils in a row leave unspread multiplies.
    """
    share = check_number("veil_share", veil_share)
    times = check_not_negative("strength", strength)
    if not 0 <= share < 1:
        raise ParameterError("veil_share", "in [0, 1)", veil_share)
    return -math.expm1(times * math.log1p(-share))


def light_loss_stops(transmittance: float) -> float:
    """Light that a transmittance costs [stops].

    Parameters
    ----------
    transmittance : float
        Light that leaves over light that enters. [1], in (0, 1].

    Returns
    -------
    float
        -log2(transmittance), >= 0.

    Raises
    ------
    ParameterError
        If the transmittance is outside (0, 1].
    """
    number = check_number("transmittance", transmittance)
    if not 0 < number <= 1:
        raise ParameterError("transmittance", "in (0, 1]", transmittance)
    return stops_from_ratio(1 / number)
