"""Charts: directions laid out on a plane where what spreads light is alike all over.

What a flat mask or film does (nets, lines, grease) only shifts light on the chart of direction
cosines: orders of diffraction are evenly spaced there, and an even field stays even [Harvey1999].
A glow turns light by an angle, wherever it comes from: on the stereographic chart, which keeps
angles, its halos are round, and their scale changes by a fifth to the corners of 84 degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum

import cv2
import numpy as np

from frontglass.arrays import Float32
from frontglass.choices import Surround
from frontglass.convolution.lamps import lamp_pixels
from frontglass.threads import in_pieces

ROWS_AT_ONCE = 64
LEVELS = 3
"""Of light on ever wider pixels, for where the chart's are wider than the frame's."""
CUBIC_REACH = 7
"""Pixels across within which a cubic overshoots by as much as it undershoots."""
FARTHEST = 30.0
"""Tangent of the farthest direction that a chart's corners ask for."""


class Chart(Enum):
    """How directions are laid out; lengths are radians in the middle of the frame."""

    COSINES = "cosines"
    STEREOGRAPHIC = "stereographic"

    def place(self, right: Float32, down: Float32) -> tuple[Float32, Float32]:
        """Return places of directions that are given by tangents of the field angle."""
        longer = np.sqrt(1 + right * right + down * down)
        shrunk = 1 / longer if self is Chart.COSINES else 2 / (1 + longer)
        return np.asarray(right * shrunk), np.asarray(down * shrunk)

    def tangents(self, x: Float32, y: Float32) -> tuple[Float32, Float32]:
        """Return the tangents of the directions at some places."""
        away = x * x + y * y
        if self is Chart.COSINES:
            stretched = 1 / np.sqrt(np.maximum(1 - away, np.float32(FARTHEST**-2)))
        else:
            stretched = 1 / np.maximum(1 - away / 4, np.float32(1 / FARTHEST))
        return x * stretched, y * stretched

    def stretch(self, x: Float32, y: Float32) -> Float32:
        """Return lengths in the frame over those here, where they are longest: outwards."""
        away = x * x + y * y
        if self is Chart.COSINES:
            return np.asarray(np.maximum(1 - away, np.float32(FARTHEST**-2)) ** np.float32(-1.5))
        return np.asarray((1 + away / 4) / np.maximum(1 - away / 4, np.float32(1 / FARTHEST)) ** 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Canvas:
    """A grid of pixels over a chart of a frame.

    Parameters
    ----------
    chart : Chart
        How directions are laid out.
    shape : (int, int)
        Rows and columns.
    px_per_rad : float
        Pixels per radian in its middle.
    frame : (int, int)
        Rows and columns of the frame, or of a smaller picture of it.
    frame_scale : (float, float)
        Its pixels per unit of tangent, down and across.
    """

    chart: Chart
    shape: tuple[int, int]
    px_per_rad: float
    frame: tuple[int, int]
    frame_scale: tuple[float, float]

    @classmethod
    def over(
        cls,
        chart: Chart,
        frame: tuple[int, int],
        px_per_rad: float,
        whole: tuple[int, ...],
        finer: float,
    ) -> Canvas:
        """Canvas that holds a frame, its pixels in the middle so much finer than the frame's.

        The frame may be a smaller picture of the `whole`, which has `px_per_rad`.
        """
        down, across_ = (px_per_rad * own / all_ for own, all_ in zip(frame, whole, strict=False))
        scale = down, across_
        px_per_rad = finer * math.sqrt(scale[0] * scale[1])
        none = np.zeros(1, np.float32)
        half_down, half_right = (
            np.full(1, n / 2 / s, np.float32) for n, s in zip(frame, scale, strict=True)
        )
        (across,), (high,) = chart.place(half_right, none)[0], chart.place(none, half_down)[1]
        rows, columns = (_good_side(2 * float(half) * px_per_rad) for half in (high, across))
        return cls(
            chart=chart,
            shape=(rows, columns),
            px_per_rad=px_per_rad,
            frame=frame,
            frame_scale=scale,
        )

    def coarser(self, longest: int) -> Canvas:
        """Return one over the same part of the chart with at most so many pixels along a side."""
        ratio = min(1.0, longest / max(self.shape))
        rows, columns = (max(1, round(side * ratio)) for side in self.shape)
        return replace(
            self, shape=(rows, columns), px_per_rad=self.px_per_rad * columns / self.shape[1]
        )

    def shrinking(self) -> Float32:
        """Cosine squared of half the field angle, shape (rows, columns).

        It is what an angle measures on the stereographic chart's middle over what it does here.
        """
        x, y = self._places(slice(None))
        return np.asarray(1 / (1 + (x * x + y * y) / 4), dtype=np.float32)

    def take(self, light: Float32, surround: Surround) -> Float32:
        """Light of the frame, shape (H, W, 3), on the chart; no lamp's gains or loses by that."""
        lamps = lamp_pixels(light) if surround is Surround.LAMPLESS else None
        is_dark = surround is Surround.DARK
        border = cv2.BORDER_CONSTANT if is_dark else cv2.BORDER_REFLECT
        if lamps is None:
            return _as_light(self._taken(light, border))
        rest = _as_light(self._taken(lamps.taken_from(light), border))
        rest += _as_light(self._taken(np.asarray(lamps), cv2.BORDER_CONSTANT))
        return rest

    def _taken(self, light: Float32, border: int) -> Float32:
        height, width = self.frame
        levels = [light]
        while len(levels) < LEVELS:
            size = tuple(math.ceil(side / 2) for side in levels[-1].shape[1::-1])
            levels.append(np.asarray(cv2.resize(levels[-1], size, interpolation=cv2.INTER_AREA)))
        out = np.empty((*self.shape, 3), np.float32)
        # A cubic keeps a small lamp's light to a hundredth, straight lines to a thirtieth. But
        # it overshoots, which orders of diffraction, as sharp as lamps, would show.
        sharp = self.chart is Chart.COSINES
        how = cv2.INTER_LINEAR if sharp else cv2.INTER_CUBIC
        own_px = self.px_per_rad / math.sqrt(self.frame_scale[0] * self.frame_scale[1])

        def some(rows: slice) -> None:
            x, y = self._places(rows)
            right, down = self.chart.tangents(x, y)
            column = right * np.float32(self.frame_scale[1] / width) + np.float32(0.5)
            row = down * np.float32(self.frame_scale[0] / height) + np.float32(0.5)
            shares = _shares(np.log2(self.chart.stretch(x, y) / np.float32(own_px)))
            total: Float32 = np.zeros((*column.shape, 3), np.float32)
            for share, level in zip(shares, levels, strict=True):
                lit = np.flatnonzero(share.any(axis=0))
                if lit.size:
                    own = np.s_[:, lit[0] : lit[-1] + 1]
                    at = column[own] * level.shape[1] - 0.5, row[own] * level.shape[0] - 0.5
                    got = cv2.remap(level, *at, how, borderMode=border)
                    total[own] += cv2.multiply(got, cv2.merge([share[own]] * 3))
            out[rows] = total

        in_pieces(some, self.shape[0], ROWS_AT_ONCE)
        return out

    def give(self, light: Float32) -> Float32:
        """Light on the chart, seen on the frame; shape (H, W, 3)."""
        height, width = self.frame
        out = np.empty((height, width, 3), np.float32)
        right, down = (
            ((np.arange(n) + 0.5 - n / 2) / s).astype(np.float32)
            for n, s in ((width, self.frame_scale[1]), (height, self.frame_scale[0]))
        )
        middle = [np.float32(side / 2 - 0.5) for side in self.shape]

        def some(rows: slice) -> None:
            x, y = self.chart.place(right[np.newaxis], down[rows, np.newaxis])
            at = (
                x * np.float32(self.px_per_rad) + middle[1],
                y * np.float32(self.px_per_rad) + middle[0],
            )
            out[rows] = cv2.remap(light, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)

        in_pieces(some, height, ROWS_AT_ONCE)
        return out

    def _places(self, rows: slice) -> tuple[Float32, Float32]:
        y, x = (
            ((np.arange(n) + 0.5 - n / 2) / self.px_per_rad).astype(np.float32) for n in self.shape
        )
        across, down = np.broadcast_arrays(x[np.newaxis], y[rows, np.newaxis])
        return across, down


def _as_light(taken: Float32) -> Float32:
    """Return light on a chart without what a cubic takes below nothing beside lamps and edges.

    What that was worth is taken from the light within its reach: none is gained or lost. Left as
    it was, narrow halos of wide fields had rings of up to 1.6 % of a lamp below nothing.
    """
    if taken.min() >= 0:
        return taken
    for channel in range(3):
        own = np.ascontiguousarray(taken[..., channel])
        light = np.maximum(own, 0)
        near = _sum_near(light)
        owed = np.divide(light - own, near, out=np.zeros_like(own), where=near > 0)
        taken[..., channel] = light * np.maximum(1 - _sum_near(owed), 0)
    return taken


def _sum_near(values: Float32) -> Float32:
    """Sum over what lies within a cubic's reach of each pixel."""
    size = (CUBIC_REACH, CUBIC_REACH)
    summed = cv2.boxFilter(values, -1, size, normalize=False, borderType=cv2.BORDER_REFLECT)
    return np.asarray(summed)


def _good_side(least: float) -> int:
    """Return a side with no prime factor above 5: others take far longer to transform."""
    odds = [5**fives * 3**threes for fives in range(5) for threes in range(5)]
    doublings = [max(0, math.ceil(math.log2(max(least, 1) / odd))) for odd in odds]
    return int(min(odd << times for odd, times in zip(odds, doublings, strict=True)))


def _shares(octaves: Float32) -> list[Float32]:
    """Shares of the levels where the frame's pixels are so much finer than the chart's.

    Samples farther apart than a level's pixels would miss lamps between them.
    """
    level = np.zeros_like(octaves)
    for n in range(LEVELS - 1):
        level += np.clip((octaves - n) * 4 + 1, 0, 1)
    return [np.maximum(1 - np.abs(level - n), 0).astype(np.float32) for n in range(LEVELS)]
