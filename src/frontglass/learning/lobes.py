"""Few lobes of the catalogue that stand for what was learned, where they fit within its errors."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from frontglass.arrays import Float64
from frontglass.choices import Choice
from frontglass.elements import ConeLobe, ExponentialLobe, GaussianLobe, Glow, Lobe, MoffatLobe
from frontglass.elements.lobes import WIDEST_DEG
from frontglass.learning.fitting import Fitted
from frontglass.learning.glass import GREEN, GlassAt1
from frontglass.optics.table import Table

Numbers = Sequence[float] | Float64

MOST_LOBES = 3
FITS = 1.0
"""Mean square of what lobes leave, in variances of rings: the true halo leaves up to about that."""
FOLLOWED = 0.1
"""How far lobes may be off in a ring at most, as a share of the ring with most light."""
STEEPEST, FLATTEST = 12.0, 1.15
"""Of a Moffat's tail: beyond, it is a bell, or has no end."""
TRIED = {
    1: (("gaussian",), ("exponential",), ("cone",), ("moffat",)),
    2: tuple(itertools.product(("gaussian", "exponential", "moffat"), repeat=2)),
    3: (("gaussian", "moffat", "moffat"), ("moffat", "moffat", "gaussian"), ("moffat",) * 3),
}
"""From narrow to wide."""
LEAST_RATIO = 0.01
LEAST_LIGHT = 0.005
"""Of a lobe, among all: with less it is not worth its line."""


class Form(Choice):
    """What a learned halo is written as: lobes of the catalogue if few of them fit, or a table."""

    LOBES = "lobes"
    TABLE = "table"


class RingLight(NamedTuple):
    """Light that one deviation sends between angles, shape (3, angles - 1), and how sure it is."""

    edges_rad: Float64
    light: Float64
    deviations: Float64


_LOBES: dict[str, Callable[[float, float], Lobe]] = {
    "gaussian": lambda width_deg, _: GaussianLobe(sigma_deg=width_deg),
    "exponential": lambda width_deg, _: ExponentialLobe(scale_deg=width_deg),
    "cone": lambda width_deg, _: ConeLobe(radius_deg=width_deg),
    "moffat": lambda width_deg, beta: MoffatLobe(core_deg=width_deg, beta=beta),
}
_TAILED = "moffat"


def _flux(kind: str, width_rad: float, beta: float, edges_rad: Float64) -> Float64:
    """Share of a lobe's light within angles."""
    return _LOBES[kind](math.degrees(width_rad), beta).shape().encircled_flux(edges_rad)


@dataclass(frozen=True, kw_only=True)
class _Lobes:
    """Some lobes, and how well they fit green light."""

    kinds: tuple[str, ...]
    widths_rad: tuple[float, ...]
    betas: tuple[float, ...]
    depths: tuple[float, ...]
    misfit: float

    def light(self, edges_rad: Float64, wider: float = 1.0) -> Float64:
        """Light between angles, of lobes that are so much wider."""
        each = zip(self.kinds, self.widths_rad, self.betas, strict=True)
        flux = [_flux(kind, width * wider, beta, edges_rad) for kind, width, beta in each]
        return np.diff(np.array(self.depths) @ np.stack(flux))


def ring_light(glass: GlassAt1, fit: Fitted, strength: float) -> RingLight:
    """Light between rings of a glass at strength 1, with errors from a fit of one strength."""
    middles = np.array(fit.rings.angles_rad)
    between = np.sqrt(middles[:-1] * middles[1:])
    # All that lies farther out, where no lobe may keep what the pair calls a veil.
    edges = np.concatenate([[0.0], between, [middles[-1] * 2.5, math.pi]])
    within = fit.rings.within(edges)
    light, deviations = np.zeros((2, 3, len(edges) - 1))
    for channel, once in enumerate(glass.once):
        if once.optical_depth > 0 and once.densities.any():
            table = Table(
                angles_rad=tuple(once.angles_rad.tolist()),
                densities=tuple(once.densities.tolist()),
            )
            light[channel] = once.optical_depth * np.diff(table.encircled_flux(edges))
        own = fit.covariances[channel]
        direct = max(1 - float(fit.shares[channel, :-1].sum()), 0.05)
        rings = np.sqrt(np.maximum(np.diag(within.T @ own[:-1, :-1] @ within), 0))
        rings[-1] = math.sqrt(max(own[-1, -1], 0))
        # Lobes follow what was found even where it is hardly known: they would leave it out.
        most = FOLLOWED * float(light[channel].max())
        deviations[channel] = np.minimum(rings / direct / strength, most) + 1e-6
    return RingLight(edges, light, deviations)


