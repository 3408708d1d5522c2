"""How much light goes straight on through an element, whatever it is."""

from __future__ import annotations

from frontglass.elements.element import Element
from frontglass.elements.glow import Glow
from frontglass.elements.grease import Grease
from frontglass.elements.lines import Lines
from frontglass.elements.net import Net
from frontglass.elements.veil import Veil
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.units import m_from_nm


def direct_share(element: Element, channel: int) -> float:
    """Light that goes straight on where the element is, of all that leaves it.

    Parameters
    ----------
    element : Element
        At its strength; of one with a clear centre the covered part, of a glow with a threshold
        light above it.
    channel : int
        0 red, 1 green, 2 blue.

    Returns
    -------
    float
        [1], in [0, 1]; 1 for what deviates nothing.
    """
    match element:
        case Glow():
            return element.psf(channel).direct
        case Veil():
            return 1 - element.veil_share
        case Net():
            return (1 - element.veil_share) * element.mask().direct
        case Lines():
            return element.mask(channel).direct
        case Grease():
            return element.film().direct(m_from_nm(CHANNEL_WAVELENGTHS_NM[channel]))
        case _:
            return 1.0
