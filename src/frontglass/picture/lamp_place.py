"""Where a lamp stands in a still, as somebody pointed at it."""

from __future__ import annotations

from dataclasses import dataclass

from frontglass.checks import check_not_negative, check_positive


@dataclass(frozen=True, slots=True, kw_only=True)
class LampPlace:
    """A lamp pointed at by hand.

    Parameters
    ----------
    x_px, y_px : float
        Pixel that shows it, from the left and the top. [px], >= 0.
    distance_m : float or None
        From the lens. [m], > 0; None takes it from the distance map.

    Raises
    ------
    ParameterError
        If a number is out of its range.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.LampPlace(x_px=640, y_px=212, distance_m=4.5)
    LampPlace(x_px=640, y_px=212, distance_m=4.5)
    """

    x_px: float
    y_px: float
    distance_m: float | None = None

    def __post_init__(self) -> None:
        check_not_negative("x_px", self.x_px)
        check_not_negative("y_px", self.y_px)
        if self.distance_m is not None:
            check_positive("distance_m", self.distance_m)
