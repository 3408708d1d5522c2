"""A still beside its distances, in shades with a scale of metres."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np

from frontglass.arrays import Codes, Float32
from frontglass.checks import check_within
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.picture.lamps_in_air import LAMP_PATCH_RAD, LampInAir, lamps_in
from frontglass.picture.picture import Picture
from frontglass.sheets.layout import grid
from frontglass.sheets.lettering import SEPARATOR, TextLines, text_width_px
from frontglass.sheets.sheet import QUIET_TEXT, Page, Sheet, Sizes
from frontglass.sheets.views import view

SHEET_WIDTH_PX = 1600
NARROWEST_SHEET_PX, WIDEST_SHEET_PX = 480, 20000
NEAR_SHADE, FAR_SHADE = 235.0, 40.0
SKY_SHADE = (70, 90, 130)
SAMPLES_ACROSS, SAMPLES_DOWN = 6, 4
SCALE_STEPS_M = (0.2, 0.5, 1, 2, 3, 5, 7, 10, 15, 20, 30, 50, 70, 100, 200, 500, 1000, 5000)


def distance_sheet(
    picture: Picture,
    camera: Camera,
    *,
    name: str,
    notices: Sequence[str] = (),
    width_px: int = SHEET_WIDTH_PX,
) -> Sheet:
    """Return a sheet that shows a still with a distance map, its lamps, and how far everything is.

    Parameters
    ----------
    width_px : int
        Width of the sheet at most. [px], 480 to 20000.
    """
    check_within("width_px", width_px, NARROWEST_SHEET_PX, WIDEST_SHEET_PX)
    distance = picture.distance_m
    if distance is None:
        hint = "Give a distance map (--depth), typed distances (--distance) or a room (--room)."
        raise ParameterError("distance_m", "known", None, hint)
    sizes = Sizes.of(width_px)
    shape = picture.width_px, picture.height_px
    cells = grid(2, shape, width_px=width_px - 2 * sizes.margin, gap_px=sizes.gap)
    page = Page(max(cells.width_px + 2 * sizes.margin, width_px // 2), sizes)
    px_per_rad = camera.px_per_rad(picture.width_px)
    lamps = lamps_in(picture.radiance, distance, px_per_rad, picture.lamps).lamps
    texts = (_about(distance, lamps, camera), *(f"Note: {notice}" for notice in notices))
    y = page.say_head(f"{name}: distances", texts) + sizes.margin
    size = cells.cell_width_px, cells.cell_height_px
    shown = (view(picture, size), shaded_distances(distance, size))
    for number, codes in enumerate(shown):
        row, column = divmod(number, cells.columns)
        corner = (
            sizes.margin + column * (cells.column_px + sizes.gap),
            y + row * (size[1] + sizes.gap),
        )
        page.put(*corner, codes)
    _label(page, distance, size, corner)
    _mark_lamps(page, lamps, camera, picture, (sizes.margin, y, size[0] / picture.width_px))
    end = corner[1] + size[1] + sizes.gap // 2
    end = _scale(page, distance, (corner[0], end), size[0])
    return page.sheet(end + sizes.margin, notices)


def _about(distance: Float32, lamps: Sequence[LampInAir], camera: Camera) -> str:
    near, far = _ends(distance)
    sky = 100 * float(np.isinf(distance).mean())
    places = sorted({round(lamp.distance_m, 1) for lamp in lamps})
    return SEPARATOR.join(
        filter(
            None,
            (
                f"{near:.3g} to {far:.3g} m",
                f"{sky:.0f} % sky" if sky >= 0.5 else "",
                f"lamps at {', '.join(f'{away:g}' for away in places)} m" if places else "no lamps",
                f"field {camera.horizontal_field_deg:.3g} degrees",
            ),
        )
    )


def _ends(distance: Float32) -> tuple[float, float]:
    """Nearest and farthest, a thousandth of the pixels left out at either end [m]."""
    known = distance[np.isfinite(distance)]
    if not known.size:
        return 1.0, 1.0
    near, far = np.percentile(known, [0.1, 99.9])
    return float(near), float(far)


def _shades(distance: Float32, ends: tuple[float, float]) -> Codes:
    """Light for near, dark for far, even in the logarithm; sky in blue."""
    near, far = math.log(ends[0]), math.log(max(ends[1], 1.001 * ends[0]))
    sky = np.isinf(distance)
    share = np.clip((np.log(np.where(sky, ends[1], distance)) - near) / (far - near), 0, 1)
    grey = np.round(NEAR_SHADE + (FAR_SHADE - NEAR_SHADE) * share).astype(np.uint8)
    codes = np.repeat(grey[..., np.newaxis], 3, axis=2)
    codes[sky] = SKY_SHADE
    return codes


def shaded_distances(distance: Float32, size: tuple[int, int]) -> Codes:
    """Return distances as shades of `size`, near ones light, sky blue."""
    # Nearest: an average over an edge would show a distance that is nowhere.
    seen = cv2.resize(distance, size, interpolation=cv2.INTER_NEAREST)
    return _shades(np.asarray(seen), _ends(distance))


def _label(page: Page, distance: Float32, size: tuple[int, int], corner: tuple[int, int]) -> None:
    """Write the metres over the map, on a grid of places."""
    height, width = distance.shape
    for down in range(SAMPLES_DOWN):
        for across in range(SAMPLES_ACROSS):
            u, v = (across + 0.5) / SAMPLES_ACROSS, (down + 0.5) / SAMPLES_DOWN
            metres = float(distance[int(v * height), int(u * width)])
            text = "sky" if math.isinf(metres) else f"{metres:.3g}"
            x, y = corner[0] + round(u * size[0]), corner[1] + round(v * size[1])
            page.mark(x, y, 2, 2, TextLines((text,), page.sizes.small))


def _mark_lamps(
    page: Page,
    lamps: Sequence[LampInAir],
    camera: Camera,
    picture: Picture,
    at: tuple[int, int, float],
) -> None:
    left, top, scale = at
    px_per_rad = camera.px_per_rad(picture.width_px)
    marked: list[tuple[float, float]] = []
    for lamp in lamps:
        x, y = lamp.tangents
        # Parts of one large lamp are marked once.
        if any(math.hypot(x - u, y - v) < 2 * LAMP_PATCH_RAD for u, v in marked):
            continue
        marked.append((x, y))
        half = max(3, round((lamp.radius_rad * px_per_rad + 2) * scale))
        x_px = left + round((x * px_per_rad + picture.width_px / 2) * scale)
        y_px = top + round((y * px_per_rad + picture.height_px / 2) * scale)
        tag = TextLines((f"{lamp.distance_m:.3g} m",), page.sizes.small)
        page.mark(x_px - half, y_px - half, 2 * half, 2 * half, tag)


def _scale(page: Page, distance: Float32, corner: tuple[int, int], width: int) -> int:
    """Set a bar of shades with metres below it; return where it ends."""
    sizes, (near, far) = page.sizes, _ends(distance)
    far = max(far, 1.001 * near)
    metres = np.exp(np.linspace(math.log(near), math.log(far), width)).astype(np.float32)
    page.put(*corner, np.repeat(_shades(metres[np.newaxis], (near, far)), sizes.small, axis=0))
    y = corner[1] + sizes.small + sizes.gap // 4
    inside = [step for step in SCALE_STEPS_M if near <= step <= far]
    end, free = y, -1.0
    for step in inside:
        x = corner[0] + width * math.log(step / near) / math.log(far / near)
        text = TextLines((f"{step:g} m",), sizes.small)
        room = corner[0] + width - text_width_px(text.lines[0], sizes.small)
        if free <= x <= room:
            end = max(end, page.say(round(x), y, text, QUIET_TEXT))
            free = x + 4 * sizes.small
    return end
