"""A still as a sheet shows it: whole and reduced, or a part of it enlarged."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Codes
from frontglass.choices import PastWhite
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.display import display_codes
from frontglass.picture.past_white import towards_white
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import BT709
from frontglass.threads import in_pieces

PIXELS_SHOW_AT = 8
"""From this enlargement on pixels are shown as squares: a smooth star would be our invention."""

STRIP_ROWS = 8

Light = NDArray[np.float32]


def view(picture: Picture, size_px: tuple[int, int]) -> Codes:
    """Codes of a picture shown at a size, both given as width and height [px].

    Notes
    -----
    Reducing averages the light of the screen that shows the full picture, so light goes no
    higher than white first: seen from further away, a lamp on a screen grows no larger.
    Enlarging interpolates straight between neighbouring codes, which overshoots nowhere:
    no edge looks harder than it is.
    """
    is_reduced = size_px[0] < picture.width_px
    shown = _screen_light(picture, size_px[0] if is_reduced else picture.width_px)
    if size_px == (picture.width_px, picture.height_px):
        return display_codes(shown)
    if is_reduced:
        return display_codes(_resized(shown, size_px, cv2.INTER_AREA))
    if size_px[0] >= PIXELS_SHOW_AT * picture.width_px:
        return display_codes(_resized(shown, size_px, cv2.INTER_NEAREST))
    codes = np.asarray(SRGB_CURVE.encode(shown), dtype=np.float32)
    enlarged = _resized(codes, size_px, cv2.INTER_LINEAR)
    return display_codes(np.asarray(SRGB_CURVE.decode(enlarged), dtype=np.float32))


def _screen_light(picture: Picture, width_px: int) -> Light:
    """Linear light of a BT.709 screen that shows the picture, its rows reduced to a width."""
    if picture.display is not None:
        codes = picture.display.codes(picture.scene, picture.primaries)
        light = np.asarray(SRGB_CURVE.decode(codes), dtype=np.float32)
        return _resized(light, (width_px, picture.height_px), cv2.INTER_AREA)
    is_bt709 = picture.primaries.is_close_to(BT709)
    matrix = None if is_bt709 else picture.primaries.matrix_to(BT709).T.astype(np.float32)
    shown = np.empty((picture.height_px, width_px, 3), np.float32)

    def lay(rows: slice) -> None:
        light = picture.radiance[rows] if matrix is None else picture.radiance[rows] @ matrix
        if picture.past_white is PastWhite.HUE:
            light = towards_white(light)
        light = np.clip(light, 0, 1)
        shown[rows] = _resized(light, (width_px, len(light)), cv2.INTER_AREA)

    # In strips that stay in the processor's cache: a sixth of the time for a large still.
    in_pieces(lay, picture.height_px, STRIP_ROWS)
    return shown


def _resized(values: Light, size_px: tuple[int, int], how: int) -> Light:
    return np.asarray(cv2.resize(values, size_px, interpolation=how), dtype=np.float32)
