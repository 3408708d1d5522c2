"""Scattered light as pixels see it: averaged once over the pixel that sends and that receives it.

A pixel of the input is the mean of the light on it, and is taken for a square of that light; a
pixel of the output is the mean of the light that lands on it. So what a scatterer deviates is
averaged over both pixels after any number of deviations, never between them, and a scene whose
pixels are split, rendered and averaged again comes out as the scene itself. What light there is
within one pixel of the input no rendering can know: lamps smaller than a pixel are as wide as it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import scipy
from numpy.polynomial.chebyshev import chebvander
from numpy.polynomial.legendre import leggauss

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.blocks import add_product
from frontglass.optics.even_spline import EvenSpline, of_radius
from frontglass.optics.gaussians import as_gaussians
from frontglass.optics.profiles import Airy, Cone, Mixture, Profile
from frontglass.optics.scatter import DEEPEST_EXPM1, deviated_share

Scatterers = tuple[tuple[float, Profile], ...]
"""Optical depths [1] and profiles of a single deviation."""


class _Folded(NamedTuple):
    """What aliases add on the grid: factors along y and x, of Chebyshev polynomials."""

    along_y: Float64
    along_x: Float64


def deviated_on_grid(
    scatterers: Scatterers, px_per_rad: float, fx_per_px: Float64, fy_per_px: Float64
) -> Float64:
    """Transfer function of the light that scatterers deviate, as pixels see it.

    Parameters
    ----------
    scatterers : tuple of (float, Profile)
        Optical depth [1], >= 0, and the profile of a single deviation, without direct light.
    px_per_rad : float
        Scale of the picture, > 0.
    fx_per_px, fy_per_px : ndarray, shapes (W,) and (H,)
        Spatial frequencies [cycles/px], of either sign, 1/2 at most.

    Returns
    -------
    ndarray, shape (H, W), float64
        Transform of the kernel on the pixel grid: 1 - exp(-tau) at the origin; the kernel itself
        is nowhere negative, however narrow a profile.

    Notes
    -----
    With ``S = exp(-tau) (exp(sum tau_i K_i) - 1)`` the kernel at the pixel offset n is S integrated
    against the unit triangle in x and y, so its transform is the sum over aliases
    ``S(f + m) sinc^2(fx + mx) sinc^2(fy + my)``. The term without alias has all the cusps of K at
    the origin, and is computed where it is asked for. All others together are smooth there: few
    polynomials, found once for a scatterer, say all of them.
    """
    out = point_on_grid(scatterers, px_per_rad, fx_per_px, fy_per_px)
    out *= np.sinc(fy_per_px)[:, np.newaxis] ** 2
    out *= np.sinc(fx_per_px) ** 2
    return with_aliases(out, scatterers, px_per_rad, fx_per_px, fy_per_px)


def with_aliases(
    out: Float64,
    scatterers: Scatterers,
    px_per_rad: float,
    fx_per_px: Float64,
    fy_per_px: Float64,
) -> Float64:
    """Return what lies on a grid with all aliases but the first added to it, in place."""
    parts = _simple(scatterers)
    if _farthest_alias(parts, px_per_rad) <= 0.5:
        return out
    folded = _folded(parts, px_per_rad)
    if folded is None:
        _add_aliases(out, parts, px_per_rad, fx_per_px, fy_per_px)
        return out
    along_y, along_x = (
        chebvander(8 * f**2 - 1, len(own) - 1) @ own
        for f, own in ((fy_per_px, folded.along_y), (fx_per_px, folded.along_x))
    )
    return add_product(out, along_y, along_x.T)


def point_on_grid(
    scatterers: Scatterers, px_per_rad: float, fx_per_px: Float64, fy_per_px: Float64
) -> Float64:
    """Return the same as it is before any pixel averages it, up to the grid's own frequencies."""
    parts = _simple(scatterers)
    depth = _depth(parts)
    if depth and len(fx_per_px) * len(fy_per_px) <= ACCURACY.kept_frequencies:
        # Shares to so many digits are the same at every strength.
        shares = tuple((round(part / depth, 13), profile) for part, profile in parts)
        exponent = depth * _kept(shares, px_per_rad, fx_per_px.tobytes(), fy_per_px.tobytes())
    else:
        exponent = _exponent(parts, px_per_rad, fx_per_px, fy_per_px)
    return deviated_share(exponent, depth, out=exponent)


