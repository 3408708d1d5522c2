"""Profiles written as sums of Gaussians, which factor into x and y."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.optics.profiles import Exponential, Gaussian, Moffat, Profile

STEP = 0.4
SMALLEST_SHARE = 1e-9


class Gaussians(NamedTuple):
    """Shares [1], summing to 1, and standard deviations [rad] of a sum of Gaussians."""

    shares: NDArray[np.float64]
    sigmas_rad: NDArray[np.float64]


def as_gaussians(profile: Profile, largest_sigma_rad: float) -> Gaussians | None:
    """Sum of Gaussians equal to a profile, or None where there is no such sum.

    Parameters
    ----------
    profile : Profile
        Gaussian, Exponential and Moffat have one; profiles with an edge have not.
    largest_sigma_rad : float
        Wider parts are given this width. [rad], > 0.

    Returns
    -------
    Gaussians or None
        Transform within 1e-8 of the profile's own where nothing was narrowed.

    Notes
    -----
    ``(1 + r**2/a**2)**-b = 1/Gamma(b) int_0^inf t**(b-1) exp(-t) exp(-t r**2/a**2) dt``, by the
    trapezoidal rule in log t, which converges geometrically here. An Exponential is the case
    b = 3/2.
    """
    if isinstance(profile, Gaussian):
        return Gaussians(np.ones(1), np.array([profile.sigma_rad]))
    if isinstance(profile, Exponential):
        profile = Moffat(core_rad=profile.scale_rad, beta=1.5)
    if not isinstance(profile, Moffat):
        return None
    order = profile.beta - 1
    lowest = (math.log(SMALLEST_SHARE) + math.lgamma(order + 1)) / order
    # Wide parts beyond the largest width all become one: no need to go further down.
    lowest = max(lowest, 2 * math.log(profile.core_rad / (math.sqrt(2) * largest_sigma_rad)))
    highest = math.log(profile.beta + 10 * math.sqrt(profile.beta) + 40)
    # The integrand is a bump of width 1/sqrt(beta), which a steep tail makes narrow: at beta = 50
    # the plain step errs by 8e-2, this one by 1e-13.
    step = min(STEP, 0.6 / math.sqrt(profile.beta))
    log_t = np.arange(lowest, highest, step)
    shares = step * np.exp(order * log_t - np.exp(log_t) - math.lgamma(order))
    # What the integral holds below the lowest node is as wide as matters: the first node's share.
    shares[0] += 1 - shares.sum()
    sigmas = profile.core_rad * np.exp(-log_t / 2) / math.sqrt(2)
    return Gaussians(shares, np.minimum(sigmas, largest_sigma_rad))
