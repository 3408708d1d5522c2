"""Cores of lamps whose light was recovered: what they send spreads, what they show stays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from frontglass.elements import Element, Glow, Grease, Lines, Net, Veil
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.units import m_from_nm

Float32 = NDArray[np.float32]

CHANNELS = (0, 1, 2)


def shown_light(seen: Float32, base: Float32, excess: Float32, elements: Sequence[Element]) -> None:
    """Take the recovered light that went straight on out of `seen`, in place.

    Parameters
    ----------
    seen : ndarray, shape (H, W, 3), float32
        ``base + excess`` after the elements.
    base, excess : ndarray, shape (H, W, 3), float32
        The still, and the light that it had lost.
    elements : sequence of Element
        What the light went through.

    Notes
    -----
    What is left is the direct light of the base and all that was spread. A core never falls below
    what the still showed of it, unless it does with all its light: a real lamp behind glass is
    still far above white.
    """
    direct = np.array([_direct(elements, channel) for channel in CHANNELS], dtype=np.float32)
    lamp = (excess > 0).any(axis=2)
    whole = seen[lamp]
    without = whole - excess[lamp] * direct
    seen[lamp] = np.maximum(without, np.minimum(whole, base[lamp]))


def _direct(elements: Sequence[Element], channel: int) -> float:
    """Share of a channel's light that goes straight on, where the glass is not clear [1]."""
    share = 1.0
    for element in elements:
        match element:
            case Glow():
                share *= element.psf(channel).direct
            case Veil():
                share *= 1 - element.veil_share
            case Net():
                share *= (1 - element.veil_share) * element.mask().direct
            case Lines():
                share *= (1 - element.veil_share) * element.mask(channel).direct
            case Grease():
                share *= element.film().direct(m_from_nm(CHANNEL_WAVELENGTHS_NM[channel]))
            case _:
                pass
    return share