@lru_cache(maxsize=12)
def _kept(parts: Scatterers, px_per_rad: float, fx_per_px: bytes, fy_per_px: bytes) -> Float64:
    """Exponent of a depth of 1, for all strengths of a look. Not to be changed."""
    exponent = _exponent(parts, px_per_rad, np.frombuffer(fx_per_px), np.frombuffer(fy_per_px))
    exponent.flags.writeable = False
    return exponent


@lru_cache(maxsize=64)
def fits_the_grid(scatterers: Scatterers, px_per_rad: float) -> bool:
    """Whether hardly any deviated light has detail beyond the grid's frequencies."""
    parts = _simple(scatterers)
    light = deviated_share(_at(np.array([0.0, 0.5]), parts, px_per_rad), _depth(parts))
    return bool(abs(light[1]) <= ACCURACY.detail_of_a_pixel * light[0])


def _simple(scatterers: Scatterers) -> Scatterers:
    """Scatterers without mixtures: a share of a deviation is a share of the depth."""
    parts: list[tuple[float, Profile]] = []
    for depth, profile in scatterers:
        if isinstance(profile, Mixture):
            shares = zip(profile.shares, profile.profiles, strict=True)
            parts += _simple(tuple((depth * share, part) for share, part in shares))
        elif depth:
            parts.append((depth, profile))
    return tuple(parts)


def _depth(parts: Scatterers) -> float:
    return sum(depth for depth, _ in parts)


def _exponent(
    parts: Scatterers, px_per_rad: float, fx_per_px: Float64, fy_per_px: Float64
) -> Float64:
    """``sum tau K`` on a grid; mixtures of Gaussians factor into x and y."""
    # A Gaussian much wider than the longest wave on the grid is nothing but its mean.
    longest_px = 1 / min(_lowest(fx_per_px), _lowest(fy_per_px))
    depths, sigmas_px, others = _as_gaussians(parts, px_per_rad, longest_px)
    exponent = np.zeros((fy_per_px.size, fx_per_px.size))
    if depths.size:
        # Of pieces of a plane the long side is the same each time.
        along = [
            _kept_falls(sigmas_px.tobytes(), f.tobytes()) if is_long else _falls(sigmas_px, f)
            for f, is_long in (
                (fy_per_px, fy_per_px.size > fx_per_px.size),
                (fx_per_px, fx_per_px.size >= fy_per_px.size),
            )
        ]
        add_product(exponent, (along[0] * depths[:, np.newaxis]).T, along[1])
    if others:
        exponent += _from_table(others, px_per_rad, fx_per_px, fy_per_px)
    return np.asarray(exponent, dtype=np.float64)


@lru_cache(maxsize=64)
def _as_gaussians(
    parts: Scatterers, px_per_rad: float, longest_px: float
) -> tuple[Float64, Float64, Scatterers]:
    """Depths and standard deviations [px] of scatterers as Gaussians, and those that are none."""
    depths, sigmas_px, others = [np.zeros(0)], [np.zeros(0)], []
    for depth, profile in parts:
        largest_rad = max(2 * longest_px / px_per_rad, profile.half_energy_radius_rad)
        gaussians = as_gaussians(profile, largest_sigma_rad=largest_rad)
        if gaussians is None:
            others.append((depth, profile))
        else:
            depths.append(depth * gaussians.shares)
            sigmas_px.append(gaussians.sigmas_rad * px_per_rad)
    return np.concatenate(depths), np.concatenate(sigmas_px), tuple(others)


def _falls(sigmas_px: Float64, f_per_px: Float64) -> Float64:
    """Return transforms of Gaussians along an axis, shape (Gaussians, frequencies)."""
    return np.asarray(np.exp(-2 * (math.pi * sigmas_px[:, np.newaxis] * f_per_px) ** 2))


@lru_cache(maxsize=4)
def _kept_falls(sigmas_px: bytes, f_per_px: bytes) -> Float64:
    """Return the same, for the other pieces of a plane. Not to be changed."""
    falls = _falls(np.frombuffer(sigmas_px), np.frombuffer(f_per_px))
    falls.flags.writeable = False
    return falls


def _lowest(f_per_px: Float64) -> float:
    above = np.abs(f_per_px[f_per_px != 0])
    return float(above.min()) if above.size else 1.0


