"""Tulle: a net of hexagonal holes, whose lamps grow six-pointed stars of dots."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from frontglass.checks import check_not_negative, check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.bands import REACH_SIGMAS
from frontglass.optics.gratings import triangle_through_gaussian
from frontglass.optics.masks import Orders, PupilMask
from frontglass.optics.psf import FloatArray

_SAME_TURN = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class HexagonalNet(PupilMask):
    """Opaque threads around regular hexagonal holes.

    Parameters
    ----------
    pitch_m : float
        From the middle of a hole to the next, across a thread. [m], > 0.
    width_m : float
        Of a thread. [m], in [0, pitch / 2].
    angle_rad : float
        Direction across one set of threads, from x towards y. [rad]
    jitter_m : float
        Standard deviation of every thread about its place, each way. [m], >= 0, at most a
        tenth of the pitch.

    Raises
    ------
    ParameterError
        If a value is out of range.

    Notes
    -----
    Transmittance T = (1 - width / pitch)**2, of which T again is direct. The orders lie on a
    hexagonal grid 2 / (sqrt(3) pitch) apart, the nearest at 30, 90 and 150 degrees from
    `angle_rad`; each holds T h**2 with h the transform of a hole, 1 at the origin. Far out what is
    left is three pairs of arms across the threads, orders in rows beside one another.
    Jitter takes orders down by exp(-(2 pi nu jitter)**2); what they lose goes into the patterns of
    the threads, taken as straight pieces that move each on its own.

    References
    ----------
    [Goodman2005] sec. 4.4; [Guinier1963] for a grid whose members move at random.
    """

    pitch_m: float
    width_m: float
    angle_rad: float = 0.0
    jitter_m: float = 0.0

    def __post_init__(self) -> None:
        pitch = check_positive("pitch_m", self.pitch_m)
        if not check_not_negative("width_m", self.width_m) <= pitch / 2:
            rule = f"at most half of the pitch, {pitch / 2:g}"
            raise ParameterError("width_m", rule, self.width_m)
        check_number("angle_rad", self.angle_rad)
        if not check_not_negative("jitter_m", self.jitter_m) <= pitch / 10:
            rule = f"at most a tenth of the pitch, {pitch / 10:g}"
            hint = "Threads that lie over one another are outside this model."
            raise ParameterError("jitter_m", rule, self.jitter_m, hint)

    @property
    def transmittance(self) -> float:
        """Light that leaves over light that enters."""
        return (1 - self.width_m / self.pitch_m) ** 2

    @property
    def direct(self) -> float:
        """Zero order over all light that leaves."""
        return self.transmittance

    @property
    def is_even(self) -> bool:
        """Whether it looks the same in a mirror: a hexagon does at every twelfth of a turn."""
        turns = self.angle_rad * 6 / math.pi
        return abs(turns - round(turns)) < _SAME_TURN

    def at_strength(self, strength: float) -> Self:
        """Return a net of the same pitch whose transmittance is ``transmittance**strength``.

        Raises
        ------
        ParameterError
            If the threads would be wider than half the pitch.
        """
        open_share = math.sqrt(self.transmittance ** check_not_negative("strength", strength))
        if open_share < 0.5:
            hint = "Here the threads are as wide as the gaps between them."
            raise ParameterError("strength", "such that the width stays below 1/2", strength, hint)
        return replace(self, width_m=(1 - open_share) * self.pitch_m)

    def orders(self, farthest: float) -> Orders:
        """Orders of a net with no jitter, out to so many cycles per pitch; half of them."""
        most = math.ceil(2 * farthest)
        i, j = (a.ravel() for a in np.meshgrid(*2 * (np.arange(-most, most + 1.0),)))
        # The reciprocal of the grid of holes, in the net's own directions.
        u, v = i / self.pitch_m, (2 * j - i) / (math.sqrt(3) * self.pitch_m)
        half = (j > 0) | ((j == 0) & (i > 0))
        chosen = half & (np.hypot(u, v) * self.pitch_m <= farthest)
        u, v = u[chosen], v[chosen]
        x, y = self.turned(u, v)
        return Orders(x, y, self.transmittance * self._hole(u, v) ** 2)

    def debye_waller(self, x_per_m: FloatArray, y_per_m: FloatArray) -> FloatArray:
        """Debye-Waller factor: share of an order that jitter leaves it. [1], in [0, 1]."""
        turns = (2 * np.pi * self.jitter_m) ** 2 * (x_per_m**2 + y_per_m**2)
        return np.asarray(np.exp(-turns))

    @property
    def thread_length_m(self) -> float:
        """Of the straight pieces, three to a cell, such that they cover what threads cover."""
        cell_m2 = math.sqrt(3) / 2 * self.pitch_m**2
        return (1 - self.transmittance) * cell_m2 / (3 * self.width_m)

    @property
    def hole_side_m(self) -> float:
        """Of the hexagon that a hole is."""
        return (self.pitch_m - self.width_m) / math.sqrt(3)

    def piece_ends_m(self, length_m: float) -> float:
        """Shift beyond which a stretch of a piece no longer overlaps itself, jittered or not."""
        return length_m + REACH_SIGMAS * math.sqrt(2) * self.jitter_m

    def pieces(
        self, across_m: FloatArray, along_m: FloatArray
    ) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
        """Overlap of a piece of thread with itself: a product of shifts across and along it.

        Returns
        -------
        still, moved : (ndarray, ndarray)
            Of a piece where it is, and blurred by jitter of both; their difference is what pieces
            that move each on its own scatter.
        """
        across, along = (across_m, self.width_m), (along_m, self.thread_length_m)

        def overlap(blur_m: float) -> tuple[FloatArray, FloatArray]:
            sigma = np.array([blur_m])
            over = [
                triangle_through_gaussian(at, long, sigma) / long for at, long in (across, along)
            ]
            return over[0], over[1]

        return overlap(0.0), overlap(math.sqrt(2) * self.jitter_m)

    def turned(self, u: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Turn the net's own directions into those of the frame."""
        c, s = math.cos(self.angle_rad), math.sin(self.angle_rad)
        return c * u - s * v, s * u + c * v

    def _hole(self, u: FloatArray, v: FloatArray) -> FloatArray:
        """Transform of a hole, 1 at the origin: of the three rhombs that make the hexagon."""
        corners = [
            self.hole_side_m * (u * math.cos(a) + v * math.sin(a))
            for a in np.radians([30, 150, 270])
        ]
        total = np.zeros_like(u)
        for k in range(3):
            a, b = corners[k], corners[(k + 1) % 3]
            total += np.sinc(a) * np.sinc(b) * np.cos(np.pi * (a + b))
        return total / 3
