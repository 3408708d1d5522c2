"""Things in the light path, described in the units people use; rendering is done elsewhere."""

from __future__ import annotations

from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.element import Element, LightPath, Place
from frontglass.elements.glow import Glow
from frontglass.elements.grease import Grease
from frontglass.elements.haze import Beam, Haze
from frontglass.elements.lines import Lines
from frontglass.elements.lobes import (
    ConeLobe,
    ExponentialLobe,
    FlecksLobe,
    GaussianLobe,
    Lobe,
    MoffatLobe,
)
from frontglass.elements.net import Net
from frontglass.elements.stray_lamp import StrayLamp
from frontglass.elements.veil import Veil

ELEMENTS: dict[str, type[Element]] = {
    "glow": Glow,
    "grease": Grease,
    "haze": Haze,
    "lines": Lines,
    "net": Net,
    "stray_lamp": StrayLamp,
    "veil": Veil,
}
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
    "Beam",
    "ClearCentre",
    "ConeLobe",
    "Element",
    "ExponentialLobe",
    "FlecksLobe",
    "GaussianLobe",
    "Glow",
    "Grease",
    "Haze",
    "LightPath",
    "Lines",
    "Lobe",
    "MoffatLobe",
    "Net",
    "Place",
    "StrayLamp",
    "Veil",
]