def glows_of_lobes(rings: RingLight) -> Iterator[Glow]:
    """Yield glows of one to three lobes that are within the errors of a halo, fewest lobes first.

    Notes
    -----
    Widths and tails by least squares on green light, depths by non-negative least squares within
    [LawsonHanson1974]; then one depth and one width each for red and blue. Of so many lobes those
    count that fit best, if their mean square misfit, in variances, is below `FITS` in all channels.
    """
    if not rings.light[GREEN].sum() > 0:
        return
    for count in range(1, MOST_LOBES + 1):
        found = [_fitted(kinds, rings) for kinds in TRIED[count]]
        for lobes in sorted(found, key=lambda one: one.misfit):
            if lobes.misfit > FITS or min(lobes.depths) < LEAST_LIGHT * sum(lobes.depths):
                continue
            colours = [_beside(lobes, rings, channel) for channel in (0, 2)]
            if all(misfit <= FITS for _, _, misfit in colours):
                yield _glow(lobes, colours)
                break


def _fitted(kinds: tuple[str, ...], rings: RingLight) -> _Lobes:
    from scipy.optimize import least_squares, nnls

    edges, light, deviations = (
        rings.edges_rad,
        rings.light[GREEN],
        rings.deviations[GREEN],
    )
    flux = np.cumsum(light)
    # Each begins where its part of the light is.
    parts = (np.arange(len(kinds)) + 0.5) / len(kinds)
    tails = [kind for kind in kinds if kind == _TAILED]
    widths = np.interp(parts * flux[-1], flux, edges[1:])
    start = [*np.log(widths), *np.full(len(tails), math.log(2.0))]

    def at(x: Numbers) -> tuple[list[float], list[float]]:
        widths, rest = np.exp(x[: len(kinds)]).tolist(), iter(x[len(kinds) :])
        betas = [1 + math.exp(next(rest)) if kind == _TAILED else 2.0 for kind in kinds]
        return widths, betas

    def depths_of(x: Numbers) -> tuple[Float64, Float64]:
        columns = np.stack(
            [
                np.diff(_flux(kind, width, beta, edges))
                for kind, width, beta in zip(kinds, *at(x), strict=True)
            ],
            axis=1,
        )
        depths, _ = nnls(columns / deviations[:, np.newaxis], light / deviations)
        return depths, (columns @ depths - light) / deviations

    widest = math.radians(WIDEST_DEG) / 2
    low = [math.log(edges[1] / 4)] * len(kinds) + [math.log(FLATTEST - 1)] * len(tails)
    high = [math.log(widest)] * len(kinds) + [math.log(STEEPEST - 1)] * len(tails)
    start = list(np.clip(start, np.array(low) + 0.01, np.array(high) - 0.01))
    done = least_squares(lambda x: depths_of(x)[1], start, bounds=(low, high), max_nfev=40)
    depths, left = depths_of(done.x)
    found, betas = at(done.x)
    return _Lobes(
        kinds=kinds,
        widths_rad=tuple(found),
        betas=tuple(betas),
        depths=tuple(depths.tolist()),
        misfit=float(np.mean(left**2)),
    )


def _beside(lobes: _Lobes, rings: RingLight, channel: int) -> tuple[float, float, float]:
    """Depth and width of another channel over those of green, and how well that fits."""
    from scipy.optimize import least_squares

    def left(x: Float64) -> Float64:
        own = math.exp(x[0]) * lobes.light(rings.edges_rad, math.exp(x[1]))
        off: Float64 = (own - rings.light[channel]) / rings.deviations[channel]
        return off

    bounds = ([-5.0, -0.7], [3.0, 0.7])
    done = least_squares(left, [0.0, 0.0], bounds=bounds, max_nfev=40)
    wider = math.exp(done.x[1])
    wider = 1.0 if abs(wider - 1) < LEAST_RATIO else round(wider, 3)
    return round(math.exp(done.x[0]), 3), wider, float(np.mean(left(done.x) ** 2))


def _glow(lobes: _Lobes, colours: list[tuple[float, float, float]]) -> Glow:
    (red, red_wider, _), (blue, blue_wider, _) = colours
    whole = sum(lobes.depths)
    each = sorted(zip(lobes.kinds, lobes.widths_rad, lobes.betas, lobes.depths, strict=True))
    made = []
    for kind, width, beta, depth in each:
        lobe = _LOBES[kind](_short(math.degrees(width)), _short(beta))
        scale = (red_wider, 1.0, blue_wider)
        made.append(replace(lobe, share=_short(depth / whole), channel_scale=scale))
    return Glow(optical_depth=_short(whole), lobes=tuple(made), channel_depth=(red, 1.0, blue))


def _short(number: float) -> float:
    return float(f"{number:.4g}")
