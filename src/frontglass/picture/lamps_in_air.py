"""Lamps in the frame: where they are, how far, and how much light they send to the lens."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Mask
from frontglass.errors import ParameterError
from frontglass.picture.lamp_distance import LampSurfaces
from frontglass.picture.lamp_place import LampPlace
from frontglass.units import rad_from_deg

OVER_THE_MEAN = 8.0
"""A pixel is a lamp's from three stops above the mean light of the frame on."""
EDGE_SHARE = 0.25
"""A lamp marked by hand reaches as far as a quarter of its own peak at least."""
DIMMEST_SHARE = 1 / 32
"""And down to this share of it where that is a lamp's light still: a lens blurs it."""
MARK_REACH = 1 / 200
"""How far, over the width of the frame, a mark may miss the brightest pixel of its lamp."""
LAMP_PATCH_RAD = rad_from_deg(ACCURACY.lamp_patch_deg)
"""What is larger than this is taken for several lamps, side by side."""


class LampInAir(NamedTuple):
    """A lamp, or a part of a large one.

    Parameters
    ----------
    tangents : (float, float)
        Where it is: tangents of the field angle, right and down.
    radius_rad : float
        Of a disc as large as it.
    distance_m : float
        From the lens [m].
    illuminance : (float, float, float)
        Of its light on a plane before the lens that faces it, red, green, blue.
    """

    tangents: tuple[float, float]
    radius_rad: float
    distance_m: float
    illuminance: tuple[float, float, float]


class Region(NamedTuple):
    """Pixels of one lamp: a mask with the row and column of its corner."""

    top: int
    left: int
    mask: Mask


class LampsAndRest(NamedTuple):
    """Lamps of a frame, and what is none.

    Parameters
    ----------
    lamps : tuple of LampInAir
        The lamps.
    rest : (float, float, float)
        Mean light of all else over the frame, red, green and blue.
    lamp_share : float
        Light of lamps over all light. [1], in [0, 1].
    regions : tuple of Region
        Pixels of the lamps.
    """

    lamps: tuple[LampInAir, ...]
    rest: tuple[float, float, float]
    lamp_share: float
    regions: tuple[Region, ...]

    def mask(self, shape: tuple[int, ...]) -> Mask:
        """Whether each pixel of a frame of `shape` is a lamp's."""
        mask = np.zeros(shape, np.bool_)
        for top, left, own in self.regions:
            mask[top : top + own.shape[0], left : left + own.shape[1]] |= own
        return mask


def lamps_in(
    light: Float32,
    distance_m: Float32,
    px_per_rad: float,
    marks: Sequence[LampPlace] | None = None,
) -> LampsAndRest:
    """Lamps of a frame.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    distance_m : ndarray, shape (H, W), float32
        Along the ray through each pixel [m].
    px_per_rad : float
        Scale at the middle of the frame.
    marks : sequence of LampPlace or None
        Lamps pointed at; None finds them: connected regions brighter than 8 times the mean of
        the frame, at most 32, those left out that give under 1 % of the brightest one's light.

    Returns
    -------
    LampsAndRest
        A lamp is as far as the surface that its brightest pixels show (see `LampSurfaces`), each
        part of a long one for itself. What lies on the sky is no lamp.
    """
    third = np.full((1, 3), 1 / 3, np.float32)
    grey: Float32 = np.asarray(cv2.transform(light, third), dtype=np.float32)
    regions = _found(grey) if marks is None else _marked(grey, marks)
    measured = []
    for region, given_m in regions:
        top, left, mask = region
        part = np.s_[top : top + mask.shape[0], left : left + mask.shape[1]]
        away = given_m or LampSurfaces(grey[part], distance_m[part], mask)
        if not isinstance(away, LampSurfaces) or math.isfinite(away.nearest_m()):
            sums = _sums(light[part], region, light.shape[:2], px_per_rad)
            measured.append((region, away, sums))
    if marks is None:
        brightest = max((float(sums.flux.sum()) for *_, sums in measured), default=0.0)
        measured = [m for m in measured if m[2].flux.sum() >= ACCURACY.dimmest_in_air * brightest]
        measured.sort(key=lambda m: -float(m[2].flux.sum()))
        del measured[ACCURACY.lamps_in_air :]
    total = np.array(cv2.mean(light)[:3]) * grey.size
    taken = sum((sums.pixels for *_, sums in measured), np.zeros(3))
    rest = (total - taken) / grey.size
    lamps = tuple(
        lamp for region, away, _ in measured for lamp in _parts(light, region, away, px_per_rad)
    )
    share = float(taken.sum() / total.sum()) if total.sum() > 0 else 0.0
    means = (float(rest[0]), float(rest[1]), float(rest[2]))
    return LampsAndRest(lamps, means, min(max(share, 0.0), 1.0), tuple(m[0] for m in measured))


class _Sums(NamedTuple):
    """Light of a lamp summed over pixels, and over solid angle."""

    pixels: NDArray[np.float64]
    flux: NDArray[np.float64]


