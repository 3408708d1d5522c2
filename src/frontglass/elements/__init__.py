"""Things in the light path, described in the units people use; rendering is done elsewhere."""

from __future__ import annotations

from frontglass.elements.element import Element, Place
from frontglass.elements.glow import Glow
from frontglass.elements.lobes import (
    ConeLobe,
    ExponentialLobe,
    FlecksLobe,
    GaussianLobe,
    Lobe,
    MoffatLobe,
)
from frontglass.elements.veil import Veil

ELEMENTS: dict[str, type[Element]] = {"glow": Glow, "veil": Veil}
"""Every element by the name it has in a look."""

LOBES: dict[str, type[Lobe]] = {
    "cone": ConeLobe,
    "exponential": ExponentialLobe,
    "flecks": FlecksLobe,
    "gaussian": GaussianLobe,
    "moffat": MoffatLobe,
}
"""Every lobe of a glow by the name of its profile."""

__all__ = [
    "ELEMENTS",
    "LOBES",
    "ConeLobe",
    "Element",
    "ExponentialLobe",
    "FlecksLobe",
    "GaussianLobe",
    "Glow",
    "Lobe",
    "MoffatLobe",
    "Place",
    "Veil",
]
