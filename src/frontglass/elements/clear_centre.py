"""A hole left clean in something before the lens, or a single covered spot."""

from __future__ import annotations

from dataclasses import dataclass

from frontglass.checks import check_number, check_positive
from frontglass.errors import ParameterError

INSIDE, OUTSIDE = "inside", "outside"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearCentre:
    """A circle on the filter that is clear inside, or outside.

    Parameters
    ----------
    radius_mm : float
        Of the circle. [mm], > 0.
    right_mm, up_mm : float
        Its middle from the axis of the lens, as seen from behind the camera. [mm]
    clear : str
        "inside": the middle is left clean; "outside": only the circle is covered.

    Raises
    ------
    ParameterError
        If a value is out of range.
    """

    radius_mm: float
    right_mm: float = 0.0
    up_mm: float = 0.0
    clear: str = INSIDE

    def __post_init__(self) -> None:
        check_positive("radius_mm", self.radius_mm)
        check_number("right_mm", self.right_mm)
        check_number("up_mm", self.up_mm)
        if self.clear not in {INSIDE, OUTSIDE}:
            raise ParameterError("clear", f"{INSIDE!r} or {OUTSIDE!r}", self.clear)
