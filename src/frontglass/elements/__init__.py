"""Things in the light path, in the units people use: what each is, and what it does to light."""

from __future__ import annotations

from frontglass.elements.clear_centre import ClearCentre
from frontglass.elements.element import Element, Fact, LightPath, Passage, Place, Stack
from frontglass.elements.glow import Glow
from frontglass.elements.grease import Grease
from frontglass.elements.haze import Haze
from frontglass.elements.haze_lamps import BareLamp, Beam
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
from frontglass.elements.plate import Coating, Plate
from frontglass.elements.stray_lamp import StrayLamp
from frontglass.elements.table_lobe import TableLobe
from frontglass.elements.tint import Tint
from frontglass.elements.veil import Veil

ELEMENTS: dict[str, type[Element]] = {
    element.kind: element
    for element in (Glow, Grease, Haze, Lines, Net, Plate, StrayLamp, Tint, Veil)
}
"""Every element by the name it has in a look."""

LOBES: dict[str, type[Lobe]] = {
    "cone": ConeLobe,
    "exponential": ExponentialLobe,
    "flecks": FlecksLobe,
    "gaussian": GaussianLobe,
    "moffat": MoffatLobe,
    "table": TableLobe,
}
"""Every lobe of a glow by the name of its profile."""

__all__ = [
    "ELEMENTS",
    "LOBES",
    "BareLamp",
    "Beam",
    "ClearCentre",
    "Coating",
    "ConeLobe",
    "Element",
    "ExponentialLobe",
    "Fact",
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
    "Passage",
    "Place",
    "Plate",
    "Stack",
    "StrayLamp",
    "TableLobe",
    "Tint",
    "Veil",
]