def _found(grey: Float32) -> Iterator[tuple[Region, float | None]]:
    bright = (grey > OVER_THE_MEAN * cv2.mean(grey)[0]).view(np.uint8)
    # Most rows have no lamp; labelling them all would take longer than all else here.
    rows = np.flatnonzero(
        bright.view(np.uint64).any(1) if bright.shape[1] % 8 == 0 else bright.any(1)
    )
    if not rows.size:
        return
    first = int(rows[0])
    bright = bright[first : int(rows[-1]) + 1]
    _, labels, stats, _ = cv2.connectedComponentsWithStats(bright, connectivity=8)
    # A window of noise may fall into thousands of specks, none of which is a lamp.
    largest = np.argsort(-stats[1:, cv2.CC_STAT_AREA])[: 8 * ACCURACY.lamps_in_air] + 1
    for label in largest:
        left, top, width, height = (int(n) for n in stats[label, :4])
        mask = labels[top : top + height, left : left + width] == label
        yield Region(first + top, left, mask), None


def _marked(grey: Float32, marks: Sequence[LampPlace]) -> Iterator[tuple[Region, float | None]]:
    height, width = grey.shape
    reach = max(1, round(width * MARK_REACH))
    for mark in marks:
        x, y = round(mark.x_px), round(mark.y_px)
        if not (x < width and y < height):
            got = f"{mark.x_px:g},{mark.y_px:g}"
            raise ParameterError("lamp", f"inside the still's {width} x {height} px", got)
        top, left = max(0, y - reach), max(0, x - reach)
        near = grey[top : y + reach + 1, left : x + reach + 1]
        peak_y, peak_x = np.unravel_index(np.argmax(near), near.shape)
        peak = float(near[peak_y, peak_x])
        if not peak > 0:
            got = f"{mark.x_px:g},{mark.y_px:g}"
            raise ParameterError("lamp", "on something that is not black", got)
        least = max(DIMMEST_SHARE * peak, OVER_THE_MEAN * cv2.mean(grey)[0])
        bright = (grey >= min(EDGE_SHARE * peak, least)).view(np.uint8)
        _, labels = cv2.connectedComponents(bright, connectivity=8)
        mine = labels == labels[top + int(peak_y), left + int(peak_x)]
        rows, columns = np.flatnonzero(mine.any(1)), np.flatnonzero(mine.any(0))
        box = mine[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        yield Region(int(rows[0]), int(columns[0]), box), mark.distance_m


def _sums(light: Float32, region: Region, shape: tuple[int, int], px_per_rad: float) -> _Sums:
    inside = light[region.mask].astype(np.float64)
    y, x = np.nonzero(region.mask)
    solid = _solid_angles(y + region.top, x + region.left, shape, px_per_rad)
    return _Sums(inside.sum(0), (inside * solid[:, np.newaxis]).sum(0))


def _solid_angles(
    rows: NDArray[np.intp], columns: NDArray[np.intp], shape: tuple[int, int], px_per_rad: float
) -> NDArray[np.float64]:
    """Solid angle of pixels [sr]: the cube of the cosine of the field angle over f squared."""
    down, right = _tangents(rows, columns, shape, px_per_rad)
    return np.asarray((1 + right**2 + down**2) ** -1.5 / px_per_rad**2)


def _tangents(
    rows: NDArray[np.intp], columns: NDArray[np.intp], shape: tuple[int, int], px_per_rad: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    height, width = shape
    down = (rows.astype(np.float64) + 0.5 - height / 2) / px_per_rad
    right = (columns.astype(np.float64) + 0.5 - width / 2) / px_per_rad
    return down, right


def _parts(
    light: Float32, region: Region, away: float | LampSurfaces, px_per_rad: float
) -> Iterator[LampInAir]:
    """Lamp, or its parts on a grid of squares: a long tube does not glow like a bulb."""
    height, width = region.mask.shape
    patch = max(1, round(LAMP_PATCH_RAD * px_per_rad))
    across, down = math.ceil(width / patch), math.ceil(height / patch)
    while across * down > ACCURACY.lamps_in_air:
        across, down = math.ceil(across / 2), math.ceil(down / 2)
    y, x = np.nonzero(region.mask)
    part = (y * down // height) * across + x * across // width
    weights = light[y + region.top, x + region.left].astype(np.float64)
    rows, columns = y + region.top, x + region.left
    solid = _solid_angles(rows, columns, light.shape[:2], px_per_rad)
    tangent_down, tangent_right = _tangents(rows, columns, light.shape[:2], px_per_rad)
    numbers = np.unique(part)
    for number in numbers:
        own = part == number
        away_m = _part_m(away, region.mask, own, len(numbers))
        flux = weights[own] * solid[own, np.newaxis]
        share = flux.sum(1).clip(0)
        share /= share.sum() or 1.0
        red, green, blue = flux.sum(0).tolist()
        yield LampInAir(
            tangents=(float(share @ tangent_right[own]), float(share @ tangent_down[own])),
            radius_rad=math.sqrt(float(solid[own].sum()) / math.pi),
            distance_m=away_m,
            illuminance=(red, green, blue),
        )


def _part_m(away: float | LampSurfaces, mask: Mask, own: Mask, count: int) -> float:
    """Distance of one of the parts of a lamp [m]: its own, where it has half a fair vote."""
    if not isinstance(away, LampSurfaces):
        return away
    part = np.zeros_like(mask)
    part[mask] = own
    nearest = away.nearest_m(part) if away.vote(part) > 0.5 / count else math.inf
    return nearest if math.isfinite(nearest) else away.nearest_m()
