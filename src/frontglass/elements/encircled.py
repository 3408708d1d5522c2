"""How much of a point's light lands near it, read from the filter that spreads it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32
from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.filters import Filter


def encircled_flux(filter_at: Callable[[float], Filter], radius_rad: float) -> float:
    """Light that lands within an angle of where it belongs, of all that leaves. [1], in [0, 1].

    Parameters
    ----------
    filter_at : callable (px_per_rad) -> Filter
        The filter for a scale.
    radius_rad : float
        [rad], > 0.

    Notes
    -----
    Filters look the same turned by half a turn, so that a point gets from a disc of light round it
    what it would send there.
    """
    one = filter_at(ACCURACY.flux_radius_px / radius_rad)
    if one.direct == 1:
        return 1.0
    disc = _disc()
    seen = convolve(disc, (one, one, one), Surround.DARK)
    middle = disc.shape[0] // 2
    # A veil lies beyond any radius.
    veil = one.veil * float(disc[..., 0].mean(dtype=np.float64))
    # Single precision may round it past its ends: what goes straight on is always within.
    return min(max(float(seen[middle, middle, 1]) - veil, one.direct), 1.0)


def _disc() -> Float32:
    """Disc of light in the dark, with an odd number of pixels a side."""
    radius, parts = ACCURACY.flux_radius_px, ACCURACY.flux_oversampled
    side = 2 * radius + 3
    fine = (np.arange(side * parts) + 0.5) / parts - side / 2
    inside = np.hypot(fine[:, np.newaxis], fine) < radius
    cover = inside.reshape(side, parts, side, parts).mean(axis=(1, 3))
    return np.repeat(cover[..., np.newaxis], 3, axis=2).astype(np.float32)
