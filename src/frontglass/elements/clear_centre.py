"""A hole left clean in something before the lens, or a single covered spot."""

from __future__ import annotations

from dataclasses import dataclass

from frontglass.checks import check_number, check_positive
from frontglass.choices import Choice


class ClearPart(Choice):
    """Which side of the circle is clear."""

    INSIDE = "inside"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearCentre:
    """A circle on the filter that is clear inside, or outside.

    Parameters
    ----------
    radius_mm : float
        Of the circle. [mm], > 0.
    right_mm, up_mm : float
        Its middle from the axis of the lens, as seen from behind the camera. [mm]
    clear : "inside" or "outside"
        The middle is left clean, or only the circle is covered.

    Raises
    ------
    ParameterError
        If a value is out of range.
    """

    radius_mm: float
    right_mm: float = 0.0
    up_mm: float = 0.0
    clear: ClearPart | str = ClearPart.INSIDE

    def __post_init__(self) -> None:
        check_positive("radius_mm", self.radius_mm)
        check_number("right_mm", self.right_mm)
        check_number("up_mm", self.up_mm)
        object.__setattr__(self, "clear", ClearPart.of("clear", self.clear))