def _from_table(
    parts: Scatterers, px_per_rad: float, fx_per_px: Float64, fy_per_px: Float64
) -> Float64:
    """Return the same from a table along the radius, where a value costs microseconds."""
    f = np.hypot(fy_per_px[:, np.newaxis], fx_per_px)
    if not f.any():
        return np.full(f.shape, sum(depth for depth, _ in parts))
    return of_radius(lambda nodes: _at(nodes, parts, px_per_rad), f, ACCURACY.radius_nodes)


def _at(f_per_px: Float64, parts: Scatterers, px_per_rad: float) -> Float64:
    """``sum tau K`` at frequencies [cycles/px]."""
    total = np.zeros(f_per_px.shape)
    for depth, profile in parts:
        total += depth * transform_at(profile, f_per_px * px_per_rad)
    return total


def transform_at(profile: Profile, f_per_rad: Float64) -> Float64:
    """Transform of a profile; kept, since another strength asks for the same. Not to be changed."""
    return _transform(profile, np.ascontiguousarray(f_per_rad).tobytes()).reshape(f_per_rad.shape)


@lru_cache(maxsize=64)
def _transform(profile: Profile, f_per_rad: bytes) -> Float64:
    values = np.asarray(profile.transform(np.frombuffer(f_per_rad)), dtype=np.float64)
    values.flags.writeable = False
    return values


def _deviated(parts: Scatterers, px_per_rad: float) -> Callable[[Float64], Float64]:
    """Transfer function of the deviated light beyond the grid's own frequencies."""
    depth = _depth(parts)
    edged = tuple(part for part in parts if isinstance(part[1], Cone | Airy))
    smooth = tuple(part for part in parts if part not in edged)
    low, high = math.log(0.4), math.log(ACCURACY.farthest_alias)
    nodes = np.exp(np.linspace(low, high, ACCURACY.radius_nodes))
    table = EvenSpline(low, high, _at(nodes, smooth, px_per_rad)) if smooth else None

    def at(f_per_px: Float64) -> Float64:
        exponent = np.zeros(f_per_px.shape) if table is None else table(np.log(f_per_px))
        if edged:
            exponent = exponent + _at(f_per_px, edged, px_per_rad)
        return deviated_share(exponent, depth)

    return at


def _negligible(parts: Scatterers) -> float:
    """Light that may be left out of the sum over aliases.

    Rings and edges of wide profiles go on for hundreds of aliases, but what one adds is strewn
    along the edge.
    """
    has_edge = any(isinstance(profile, Cone | Airy) for _, profile in parts)
    return ACCURACY.negligible_edge if has_edge else ACCURACY.negligible_alias_sum


@lru_cache(maxsize=64)
def _farthest_alias(parts: Scatterers, px_per_rad: float) -> float:
    """Frequency [cycles/px] beyond which pixels see nothing of the deviated light."""
    f = np.geomspace(0.5, ACCURACY.farthest_alias, 600)
    light = _at(f, parts, px_per_rad)
    depth = _depth(parts)
    # What is below the bound in this sum is below it in light too; deep scatterers need the light.
    light = np.expm1(light) if depth <= DEEPEST_EXPM1 else deviated_share(light, depth)
    seen = np.abs(light) / (math.pi * f) ** 2
    (lit,) = np.nonzero(seen > _negligible(parts))
    return float(f[min(lit[-1] + 1, f.size - 1)]) if lit.size else 0.0


@lru_cache(maxsize=32)
def _folded(parts: Scatterers, px_per_rad: float) -> _Folded | None:
    """Sum over aliases as polynomials of the square of the frequency; None if too many."""
    deviated, farthest = _deviated(parts, px_per_rad), _farthest_alias(parts, px_per_rad)
    negligible = _negligible(parts)
    for count in ACCURACY.alias_nodes:
        nodes = (np.cos(math.pi * (np.arange(count) + 0.5) / count) + 1) / 8
        values = _alias_sum(deviated, np.sqrt(nodes), farthest, negligible)
        series = scipy.fft.dctn(values, type=2) / count**2
        series[0] /= 2
        series[:, 0] /= 2
        missed = float(np.abs(series[-2:]).max())
        # What has a kink among its aliases is followed as far as pays.
        if missed <= negligible * (10 if count == ACCURACY.alias_nodes[-1] else 1):
            left, values_, right = np.linalg.svd(series)
            kept = values_ > negligible / count
            return _Folded(left[:, kept] * values_[kept], right[kept].T)
    return None


