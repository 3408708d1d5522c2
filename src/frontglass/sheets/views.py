"""A still as a sheet shows it: whole and reduced, or a part of it enlarged."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.errors import ParameterError
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.display import display_codes
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import BT709

PIXELS_SHOW_AT = 8
"""From this enlargement on pixels are shown as squares: a smooth star would be our invention."""

Light = NDArray[np.float32]
Codes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Region:
    """A rectangle of a still.

    Parameters
    ----------
    x_px, y_px : int
        Its upper left pixel, from the still's upper left corner. [px], >= 0.
    width_px, height_px : int
        Its size. [px], >= 1.
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

    def of(self, picture: Picture) -> Picture:
        """Return the part of `picture` that lies in the region."""
        rows = slice(self.y_px, self.y_px + self.height_px)
        columns = slice(self.x_px, self.x_px + self.width_px)
        distance = None if picture.distance_m is None else picture.distance_m[rows, columns]
        return Picture(
            radiance=picture.radiance[rows, columns],
            primaries=picture.primaries,
            encoding=picture.encoding,
            distance_m=distance,
        )


def view(picture: Picture, size_px: tuple[int, int]) -> Codes:
    """Codes of a picture shown at a size, both given as width and height [px].

    Notes
    -----
    Reducing averages the light of the screen that shows the full picture, so light is
    clipped at white first: seen from further away, a lamp on a screen grows no larger.
    Enlarging interpolates straight between neighbouring codes, which overshoots nowhere:
    no edge looks harder than it is.
    """
    shown = _screen_light(picture)
    if size_px == (picture.width_px, picture.height_px):
        return display_codes(shown)
    if size_px[0] < picture.width_px:
        return display_codes(_resized(shown, size_px, cv2.INTER_AREA))
    if size_px[0] >= PIXELS_SHOW_AT * picture.width_px:
        return display_codes(_resized(shown, size_px, cv2.INTER_NEAREST))
    codes = np.asarray(SRGB_CURVE.encode(shown), dtype=np.float32)
    enlarged = _resized(codes, size_px, cv2.INTER_LINEAR)
    return display_codes(np.asarray(SRGB_CURVE.decode(enlarged), dtype=np.float32))


def _screen_light(picture: Picture) -> Light:
    """Linear light of a BT.709 screen that shows the picture."""
    light = picture.radiance
    if not picture.primaries.is_close_to(BT709):
        light = light @ picture.primaries.matrix_to(BT709).T.astype(np.float32)
    return np.clip(light, 0, 1)


def _resized(values: Light, size_px: tuple[int, int], how: int) -> Light:
    return np.asarray(cv2.resize(values, size_px, interpolation=how), dtype=np.float32)
