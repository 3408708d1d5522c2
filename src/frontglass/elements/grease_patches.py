"""Patches of a film wiped by hand: strokes that turn and depths that vary, as the pupil sees them.

A film that is not the same all over is a few films of fixed depths and directions, each with a
share of every pixel's light. Depths are interpolated linearly in the variance of their height.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.elements.filter_plane import map_over_frame
from frontglass.optics.camera import Camera
from frontglass.optics.footprint import Footprint
from frontglass.optics.grease import Strokes, stroke_direction_rad, variance_weights
from frontglass.rows_between import RowsBetween

WAVES = 24
"""That patches are made of."""


class Patch(NamedTuple):
    """A film: its variance of height over the mean one's [1], the direction of its stroke [rad]."""

    variance_ratio: float
    stroke_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Patches:
    """How a film varies over the filter.

    Parameters
    ----------
    strokes : Strokes
        How the strokes run; straight ones do not turn.
    stroke_rad : float
        Their direction, from x towards y; a turn of strokes that turn. [rad]
    unevenness : float
        0 the same all over, 1 from nothing to twice. [1], in [0, 1].
    patch_m : float
        How wide patches are. [m], > 0.
    seed : int
        The same number is wiped the same way. >= 0.
    """

    strokes: Strokes
    stroke_rad: float
    unevenness: float
    patch_m: float
    seed: int

    def over_frame(
        self, shape: tuple[int, int], camera: Camera
    ) -> Iterator[tuple[RowsBetween, Patch]]:
        """Share of each pixel's light that passes a patch, and the patch.

        Shares sum to 1.
        """
        kinds = [Patch(depth, turn) for turn in self._directions() for depth in self._depths()]
        footprint = Footprint.of_camera(camera)
        maps = map_over_frame(lambda x, y: footprint.seen(self._shares, x, y), shape, camera)
        for share, patch in zip(maps, kinds, strict=True):
            if share.nodes.any():
                yield share, patch

    def _directions(self) -> list[float]:
        count = 1 if self.strokes is Strokes.STRAIGHT else ACCURACY.stroke_directions
        return [self.stroke_rad + turn * math.pi / count for turn in range(count)]

    def _depths(self) -> list[float]:
        if not self.unevenness:
            return [1.0]
        depths = np.linspace(1 - self.unevenness, 1 + self.unevenness, ACCURACY.film_depths)
        return [float(depth) for depth in depths]

    def _shares(self, x_m: Float64, y_m: Float64) -> Float64:
        """Shares of all patches at places of the filter, along the first axis."""
        by_depth = np.ones((1, *x_m.shape))
        if self.unevenness:
            by_depth = variance_weights(self._variance(x_m, y_m), np.array(self._depths()))
        by_direction = np.ones((1, *x_m.shape))
        if self.strokes is not Strokes.STRAIGHT:
            stroke = stroke_direction_rad(
                self.strokes,
                x_m,
                y_m,
                angle_rad=self.stroke_rad,
                patch_m=self.patch_m,
                seed=self.seed,
            )
            by_direction = _direction_weights(stroke, np.array(self._directions()))
        both = by_direction[:, np.newaxis] * by_depth[np.newaxis]
        return both.reshape(-1, *x_m.shape)

    def _variance(self, x_m: Float64, y_m: Float64) -> Float64:
        """Variance of the height over its mean: random waves about as long as a patch."""
        waves = np.random.default_rng(self.seed).normal(0, 1 / self.patch_m, (WAVES, 2))
        phases = np.random.default_rng(self.seed + 1).uniform(0, 2 * math.pi, WAVES)
        field = np.zeros(x_m.shape)
        for (kx, ky), phase in zip(waves, phases, strict=True):
            field += np.cos(kx * x_m + ky * y_m + phase)
        return np.asarray(1 + self.unevenness * np.tanh(field / math.sqrt(WAVES / 2)))


def _direction_weights(stroke_rad: Float64, directions_rad: Float64) -> Float64:
    """Weights of directions evenly spread over half a turn, linear between neighbours."""
    count = len(directions_rad)
    place = np.mod((stroke_rad - directions_rad[0]) * count / math.pi, count)
    away = np.abs(place - np.arange(count).reshape(-1, *[1] * stroke_rad.ndim))
    return np.asarray(np.maximum(1 - np.minimum(away, count - away), 0))