def _alias_sum(
    deviated: Callable[[Float64], Float64], f_per_px: Float64, farthest: float, negligible: float
) -> Float64:
    """Sum over all aliases but the first, at every pair of frequencies, shape (N, N)."""
    places, weights = _along_axis(f_per_px, farthest)
    nearest, most = places.min(axis=1), weights.max(axis=1)
    total = np.zeros((f_per_px.size, f_per_px.size))
    light = np.abs(deviated(np.geomspace(0.5, 2 * farthest, 600)))
    falling = np.maximum.accumulate(light[::-1])[::-1]
    for own in range(len(places)):
        radius = np.maximum(np.hypot(nearest[own], nearest), 0.5)
        bound = np.interp(radius, np.geomspace(0.5, 2 * farthest, 600), falling)
        lit = bound * most[own] * most > negligible / 10
        # The sum looks the same along both axes: of a pair of aliases one half is enough.
        lit[:own] = False
        lit[0] &= own != 0
        (others,) = np.nonzero(lit)
        if not others.size:
            continue
        f = np.hypot(places[own][:, np.newaxis], places[others][:, np.newaxis])
        seen = deviated(f) * weights[others][:, np.newaxis]
        seen[others == own] /= 2
        total += weights[own][:, np.newaxis] * seen.sum(axis=0)
    return total + total.T


def _along_axis(f_per_px: Float64, farthest: float) -> tuple[Float64, Float64]:
    """Aliases along an axis, the first of them none, and what both pixels see of each.

    Far aliases are taken together: ``sum 1 / (f + m)**2`` over a stretch is an integral over 1 / f,
    of which a few nodes say all, and its whole is known.
    """
    near = ACCURACY.near_aliases
    last = min(near, math.ceil(farthest))
    m = np.array(sorted(range(-last, last + 1), key=abs))[:, np.newaxis]
    places, weights = [np.abs(f_per_px + m)], [np.sinc(f_per_px + m) ** 2]
    start = last + 1
    x, w = leggauss(ACCURACY.nodes_of_far_aliases)
    while last == near and start < farthest:
        stop = 2 * start
        for f in (f_per_px, -f_per_px):
            low, high = 1 / (stop - 0.5 + f), 1 / (start - 0.5 + f)
            t = (high + low) / 2 + (high - low) / 2 * x[:, np.newaxis]
            whole = scipy.special.polygamma(1, start + f) - scipy.special.polygamma(1, stop + f)
            places.append(1 / t)
            weights.append(w[:, np.newaxis] / 2 * whole * (np.sin(np.pi * f) / np.pi) ** 2)
        start = stop
    return np.concatenate(places), np.concatenate(weights)


def _add_aliases(
    out: Float64,
    parts: Scatterers,
    px_per_rad: float,
    fx_per_px: Float64,
    fy_per_px: Float64,
) -> None:
    """Add aliases one by one, of a scatterer whose light has a kink among them."""
    last = min(math.ceil(_farthest_alias(parts, px_per_rad)), ACCURACY.most_aliases)
    end = math.hypot(last + 0.5, last + 0.5)
    nodes = end * np.linspace(0, 1, ACCURACY.radius_nodes) ** 2
    light = deviated_share(_at(nodes, parts, px_per_rad), _depth(parts))
    table = EvenSpline(0, math.sqrt(end), light)
    for my in range(-last, last + 1):
        for mx in range(-last, last + 1):
            if not mx and not my:
                continue
            fy, fx = fy_per_px + my, fx_per_px + mx
            window = np.outer(np.sinc(fy) ** 2, np.sinc(fx) ** 2)
            out += table(np.sqrt(np.minimum(np.hypot(fy[:, np.newaxis], fx), end))) * window


def joined(scatterers: Sequence[Scatterers]) -> Scatterers:
    """Return scatterers one behind the other as one; depths of equal profiles add."""
    depths: dict[Profile, float] = {}
    for each in scatterers:
        for depth, profile in each:
            depths[profile] = depths.get(profile, 0.0) + depth
    return tuple((depth, profile) for profile, depth in depths.items())
