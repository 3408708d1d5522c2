"""From what goes to each ring to a look: the glass that does it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from frontglass.arrays import Float64
from frontglass.elements import Element, Glow, TableLobe, Tint, Veil
from frontglass.learning.fitting import Fitted
from frontglass.learning.rings import Once, once_deviated

GREEN = 1
LEAST_DEPTH = 1e-5
MOST_SCATTERED = 0.995
LEAST_VEIL = 1e-5
LEAST_COLOUR = 0.002
"""Colour that is left out: a fifth of the smallest step an eye tells."""
DIGITS = 6
DARKEST = 0.02


@dataclass(frozen=True, kw_only=True)
class GlassAt1:
    """What a glass does at strength 1."""

    once: tuple[Once, ...]
    """Where single deviations send light, for red, green and blue."""
    veil: float
    """Share of a veil."""
    passes: Float64
    """Share of the light that leaves, as far as the stills tell it: shape (3,)."""

    def depth_beyond(self, angle_rad: float) -> float:
        """Depth of green light that one deviation sends beyond an angle [rad]."""
        once = self.once[GREEN]
        light = 2 * np.pi * once.angles_rad**2 * once.densities
        far = once.angles_rad >= angle_rad
        return float(np.trapezoid(light[far], np.log(once.angles_rad[far])))


def glass_of(fit: Fitted, strength: float) -> GlassAt1:
    """Glass at strength 1, from a fit of a piece of another strength."""
    once = []
    for channel in range(3):
        shares = fit.shares[channel, :-1] / max(1 - fit.shares[channel, -1], 1e-3)
        # A pair that is none may ask for more light than there is.
        shares *= min(1.0, MOST_SCATTERED / max(float(shares.sum()), 1e-9))
        found = once_deviated(fit.rings, shares)
        once.append(
            Once(
                optical_depth=found.optical_depth / strength,
                angles_rad=found.angles_rad,
                densities=found.densities / strength,
            )
        )
    veil = float(np.clip(_best_veil(fit), 0, 0.9))
    gains = np.exp(np.log(np.maximum(fit.gains, 1e-6)).mean(axis=0) / strength)
    return GlassAt1(once=tuple(once), veil=1 - (1 - veil) ** (1 / strength), passes=gains)


def _best_veil(fit: Fitted) -> float:
    """Veil of all channels, by how well each tells it; an element has one."""
    weight = 1 / (fit.covariances[:, -1, -1] + 1e-12)
    return float((fit.shares[:, -1] * weight).sum() / weight.sum())


def mean_glass(glasses: Sequence[GlassAt1], strengths: Sequence[float]) -> GlassAt1:
    """Glass from pieces of several strengths: the more it scatters, the better it tells."""
    weight = np.array(strengths) / sum(strengths)
    once = []
    for channel in range(3):
        own = [glass.once[channel] for glass in glasses]
        once.append(
            Once(
                optical_depth=float(weight @ [one.optical_depth for one in own]),
                angles_rad=own[0].angles_rad,
                densities=np.tensordot(weight, np.stack([one.densities for one in own]), 1),
            )
        )
    veil = float(weight @ [glass.veil for glass in glasses])
    passes = np.exp(weight @ np.log([glass.passes for glass in glasses]))
    return GlassAt1(once=tuple(once), veil=veil, passes=passes)


def elements_of(glass: GlassAt1, *, is_exposed: bool) -> tuple[Element, ...]:
    """Elements of a look that do what a glass does.

    Where the stills do not say how they were exposed, what the glass loses is not known, and only
    its colour is kept.
    """
    elements: list[Element] = []
    passes = glass.passes / (1.0 if is_exposed else glass.passes.max())
    passes = np.clip(passes / max(1.0, float(passes.max())), DARKEST, 1)
    if np.abs(passes - 1).max() > LEAST_COLOUR:
        red, green, blue = (round(float(own), 4) for own in passes)
        elements.append(Tint(passes=(red, green, blue)))
    glow = glow_of(glass)
    if glow is not None:
        elements.append(glow)
    if glass.veil > LEAST_VEIL or not elements:
        elements.append(Veil(veil_share=_short(glass.veil if glass.veil > LEAST_VEIL else 0.0)))
    return tuple(elements)


def glow_of(glass: GlassAt1) -> Glow | None:
    """Glow with a table of what single deviations do; None if there are none to speak of."""
    depths = [one.optical_depth for one in glass.once]
    if max(depths) < LEAST_DEPTH:
        return None
    middle = max(depths[GREEN], LEAST_DEPTH)
    rows = [_shape(one) for one in glass.once]
    usable = rows[GREEN] or rows[0] or rows[2]
    if usable is None:
        return None
    angles = tuple(_short(math.degrees(angle)) for angle in glass.once[GREEN].angles_rad)
    lobe = TableLobe(
        angles_deg=angles,
        densities=usable,
        red_densities=rows[0] if rows[0] != usable else None,
        blue_densities=rows[2] if rows[2] != usable else None,
    )
    red, _, blue = (_short(depth / middle) for depth in depths)
    return Glow(optical_depth=_short(middle), lobes=(lobe,), channel_depth=(red, 1.0, blue))


def _shape(once: Once) -> tuple[float, ...] | None:
    """Densities relative to the largest, in few digits."""
    largest = float(once.densities.max())
    if not largest > 0 or once.optical_depth < LEAST_DEPTH:
        return None
    return tuple(_short(float(density / largest)) for density in once.densities)


def _short(number: float) -> float:
    return float(f"{number:.{DIGITS}g}")
