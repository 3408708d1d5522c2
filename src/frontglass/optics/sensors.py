"""Image areas by their names, and the texts that name them."""

from __future__ import annotations

import math
import re

from frontglass.errors import ParameterError

SENSORS_MM: dict[str, tuple[float, float]] = {
    "full-frame": (36.0, 24.0),
    "super35": (24.89, 18.66),
    "super35-3perf": (24.89, 14.0),
    "academy35": (21.95, 16.0),
    "16mm": (10.26, 7.49),
    "super16": (12.52, 7.41),
    "super8": (5.79, 4.01),
    "aps-c": (23.5, 15.6),
    "four-thirds": (17.3, 13.0),
    "one-inch": (13.2, 8.8),
    "two-thirds-inch": (8.8, 6.6),
    "65mm": (52.48, 23.01),
}
"""Image areas, width x height [mm].

Camera apertures of film are those of [SMPTE-apertures], from memory: 35 mm full and academy, 16 mm
with and without its second perforations, super 8, 65 mm of five perforations. The rest is common
practice, from memory, but for full-frame.
"""

OTHER_NAMES = {
    "s35": "super35",
    "s353perf": "super35-3perf",
    "35mm": "super35",
    "ff": "full-frame",
    "fullframe": "full-frame",
    "s16": "super16",
    "16": "16mm",
    "s8": "super8",
    "mft": "four-thirds",
    "23inch": "two-thirds-inch",
    "1inch": "one-inch",
    "65": "65mm",
}
"""What people type instead, without case, spaces and signs."""

NUMBER = r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+"
"""A number as people type it, with a point or a comma."""


def number(text: str) -> float:
    """Return the number that text matching `NUMBER` stands for."""
    return float(text.replace(",", "."))


def sensor_named(text: str) -> str | None:
    """Return the known name that text such as "S35" or "Super 35" means; None if it means none.

    Examples
    --------
    >>> sensor_named("S35"), sensor_named("Full Frame"), sensor_named("2.39")
    ('super35', 'full-frame', None)
    """
    plain = re.sub(r"[\s_/-]", "", text.lower())
    known = {re.sub("-", "", name): name for name in SENSORS_MM} | OTHER_NAMES
    return known.get(plain)


def sensor_mm_from_text(text: str) -> tuple[float, float]:
    """Width and height of a sensor [mm] from a name or from text such as "24.9x18.7".

    Raises
    ------
    ParameterError
        If it is neither a known name nor such a size.
    """
    known = sensor_named(text)
    if known is not None:
        return SENSORS_MM[known]
    match = re.fullmatch(
        rf"\s*({NUMBER})\s*(?:mm)?\s*[x\u00d7]\s*({NUMBER})\s*(?:mm)?\s*", text, re.IGNORECASE
    )
    if match is not None:
        width, height = number(match[1]), number(match[2])
        if 0 < width < math.inf and 0 < height < math.inf:
            return width, height
    hint = f"Known names are {', '.join(SENSORS_MM)}."
    raise ParameterError("sensor", "a known name or a size in mm such as 24.9x18.7", text, hint)


def number_from_text(name: str, text: str, pattern: str, rule: str) -> float:
    """Return the one number > 0 in a text; `pattern` says by ``{}`` where it stands.

    Raises
    ------
    ParameterError
        If it is no such text.
    """
    match = re.fullmatch(rf"\s*{pattern.format(NUMBER)}\s*", text, re.IGNORECASE)
    found = number(match[1]) if match else math.nan
    if not 0 < found < math.inf:
        raise ParameterError(name, f"{rule}, > 0", text)
    return found
