"""A learned glass on a sheet: stills, what the look makes of the bare one, and what is left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Codes, Float32, Float64
from frontglass.picture.picture import Picture
from frontglass.sheets.layout import size_within
from frontglass.sheets.lettering import broken, fitted
from frontglass.sheets.plots import Axis, Series, plot
from frontglass.sheets.sheet import QUIET_TEXT, Page, Sheet, Sizes
from frontglass.sheets.views import view

SHEET_WIDTH_PX = 1600
SHOWN_WITH = 0.9
"""The bare still's light at this share of pixels is shown as white, if it holds more."""
FULL_STOPS = 0.25
"""Difference at which the map's colours are full."""
MORE, LESS = np.array([255, 150, 60]), np.array([70, 150, 255])
GREY = np.array([72, 72, 72])
NOT_COMPARED = np.array([40, 40, 40])


@dataclass(frozen=True, kw_only=True)
class ShownPair:
    """What a sheet shows of a pair: linear light, and the difference in stops."""

    title: str
    bare: Float32
    with_glass: Float32
    predicted: Float32
    """Shape (H, W, 3) each."""
    difference_stops: Float32
    """Predicted against the still with glass, shape (H, W)."""
    held: NDArray[np.bool_]
    """Where they were compared."""


@dataclass(frozen=True, kw_only=True)
class ShownKernel:
    """Scattered light against angle: the middle of each ring."""

    angles_deg: Float64
    shares: Float64
    deviations: Float64
    """Of green light, and their standard deviations. [1]"""


def learned_sheet(
    title: str, texts: Sequence[str], pairs: Sequence[ShownPair], kernel: ShownKernel
) -> Sheet:
    """Return a sheet of what was learned: a row for each pair, and the kernel below."""
    page = Page(SHEET_WIDTH_PX, Sizes.of(SHEET_WIDTH_PX))
    sizes = page.sizes
    y = page.say_head(title, texts) + sizes.gap
    room = (page.room_px - 3 * sizes.gap) // 4
    for pair in pairs:
        y = page.say(sizes.margin, y, fitted([pair.title], page.room_px, sizes.small)[0])
        y = _put_row(page, pair, y, room)
    return page.sheet(_put_kernel(page, kernel, y))


def difference_codes(stops: Float32, held: NDArray[np.bool_]) -> Codes:
    """Codes of a map: grey where two stills agree, orange where there is more, blue where less."""
    share = np.clip(stops / FULL_STOPS, -1, 1)[..., np.newaxis]
    colour = GREY + np.abs(share) * (np.where(share > 0, MORE, LESS) - GREY)
    colour = np.where(held[..., np.newaxis], colour, NOT_COMPARED)
    return np.asarray(np.rint(colour), dtype=np.uint8)


def _put_row(page: Page, pair: ShownPair, top_px: int, room_px: int) -> int:
    """Put the four pictures of a pair, and return where the next thing may stand."""
    sizes = page.sizes
    size = size_within((pair.bare.shape[1], pair.bare.shape[0]), room_px)
    size = (room_px, max(1, round(size[1] * room_px / size[0])))
    white = max(1.0, float(np.quantile(pair.bare.max(axis=2), SHOWN_WITH)))
    shown = [
        view(Picture(radiance=np.asarray(np.maximum(light, 0) / white, dtype=np.float32)), size)
        for light in (pair.bare, pair.with_glass, pair.predicted)
    ]
    codes = difference_codes(pair.difference_stops, pair.held)
    shown.append(np.asarray(cv2.resize(codes, size, interpolation=cv2.INTER_AREA), dtype=np.uint8))
    captions = (
        "bare",
        "with the glass",
        "predicted",
        f"difference: orange more, blue less, full at {FULL_STOPS:g} stops",
    )
    lines = fitted(captions, room_px, sizes.small)
    for number, (one, line) in enumerate(zip(shown, lines, strict=True)):
        x = page.sizes.margin + number * (room_px + sizes.gap)
        page.put(x, top_px, one)
        page.say(x, top_px + size[1] + sizes.gap // 3, line, QUIET_TEXT)
    return top_px + size[1] + max(line.height_px for line in lines) + 2 * sizes.gap


def _put_kernel(page: Page, kernel: ShownKernel, top_px: int) -> int:
    """Plot light per ring against angle, with two standard deviations to either side."""
    sizes = page.sizes
    percent = 100 * kernel.shares
    error = 200 * kernel.deviations
    x = np.log10(kernel.angles_deg)
    high = float(max((percent + np.minimum(error, percent.max())).max(), 1e-3))
    low_x, high_x = math.floor(2 * x[0]) / 2, math.ceil(2 * x[-1]) / 2
    series = [
        Series(x.tolist(), np.minimum(percent + error, high).tolist(), 1),
        Series(x.tolist(), np.maximum(percent - error, 0).tolist(), 1),
        Series(x.tolist(), percent.tolist()),
    ]
    codes = plot(
        series,
        Axis("angle, degrees", low_x, high_x, 0.5, tens=True),
        Axis.to("green light in each ring, %", high),
        size_px=(page.room_px, round(0.3 * page.room_px)),
        type_px=max(12, sizes.small),
    )
    page.put(sizes.margin, top_px, codes)
    y = top_px + codes.shape[0] + sizes.gap
    text = (
        "White: share of the light that a ring holds, rings in steps of 1.45 in the angle. Dashed:"
        " two standard deviations to either side. Stills are shown as they are fitted, softened."
    )
    return page.say(sizes.margin, y, broken(text, page.room_px, sizes.small)) + sizes.margin
