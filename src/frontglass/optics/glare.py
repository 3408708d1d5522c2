"""Veiling glare: what an even wash of light does to contrast, and what light loss costs."""

from __future__ import annotations

import math

from frontglass.checks import check_not_negative, check_number, check_positive, check_share
from frontglass.errors import ParameterError
from frontglass.units import ratio_from_stops, stops_from_ratio


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


def contrast_ratio_through_veil(
    white: float, black: float, *, mean_radiance: float, veil_share: float
) -> float:
    """Ratio of a white to a black, both seen through a veil.

    Parameters
    ----------
    white, black : float
        Radiance without the veil. [white = 1]; white >= 0, black >= 0.
    mean_radiance, veil_share : float
        As for `veiled_radiance`.

    Returns
    -------
    float
        The ratio; inf for a perfect black without a veil.

    Examples
    --------
    A scene of ten stops keeps 7.75 of them through a veil of 2 %:

    >>> ratio = contrast_ratio_through_veil(1.0, 2**-10, mean_radiance=0.18, veil_share=0.02)
    >>> round(math.log2(ratio), 3)
    7.754
    """
    lit = veiled_radiance(white, mean_radiance=mean_radiance, veil_share=veil_share)
    dark = veiled_radiance(black, mean_radiance=mean_radiance, veil_share=veil_share)
    if dark > 0:
        return lit / dark
    if lit > 0:
        return math.inf
    raise ParameterError("white", "> 0 where black and veil are 0", white)


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


def veil_radiance_from_lift(black: float, *, lift_stops: float) -> float:
    """Light to lay over a black so as to lift it by a number of stops.

    Parameters
    ----------
    black : float
        Radiance of the black. [white = 1], > 0.
    lift_stops : float
        [stops], >= 0.

    Returns
    -------
    float
        black (2**lift - 1), in the unit of `black`.
    """
    check_positive("black", black)
    check_not_negative("lift_stops", lift_stops)
    return black * math.expm1(lift_stops * math.log(2))


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


def transmittance_from_loss(loss_stops: float) -> float:
    """Transmittance that costs a number of stops [stops], >= 0."""
    return ratio_from_stops(-check_not_negative("loss_stops", loss_stops))
