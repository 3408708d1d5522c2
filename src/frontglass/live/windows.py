"""Pixels of a full still through a look, without rendering all of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Codes, Float32
from frontglass.elements.wide_field import is_wide
from frontglass.live.shown import shown_codes
from frontglass.live.smooth import GLASS, Smooth
from frontglass.looks import Look
from frontglass.picture.dither import TILE_PX as CELL_PX
from frontglass.picture.encoding import Tone
from frontglass.picture.grain import Grain, grain_by
from frontglass.picture.noise_curve import NoiseCurve
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.picture.wider import framed
from frontglass.pipeline.kept_grain import Bare
from frontglass.pipeline.recipe import Recipe
from frontglass.pipeline.rendering import Conditions

AROUND_PX = 384
"""Light from farther away is told by the small still: within 0.02 of an 8-bit code on the café."""
GRAIN_PX = 32
"""Grain is found on pixels up to so wide."""


def can_be_parted(picture: Picture, small: Smooth, recipe: Recipe) -> bool:
    """Return whether windows of a full still through a recipe's looks are as all of it is.

    Rays of nets are as sharp far away from a lamp, and what hangs on distances or lies unevenly
    on glass is rendered in full.
    """
    looks = recipe.looks
    kinds = {part.kind for look in looks for part in look.light_path}
    camera = recipe.framing.camera_for(picture).camera
    return (
        kinds <= GLASS
        and recipe.compensate
        and picture.wider is None
        and picture.beyond is None
        and picture.encoding.tone is not Tone.GREY
        and picture.width_px > 2 * small.picture.width_px
        and not is_wide(camera, picture.radiance.shape)
    )


@dataclass
class Windows:
    """Codes of a full still through looks, of which what is asked for is rendered.

    Parameters
    ----------
    picture : Picture
        The full still.
    small : Smooth
        The same on fewer pixels, without grain.
    seen : ndarray, shape (h, w, 3)
        What that is through the looks, as `without_floor` has it.
    recipe : Recipe
        The looks, and how the still is shown.
    curve : NoiseCurve or None
        How noisy the full still is.

    Notes
    -----
    Light is linear but for what is one pixel's own. So a window is rendered by itself at both
    sizes, among the same mirror images; what the small still gains when all of it is rendered came
    from outside the window, and is smooth.
    """

    picture: Picture
    small: Smooth
    seen: Float32
    recipe: Recipe
    curve: NoiseCurve | None
    _codes: Codes = field(init=False)
    _is_there: NDArray[np.bool_] = field(init=False)

    def __post_init__(self) -> None:
        self._codes = np.zeros(self.picture.radiance.shape, np.uint8)
        rows, columns = self.picture.height_px, self.picture.width_px
        self._is_there = np.zeros((-(-rows // CELL_PX), -(-columns // CELL_PX)), np.bool_)

    def codes(self, region: Region) -> Codes:
        """Return the codes of a part of the still, and render what is round it as well."""
        cells = tuple(slice(own.start // CELL_PX, -(-own.stop // CELL_PX)) for own in region.slices)
        if not self._is_there[cells].all():
            around = tuple(slice(max(0, own.start - 1), own.stop + 1) for own in cells)
            down, across = (
                slice(own.start * CELL_PX, min(own.stop * CELL_PX, side))
                for own, side in zip(around, self._codes.shape[:2], strict=True)
            )
            wanted = _region(down, across)
            self._codes[wanted.slices] = self._rendered(wanted)
            self._is_there[around] = True
        return np.ascontiguousarray(region.cut(self._codes))

    def _rendered(self, wanted: Region) -> Codes:
        """Return codes of a part whose corner is that of the dither's tiles."""
        full, small = self.picture, self.small.picture
        scales = full.height_px / small.height_px, full.width_px / small.width_px
        rows, columns = (
            slice(
                max(0, math.floor((own.start - AROUND_PX) / scale)),
                min(side, math.ceil((own.stop + AROUND_PX) / scale)),
            )
            for own, scale, side in zip(wanted.slices, scales, self.seen.shape, strict=False)
        )
        few = _region(rows, columns)
        region = _region(
            *(
                slice(round(own.start * scale), round(own.stop * scale))
                for own, scale in zip((rows, columns), scales, strict=True)
            )
        )
        still, grain = _part(full, region), self._grain_of(region)
        bare = Smooth(replace(still, radiance=Bare(still.radiance, grain).whole()))
        light = self._seen(bare, region, full)
        alone = self._seen(Smooth(_part(small, few)), few, small)
        own = Region(
            wanted.x_px - region.x_px, wanted.y_px - region.y_px, wanted.width_px, wanted.height_px
        )
        light = own.cut(light) + _enlarged(few.cut(self.seen) - alone, scales, few, wanted)
        here = _part(still, own)
        light = Smooth(_part(bare.picture, own)).with_floor(light, self._looks())
        noise = None if grain is None else Grain(own.cut(grain.steps), grain.step)
        return shown_codes(replace(here, radiance=Bare(here.radiance, noise).laid_over(light)))

    def _looks(self) -> Sequence[Look]:
        return self.recipe.looks  # type: ignore[return-value]  # the page has no other stacks

    def _grain_of(self, region: Region) -> Grain | None:
        """Return the grain of a part, found on the same coarse pixels as that of the whole."""
        if self.curve is None:
            return None
        down, across = (slice(own.start // GRAIN_PX * GRAIN_PX, own.stop) for own in region.slices)
        found = grain_by(self.curve, np.ascontiguousarray(self.picture.radiance[down, across]))
        steps = found.steps[region.y_px - down.start :, region.x_px - across.start :]
        return Grain(np.ascontiguousarray(steps), found.step)

    def _seen(self, part: Smooth, region: Region, whole: Picture) -> Float32:
        """Light of a part of a still through the looks, as if there were no more of it."""
        camera = self.recipe.framing.camera_for(whole).camera
        width_mm = camera.sensor_width_mm * region.width_px / whole.width_px
        how = Conditions(
            camera=replace(camera, sensor_width_mm=width_mm),
            surround=self.recipe.surround,
            grain=False,
            axis_px=(whole.width_px / 2 - region.x_px, whole.height_px / 2 - region.y_px),
        )
        looks = self._looks()
        return without_floor(part, how.seen(part.picture, looks), looks)


def without_floor(still: Smooth, seen: Picture, looks: Sequence[Look]) -> Float32:
    """Light of a still through looks, with lamps as `Smooth.without_floor` has them."""
    lamps = still.without_floor(seen, looks)
    if lamps is None:
        return seen.radiance
    light = seen.radiance.copy()
    light[lamps.at] = lamps.light
    return light


def _region(rows: slice, columns: slice) -> Region:
    return Region(columns.start, rows.start, columns.stop - columns.start, rows.stop - rows.start)


def _part(picture: Picture, region: Region) -> Picture:
    return replace(framed(picture, region), wider=None)


def _enlarged(light: Float32, scales: tuple[float, float], few: Region, wanted: Region) -> Float32:
    """Smooth light of a part of the small still on pixels of the full one."""
    (down, across), size = scales, wanted.size_px
    x = (wanted.x_px + 0.5) / across - 0.5 - few.x_px
    y = (wanted.y_px + 0.5) / down - 0.5 - few.y_px
    matrix = np.array([[1 / across, 0, x], [0, 1 / down, y]])
    how = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    enlarged = cv2.warpAffine(light, matrix, size, flags=how, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(enlarged, np.float32)
