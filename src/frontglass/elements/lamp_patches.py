"""Lamps of a picture as rectangles of light, for what has a ghost of each."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32, Float64
from frontglass.convolution.lamps import (
    WHITE,
    lamps_among,
    least_lamps,
    share_of_lamp,
)
from frontglass.lit_pixels import pixels_above
from frontglass.rows_between import RowsBetween
from frontglass.threads import in_pieces

BLOCK_PX, FEW_PX = 64, 64
"""Lamps of fewer pixels than that in a square of 64 are points."""
MOST_SQUARES = 512
FILLED = 0.5
"""Blocks that touch make one patch if they fill so much of the rectangle round them."""


class LampPoints(NamedTuple):
    """Points of light: rows and columns (N,), in parts of a pixel, and light (N, 3)."""

    rows: Float64
    columns: Float64
    light: Float32

    def near_by(self, side_px: int) -> Iterator[LampPoints]:
        """Yield those in each square of a picture, of so many pixels a side or more for many."""
        while True:
            down, right = ((part // side_px).astype(np.intp) for part in self[:2])
            square = down * (right.max(initial=0) + 1) + right
            order = np.argsort(square, kind="stable")
            ends = np.flatnonzero(np.diff(square[order])) + 1
            if len(ends) < MOST_SQUARES:
                break
            side_px *= 2
        for own in np.split(order, ends):
            yield LampPoints(self.rows[own], self.columns[own], self.light[own])


class LampPatch(NamedTuple):
    """A rectangle of a picture with the light of its lamps, black elsewhere.

    Parameters
    ----------
    top, left : int
        Its upper left pixel.
    light : ndarray, shape (H, W, 3), float32
        Linear light of what is lamp.
    brightest : float
        No pixel has more light in a channel.
    widest_px : float
        Longest side of a lamp in it; infinite if one goes on beyond the patch. [px]
    """

    top: int
    left: int
    light: Float32
    brightest: float
    widest_px: float

    def points(self, of_px: int = 1) -> LampPoints:
        """Return squares of so many pixels in which there is any light, which is summed."""
        return self._replace(light=means_of_squares(self.light, of_px)).points_of(of_px)

    def points_of(self, cell: int) -> LampPoints:
        """Return its cells with any light, where its light is that of cells of so many pixels."""
        rows, columns = np.nonzero(self.light.any(axis=2))
        light = self.light[rows, columns]
        middle = (cell - 1) / 2
        return LampPoints(
            rows.astype(np.float64) * cell + (self.top + middle),
            columns.astype(np.float64) * cell + (self.left + middle),
            light if cell == 1 else light * np.float32(cell * cell),
        )

    def squares(self, of_px: int) -> LampSquares:
        """Return what of its light lies in squares of the picture, where there is any."""
        height, width, _ = self.light.shape
        before = self.top % of_px, self.left % of_px
        after = (-(height + before[0]) % of_px, -(width + before[1]) % of_px)
        light = np.pad(self.light, (*zip(before, after, strict=True), (0, 0)))
        means = means_of_squares(light, of_px)
        rows, columns = np.nonzero(means.any(axis=2))
        down, right = rows.astype(np.float64) * of_px, columns.astype(np.float64) * of_px
        flux = means[rows, columns] * np.float32(of_px * of_px)
        lit = (_brightest(light) > 0).astype(np.float32)[..., np.newaxis]
        area = means_of_squares(lit, of_px)[rows, columns, 0] * np.float32(of_px * of_px)
        middle = (of_px - 1) / 2
        down += self.top - before[0] + middle
        right += self.left - before[1] + middle
        # Lamps of many pixels have squares that they fill.
        return LampSquares(down, right, flux, flux / area[:, np.newaxis], area)

    def pieces(self, side_px: int, fade_px: int) -> Iterator[LampPatch]:
        """Yield patches of about so many pixels a side whose light sums up to its own.

        Each fades into the next over some pixels, so that what is done to them may differ.
        """
        height, width, _ = self.light.shape
        if max(height, width) <= side_px:
            yield self
            return
        for row, down in _fades(height, side_px, fade_px):
            for column, across in _fades(width, side_px, fade_px):
                part = self.light[row : row + len(down), column : column + len(across)]
                if part.any():
                    weights = cv2.merge([down[:, np.newaxis] * across] * 3)
                    faded = np.asarray(cv2.multiply(part, weights), np.float32)
                    place = self.top + row, self.left + column
                    yield LampPatch(*place, faded, self.brightest, self.widest_px)


def _fades(length: int, side_px: int, fade_px: int) -> Iterator[tuple[int, Float32]]:
    """Yield where each of some overlapping windows begins, and its weights, which sum up to 1."""
    count = -(-length // side_px)
    ends = np.linspace(0, length, count + 1)
    places = np.arange(length) + 0.5
    fade = min(fade_px, length / count)

    def past(end: float) -> Float64:
        t = np.clip((places - end) / fade + 0.5, 0, 1)
        return np.asarray(t * t * (3 - 2 * t))

    for number in range(count):
        begun = past(ends[number]) if number else np.ones(length)
        done = past(ends[number + 1]) if number < count - 1 else np.zeros(length)
        weights = (begun - done).astype(np.float32)
        some = np.flatnonzero(weights)
        yield int(some[0]), weights[some[0] : some[-1] + 1]


class LampSquares(NamedTuple):
    """Lamps on squares of few pixels: middles (N,), light and brightest light (N, 3), area (N,)."""

    rows: Float64
    columns: Float64
    flux: Float32
    peak: Float32
    area: Float32


class FoundLamps(NamedTuple):
    """Lamps of a picture: patches of those of many pixels, none of which overlap, and points."""

    patches: tuple[LampPatch, ...]
    points: LampPoints

    def squares(self, of_px: int) -> LampSquares:
        """Return their light in squares of the picture; points are pixels."""
        rows, columns, light = self.points
        own = LampSquares(rows, columns, light, light, np.ones(len(rows), np.float32))
        each = [own, *(patch.squares(of_px) for patch in self.patches)]
        return LampSquares(*map(np.concatenate, zip(*each, strict=True)))


def lamps_found(light: Float32) -> FoundLamps | None:
    """Return what `lamp_pixels` has of a picture, as patches and points; None if nothing is lamp.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light; 1 is diffuse white.
    """
    least = least_lamps(light)
    lit = _lit_blocks(light, least)
    if not lit.any():
        return None
    few, sparse = [], lit.copy()
    for row, column in np.argwhere(lit):
        at = _few_lit(light, int(row) * BLOCK_PX, int(column) * BLOCK_PX)
        sparse[row, column] = at is not None
        if at is not None:
            few.append((row, column, at))
    _, owner = cv2.connectedComponents(lit)
    has_wide = np.zeros(owner.max() + 1, bool)
    has_wide[owner[(lit > 0) & (sparse == 0)]] = True
    found = _rectangles((has_wide[owner] & (lit > 0)).view(np.uint8))
    patches = (_patch(light, least, place, is_whole=is_whole) for place, is_whole in found)
    places = [at for row, column, at in few if not has_wide[owner[row, column]]]
    whole = tuple(patch for patch in patches if patch is not None)
    points = _points(light, least, places)
    return FoundLamps(whole, points) if whole or points.light.size else None


def _few_lit(light: Float32, top: int, left: int) -> NDArray[np.intp] | None:
    """Pixels of a block that are brighter than white, (2, N); None if they are many."""
    row, column = pixels_above(light[top : top + BLOCK_PX, left : left + BLOCK_PX], WHITE)
    return np.stack([row + top, column + left]) if len(row) < FEW_PX else None


def _points(light: Float32, least: RowsBetween, places: list[NDArray[np.intp]]) -> LampPoints:
    """Return what of single pixels is lamp."""
    at = np.concatenate([np.zeros((2, 0), np.intp), *places], axis=1)
    rows, columns, own = lamps_among(light, least, *at)
    return LampPoints(rows.astype(np.float64), columns.astype(np.float64), own)


def _brightest(light: Float32) -> Float32:
    """Brightest channel of each pixel."""
    return np.asarray(np.maximum(np.maximum(light[..., 0], light[..., 1]), light[..., 2]))


def _lit_blocks(light: Float32, least: RowsBetween) -> NDArray[np.uint8]:
    """Squares of a picture in which something is so bright that it may be lamp."""
    height, width, _ = light.shape
    rows, columns = -(-height // BLOCK_PX), -(-width // BLOCK_PX)
    lit = np.zeros((rows, columns), np.uint8)
    flat = light.reshape(height, width * 3)
    begins = np.arange(0, width, BLOCK_PX)

    def some(part: slice) -> None:
        for row in range(part.start, part.stop):
            own = slice(row * BLOCK_PX, min((row + 1) * BLOCK_PX, height))
            near = least.least(own)
            peaks = np.maximum.reduceat(flat[own].max(axis=0), 3 * begins)
            lit[row] = peaks > np.minimum.reduceat(near, begins)

    in_pieces(some, rows, 4)
    return lit


def _rectangles(lit: NDArray[np.uint8]) -> Iterator[tuple[tuple[int, int, int, int], bool]]:
    """Yield rectangles (top, left, bottom, right) [px] round lit blocks, and if lamps end there."""
    count, owner, stats, _ = cv2.connectedComponentsWithStats(lit)
    for number in range(1, count):
        left, top, width, height, filled = (int(part) for part in stats[number])
        inside = owner[top : top + height, left : left + width]
        is_alone = not ((inside > 0) & (inside != number)).any()
        if is_alone and filled >= FILLED * width * height:
            blocks = [(top, left, top + height, left + width)]
        else:
            blocks = [
                (top + a, left + b, top + c, left + d) for a, b, c, d in _runs(inside == number)
            ]
        for block in blocks:
            a, b, c, d = (BLOCK_PX * part for part in block)
            yield (a, b, c, d), len(blocks) == 1


def _runs(mask: NDArray[np.bool_]) -> Iterator[tuple[int, int, int, int]]:
    """Yield rectangles (top, left, bottom, right) that together are a mask."""
    going: dict[tuple[int, int], int] = {}
    for row in range(mask.shape[0] + 1):
        here = mask[row] if row < mask.shape[0] else np.zeros(mask.shape[1], bool)
        steps = np.flatnonzero(np.diff(here, prepend=False, append=False))
        runs = {(int(left), int(right)) for left, right in steps.reshape(-1, 2)}
        for run in [run for run in going if run not in runs]:
            yield going.pop(run), run[0], row, run[1]
        for run in runs:
            going.setdefault(run, row)


def _patch(
    light: Float32, least: RowsBetween, place: tuple[int, int, int, int], *, is_whole: bool
) -> LampPatch | None:
    """Return the lamps within a rectangle, cut to where they are; None if there are none."""
    top, left, bottom, right = place
    own = light[top:bottom, left:right]
    bright = _brightest(own)
    lit = (bright > WHITE).view(np.uint8)
    x, y, width, height = cv2.boundingRect(lit)
    if not width:
        return None
    rows, columns = slice(y, y + height), slice(x, x + width)
    level = least.within(slice(top + y, top + y + height), slice(left + x, left + x + width))
    share = share_of_lamp(np.asarray(bright[rows, columns] / level, np.float32))
    if not share.any():
        return None
    # Every other pixel tells how wide lamps are.
    some = np.ascontiguousarray(share[::2, ::2] > 0).view(np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(some)
    sides = stats[1:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]]
    widest = 2.0 * float(sides.max(initial=0))
    own = own[rows, columns]
    if share.min() < 1:
        own = np.asarray(cv2.multiply(own, cv2.merge([share] * 3)), np.float32)
    most = float(bright.max())
    return LampPatch(top + y, left + x, own, most, widest if is_whole else np.inf)


def means_of_squares(light: Float32, of_px: int) -> Float32:
    """Means of squares of pixels, those at the end filled up with black."""
    if of_px == 1:
        return light
    height, width, _ = light.shape
    ends = -height % of_px, -width % of_px
    if any(ends):
        light = np.pad(light, ((0, ends[0]), (0, ends[1]), (0, 0)))
    size = light.shape[1] // of_px, light.shape[0] // of_px
    means = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    return np.asarray(means, np.float32).reshape(size[1], size[0], -1)
