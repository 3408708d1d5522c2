"""What is to be done about clipped lamps: what is known of all of them, and of single ones."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

from frontglass.checks import check_not_negative, check_positive, check_within
from frontglass.choices import Choice
from frontglass.errors import ParameterError
from frontglass.picture.lamp_kinds import KINDS, kind_named

AUTO, OFF = "auto", "off"
MOST_STOPS = 20.0


class LampRange(Choice):
    """Which end of what is likely is shown: levels a standard deviation down, none, or up.

    Examples
    --------
    >>> LampRange.of("lamp range", "high").deviations
    1
    """

    LOW = "low"
    LIKELY = "likely"
    HIGH = "high"

    @property
    def deviations(self) -> int:
        """Standard deviations from the likely levels."""
        return {LampRange.LOW: -1, LampRange.LIKELY: 0, LampRange.HIGH: 1}[self]


@dataclass(frozen=True, slots=True)
class LampMark:
    """A clipped area of which somebody knows what it is, or how bright.

    Parameters
    ----------
    x_px, y_px : float
        A pixel in the area or close beside it. [px], >= 0.
    stops : float or None
        Mean light of the area above white. [stop], in [0, 20].
    kind : str or None
        Its kind, such as "bulb", instead.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Recovery(marks=(fg.LampMark(80, 90, kind="bulb"),)).is_asked_for
    True
    """

    x_px: float
    y_px: float
    stops: float | None = None
    kind: str | None = None

    def __post_init__(self) -> None:
        check_not_negative("lamp x", self.x_px)
        check_not_negative("lamp y", self.y_px)
        if (self.stops is None) == (self.kind is None):
            raise ParameterError("lamp", "marked with stops or a kind", (self.stops, self.kind))
        if self.stops is not None:
            check_within("lamp stops", self.stops, 0, MOST_STOPS)
        if self.kind is not None:
            kind_named(self.kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery:
    """What is done about clipped lamps.

    Parameters
    ----------
    clipped : "auto", "off", a kind of lamp, or float
        Estimate each area, do nothing, take every area for a lamp of that kind, or take every
        area to be this far above white. [stop]
    marks : tuple of LampMark
        Areas that are known; a mark wins over `clipped`, even over "off".
    white_cd_per_m2 : float or None
        Luminance of white in the still. [cd/m2], > 0; None goes by the exposure the file tells.
    lamp_range : "low", "likely" or "high"
        Whether levels that are not typed are taken at an end of what is likely.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Recovery(clipped=6).is_asked_for, fg.Recovery().is_asked_for
    (True, False)
    """

    clipped: str | float = AUTO
    marks: tuple[LampMark, ...] = ()
    white_cd_per_m2: float | None = None
    lamp_range: LampRange = LampRange.LIKELY

    def __post_init__(self) -> None:
        is_word = isinstance(self.clipped, str)
        if not is_word or self.clipped not in {AUTO, OFF, *KINDS}:
            rule = f"auto, off, a kind of lamp, or a number of stops from 0 to {MOST_STOPS:g}"
            if is_word:
                hint = f"Kinds are {', '.join(KINDS)}."
                raise ParameterError("clipped", rule, self.clipped, hint)
            check_within("clipped", self.clipped, 0, MOST_STOPS)
        if self.white_cd_per_m2 is not None:
            check_positive("white", self.white_cd_per_m2)
        object.__setattr__(self, "lamp_range", LampRange.of("lamp range", self.lamp_range))

    @classmethod
    def from_text(cls, text: str, marks: tuple[LampMark, ...] = ()) -> Self:
        """Recovery of "auto", "off", a kind or a number of stops.

        Examples
        --------
        >>> Recovery.from_text("6").clipped
        6.0
        """
        try:
            return cls(clipped=float(text), marks=marks)
        except ValueError as error:
            if isinstance(error, ParameterError):
                raise
            return cls(clipped=text, marks=marks)

    def above(self, stops: float) -> Self:
        """Return the same for a still that ends so many stops above white, which is white there."""
        if isinstance(self.clipped, str):
            clipped: str | float = self.clipped
        else:
            clipped = max(0.0, self.clipped - stops)
        marks = tuple(
            mark if mark.stops is None else replace(mark, stops=max(0.0, mark.stops - stops))
            for mark in self.marks
        )
        return replace(self, clipped=clipped, marks=marks)

    @property
    def is_asked_for(self) -> bool:
        """Whether somebody said more than leave it to the program or leave it."""
        return bool(self.marks) or self.clipped not in {AUTO, OFF}
