"""What a look was learned from, as its file keeps it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from frontglass.checks import check_not_negative, check_positive
from frontglass.errors import ParameterError


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedFrom:
    """What a look was learned from; it changes nothing of what the look does.

    Parameters
    ----------
    date : str
        Day on which it was learned, such as "2026-11-30".
    pairs : int
        How many pairs of stills. >= 1.
    strengths : tuple of float
        What the pieces in hand carried. [1], > 0.
    lens_mm, f_number, image_width_mm : float
        What the first pair was shot with. [mm], [1], [mm], > 0.
    residual_stops : float
        What the look leaves of the stills with glass, after one gain. [stop rms], >= 0.
    known_from_deg, known_to_deg : float
        Angles between which the pairs could tell what light is scattered. [degree], >= 0.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Examples
    --------
    >>> import frontglass as fg
    >>> look = fg.LearnedFrom(
    ...     date="2026-11-30", pairs=1, strengths=(0.25,), lens_mm=35, f_number=4,
    ...     image_width_mm=36, residual_stops=0.01, known_from_deg=0.02, known_to_deg=12)
    >>> look.strengths
    (0.25,)
    """

    date: str
    pairs: int
    strengths: tuple[float, ...]
    lens_mm: float
    f_number: float
    image_width_mm: float
    residual_stops: float
    known_from_deg: float
    known_to_deg: float

    def __post_init__(self) -> None:
        if not isinstance(self.date, str) or not re.fullmatch(r"\d{4}-\d\d-\d\d", self.date):
            raise ParameterError("date", "a day such as 2026-11-30", self.date)
        if not isinstance(self.pairs, int) or self.pairs < 1:
            raise ParameterError("pairs", "a whole number >= 1", self.pairs)
        if not isinstance(self.strengths, tuple) or not self.strengths:
            raise ParameterError("strengths", "one strength at least", self.strengths)
        for strength in self.strengths:
            check_positive("strengths", strength)
        for name in ("lens_mm", "f_number", "image_width_mm"):
            check_positive(name, getattr(self, name))
        for name in ("residual_stops", "known_from_deg", "known_to_deg"):
            check_not_negative(name, getattr(self, name))
