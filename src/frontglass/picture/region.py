"""A rectangle of a still."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from frontglass.errors import ParameterError
from frontglass.picture.picture import Picture


@dataclass(frozen=True, slots=True)
class Region:
    """A rectangle of a still.

    Parameters
    ----------
    x_px, y_px : int
        Its upper left pixel, from the still's upper left corner. [px], >= 0.
    width_px, height_px : int
        Its size. [px], >= 1.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Region.from_text("60,340,200,120").size_px
    (200, 120)
    """

    x_px: int
    y_px: int
    width_px: int
    height_px: int

    @classmethod
    def from_text(cls, text: str) -> Region:
        """Region of "X,Y,W,H".

        Examples
        --------
        >>> Region.from_text("10,20,64,48")
        Region(x_px=10, y_px=20, width_px=64, height_px=48)
        """
        try:
            x, y, width, height = (int(part) for part in text.split(","))
        except ValueError:
            raise ParameterError("close_up", "X,Y,W,H in whole pixels", text) from None
        return cls(x, y, width, height)

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height [px]."""
        return self.width_px, self.height_px

    def check_inside(self, picture: Picture) -> None:
        """Refuse a region that is empty or reaches outside of `picture`.

        Raises
        ------
        ParameterError
            If it does.
        """
        right, bottom = self.x_px + self.width_px, self.y_px + self.height_px
        starts_inside = self.x_px >= 0 and self.y_px >= 0
        ends_inside = right <= picture.width_px and bottom <= picture.height_px
        if not (starts_inside and ends_inside and self.width_px > 0 and self.height_px > 0):
            raise ParameterError(
                "close_up",
                f"inside the still's {picture.width_px} x {picture.height_px} px",
                f"{self.x_px},{self.y_px},{self.width_px},{self.height_px}",
            )

    @property
    def slices(self) -> tuple[slice, slice]:
        """Its rows and columns."""
        return (
            slice(self.y_px, self.y_px + self.height_px),
            slice(self.x_px, self.x_px + self.width_px),
        )

    def cut(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return the part of an array of pixels that lies in the region, not copied."""
        return values[self.slices]

    def holds(self, x_px: float, y_px: float) -> bool:
        """Whether a place of the still lies in the region."""
        across, down = x_px - self.x_px, y_px - self.y_px
        return 0 <= across < self.width_px and 0 <= down < self.height_px

    def of(self, picture: Picture) -> Picture:
        """Return the part of `picture` that lies in the region."""
        distance = picture.distance_m
        return Picture(
            radiance=self.cut(picture.radiance),
            primaries=picture.primaries,
            encoding=picture.encoding,
            distance_m=None if distance is None else self.cut(distance),
        )
