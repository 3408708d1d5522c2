"""Tulle: a net of hexagonal holes, whose lamps grow six-pointed stars of dots."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_not_negative, check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.bands import Band
from frontglass.optics.gratings import both_ways, triangle_through_gaussian
from frontglass.optics.masks import Dots, PupilMask
from frontglass.optics.psf import FloatArray

_NORMALS = np.radians([0.0, 60.0, 120.0])
_TABLE_SIDE = 512
LARGEST_ORDER_COUNT = 400
_LOBES = 8
_STEPS_ACROSS = 3200
_STEPS_ALONG = 400
"""More lobes of a piece of thread cost little where they are no more steps than these."""
_DARKEST = 3e-10
"""Points of the halo that hold less are left to the veil: behind a lamp of 600, a hundredth of the
bound on a pixel."""
_LONE_STREAKS = 20
_STEPS_IN_A_LONE_STREAK = 4
_BRIGHT_STREAKS = 10
_STEPS_PER_STEP = 8
_FAINT_STREAKS = 64
_RINGS_IN_AN_OCTAVE = 2


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
    `angle_rad`; each holds T h**2 with h the transform of a hole, 1 at the origin. Its
    correlation at a shift is a sum of overlaps of two hexagons, a polygon of up to six sides.
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

    def at_strength(self, strength: float) -> Self:
        """Return a net of the same pitch whose transmittance is ``transmittance**strength``.

        Raises
        ------
        ParameterError
            If the threads would be wider than half the pitch.
        """
        kept = math.sqrt(self.transmittance ** check_not_negative("strength", strength))
        if kept < 0.5:
            hint = "Here the threads are as wide as the gaps between them."
            raise ParameterError("strength", "such that the width stays below 1/2", strength, hint)
        return replace(self, width_m=(1 - kept) * self.pitch_m)

    def finest_detail_m(self) -> float:
        """Width of a thread [m]."""
        return self.width_m

    def otf(self, fx: ArrayLike, fy: ArrayLike, wavelength_m: float) -> FloatArray:
        """Transfer function at (fx, fy) [cycles/rad], 1 at the origin."""
        check_positive("wavelength_m", wavelength_m)
        c, s = math.cos(self.angle_rad), math.sin(self.angle_rad)
        x, y = (wavelength_m * np.asarray(f, dtype=np.float64) for f in (fx, fy))
        u, v = np.broadcast_arrays(c * x + s * y, c * y - s * x)
        if not self.width_m:
            return np.ones(u.shape)
        if not self.jitter_m:
            return self._perfect(u, v)
        table = self._jittered_table()
        periodic = _from_cell(table, u / self.pitch_m, v / self.pitch_m)
        return periodic + self._own_factor(table) * self._own_pairs(u, v)

    def orders(self, wavelength_m: float, *, highest: int) -> Dots:
        """Orders of both indices from -highest to highest."""
        check_positive("wavelength_m", wavelength_m)
        i, j = (a.ravel() for a in np.meshgrid(*2 * (np.arange(-highest, highest + 1.0),)))
        nu_x, nu_y = self._reciprocal(i, j)
        shares = self.transmittance * self._hole(nu_x, nu_y) ** 2 * self._kept(nu_x, nu_y)
        x, y = self._turned(wavelength_m * nu_x, wavelength_m * nu_y)
        return Dots(x, y, shares)

    def diffuse(self, x_rad: ArrayLike, y_rad: ArrayLike, wavelength_m: float) -> FloatArray:
        """Light that irregular threads spread continuously, share of all that leaves per sr."""
        check_positive("wavelength_m", wavelength_m)
        if not (self.jitter_m and self.width_m):
            return np.zeros(np.broadcast_shapes(np.shape(x_rad), np.shape(y_rad)))
        own = self._own_factor(self._jittered_table())
        return own * self._own_patterns(x_rad, y_rad, wavelength_m)

    def _own_patterns(self, x_rad: ArrayLike, y_rad: ArrayLike, wavelength_m: float) -> FloatArray:
        """Patterns of pieces of thread that move each on its own, up to a factor."""
        c, s = math.cos(self.angle_rad), math.sin(self.angle_rad)
        x, y = (np.asarray(a, dtype=np.float64) / wavelength_m for a in (x_rad, y_rad))
        nu_x, nu_y = c * x + s * y, c * y - s * x
        total = np.zeros(np.broadcast_shapes(nu_x.shape, nu_y.shape))
        length = self._thread_length_m
        for a in _NORMALS:
            across = nu_x * math.cos(a) + nu_y * math.sin(a)
            along = nu_y * math.cos(a) - nu_x * math.sin(a)
            pattern = np.sinc(self.width_m * across) * np.sinc(length * along)
            total += (self.width_m * length * pattern) ** 2
        return np.asarray(total * (1 - self._kept(nu_x, nu_y)) / wavelength_m**2)

    def dots(self, band: Band, *, step_rad: float, reach_rad: float) -> Dots:
        """Deviated light within a reach of a lamp, as points; see `PupilMask`.

        Notes
        -----
        Every order is a streak along the line to the lamp. At most 400 orders to either side are
        counted.
        """
        check_positive("step_rad", step_rad)
        if not check_positive("reach_rad", reach_rad) >= step_rad:
            raise ParameterError("reach_rad", f"at least the step of {step_rad:g}", reach_rad)
        spacing = 2 / math.sqrt(3) * band.centre_m / self.pitch_m
        highest = min(math.ceil(2 / math.sqrt(3) * reach_rad / spacing) + 1, LARGEST_ORDER_COUNT)
        orders = self.orders(band.centre_m, highest=highest)
        radius = np.hypot(orders.x_rad, orders.y_rad)
        wanted = (radius > spacing / 2) & (radius <= reach_rad) & (orders.shares > 1e-9)
        x, y, shares = (column[wanted] for column in orders)
        parts = [Dots(np.zeros(0), np.zeros(0), np.zeros(0))]
        # Orders at like distances smear into streaks of like lengths: a ring at a time.
        octaves = np.log2(radius[wanted] / spacing)
        rings = np.ceil(_RINGS_IN_AN_OCTAVE * octaves).astype(np.intp)
        for ring in np.unique(rings):
            member = rings == ring
            outer = min(spacing * 2.0 ** float(ring / _RINGS_IN_AN_OCTAVE), reach_rad)
            move = step_rad
            if outer > _FAINT_STREAKS * spacing:
                # Where so many streaks lie over one another, a quarter of their distance serves.
                move = max(step_rad, spacing / 4)
            if outer < _LONE_STREAKS * spacing:
                move = step_rad / _STEPS_IN_A_LONE_STREAK
            if outer < _BRIGHT_STREAKS * spacing:
                # The brightest, and shorter than a step where orders lie close together.
                move = min(step_rad, spacing / 10) / _STEPS_PER_STEP
            wavelengths, weights = band.wavelengths(band.centre_m * move / outer)
            ratio = wavelengths / band.centre_m
            parts.append(
                Dots(
                    np.outer(ratio, x[member]).ravel(),
                    np.outer(ratio, y[member]).ravel(),
                    np.outer(weights, shares[member]).ravel(),
                )
            )
        parts.append(self._diffuse_dots(band, step_rad, reach_rad))
        return Dots.joined(parts)

    def _diffuse_dots(self, band: Band, step_rad: float, reach_rad: float) -> Dots:
        empty = np.zeros(0)
        if not (self.jitter_m and self.width_m):
            return Dots(empty, empty, empty)
        # Along either direction of a piece of thread, its pattern is a product; and so is what
        # jitter keeps of it, as a Gaussian is.
        wavelengths, weights = band.wavelengths(band.sigma_m / 2)
        length = self._thread_length_m
        wide, narrow = (
            self._lobes(size, steps, wavelengths, step_rad)
            for size, steps in ((self.width_m, _STEPS_ACROSS), (length, _STEPS_ALONG))
        )
        shares = sum(
            sign * (np.c_[weights / wavelengths**2] * across).T @ along
            for sign, across, along in zip((1, -1), wide[1:], narrow[1:], strict=True)
        )
        shares *= self._own_factor(self._jittered_table())
        lit = shares > _DARKEST
        i, j = np.nonzero(lit)
        across, along, shares = wide[0][i], narrow[0][j], shares[lit]
        parts = []
        for a in _NORMALS:
            c, s = math.cos(a), math.sin(a)
            x, y = self._turned(c * across - s * along, s * across + c * along)
            parts.append(Dots(x, y, shares))
        x, y, shares = Dots.joined(parts)
        within = np.hypot(x, y) <= reach_rad
        return Dots(x[within], y[within], shares[within])

    def _lobes(
        self, size_m: float, steps: int, wavelengths_m: FloatArray, step_rad: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Angles, and the pattern of a slit on steps about them: all of it, what jitter keeps."""
        lobe = float(wavelengths_m.mean()) / size_m
        step = min(step_rad, lobe / 8)
        end = max(_LOBES * lobe, steps * step)
        at = both_ways(np.arange(1.0, math.ceil(end / step) + 1) * step)
        nu = at / np.c_[wavelengths_m]
        whole = np.asarray((size_m * np.sinc(size_m * nu)) ** 2 * step)
        return at, whole, np.asarray(whole * self._kept(nu, np.zeros(1)))

    @property
    def _cell_m2(self) -> float:
        return math.sqrt(3) / 2 * self.pitch_m**2

    @property
    def _thread_length_m(self) -> float:
        """Of the straight pieces, three to a cell, such that they cover what threads cover."""
        return (1 - self.transmittance) * self._cell_m2 / (3 * self.width_m)

    def _kept(self, nu_x: FloatArray, nu_y: FloatArray) -> FloatArray:
        return np.asarray(np.exp(-((2 * np.pi * self.jitter_m) ** 2) * (nu_x**2 + nu_y**2)))

    def _reciprocal(self, i: FloatArray, j: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Frequencies [cycles/m] of the orders (i, j), in the net's own directions."""
        return i / self.pitch_m, (2 * j - i) / (math.sqrt(3) * self.pitch_m)

    def _turned(self, u: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
        c, s = math.cos(self.angle_rad), math.sin(self.angle_rad)
        return c * u - s * v, s * u + c * v

    def _hole(self, nu_x: FloatArray, nu_y: FloatArray) -> FloatArray:
        """Transform of a hole, 1 at the origin: of the three rhombs that make the hexagon."""
        radius = (self.pitch_m - self.width_m) / math.sqrt(3)
        corners = [
            radius * (nu_x * math.cos(a) + nu_y * math.sin(a)) for a in np.radians([30, 150, 270])
        ]
        total = np.zeros_like(nu_x)
        for k in range(3):
            a, b = corners[k], corners[(k + 1) % 3]
            total += np.sinc(a) * np.sinc(b) * np.cos(np.pi * (a + b))
        return total / 3

    def _perfect(self, u_m: FloatArray, v_m: FloatArray) -> FloatArray:
        """Overlap of the holes with themselves, shifted, over their area."""
        side = (self.pitch_m - self.width_m) / self.pitch_m
        x, y = _to_nearest_hole(u_m / self.pitch_m, v_m / self.pitch_m)
        total = _hexagon_overlap(x, y, side)
        for a in np.radians([0, 60, 120, 180, 240, 300]):
            total += _hexagon_overlap(x - math.cos(a), y - math.sin(a), side)
        return total / (math.sqrt(3) / 2 * side**2)

    def _jittered_table(self) -> FloatArray:
        """Transfer function of the orders alone over one cell of the grid, first kind jitter."""
        t = np.arange(_TABLE_SIDE) / _TABLE_SIDE
        i, j = np.meshgrid(t, t)
        x, y = i + j / 2, j * math.sqrt(3) / 2
        table = self._perfect(x * self.pitch_m, y * self.pitch_m)
        k = np.fft.fftfreq(_TABLE_SIDE, 1 / _TABLE_SIDE)
        nu_x, nu_y = self._reciprocal(*np.meshgrid(k, k))
        return np.asarray(np.fft.ifft2(np.fft.fft2(table) * self._kept(nu_x, nu_y)).real)

    def _own_factor(self, table: FloatArray) -> float:
        """Light the orders lost over what `_own_pairs` has at the origin, so that none is lost."""
        zero = np.zeros(1)
        return float((1 - table[0, 0]) / self._own_pairs(zero, zero)[0])

    def _own_pairs(self, u_m: FloatArray, v_m: FloatArray) -> FloatArray:
        """Overlap of pieces of thread with themselves [m2], less the same blurred by jitter.

        Pieces that move each on its own stay where they are to themselves only.
        """
        still, moved = np.array(0.0), np.array(math.sqrt(2) * self.jitter_m)
        total = np.zeros(np.shape(u_m))
        for a in _NORMALS:
            across = u_m * math.cos(a) + v_m * math.sin(a)
            along = v_m * math.cos(a) - u_m * math.sin(a)
            for sigma, sign in ((still, 1.0), (moved, -1.0)):
                total += (
                    sign
                    * triangle_through_gaussian(across, self.width_m, sigma)
                    * triangle_through_gaussian(along, self._thread_length_m, sigma)
                )
        return total


def _to_nearest_hole(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shift by whole steps of the hexagonal grid of pitch 1, to within its cell or next to it."""
    j = np.rint(y / (math.sqrt(3) / 2))
    y = y - j * (math.sqrt(3) / 2)
    x = x - j / 2
    x = x - np.rint(x)
    return x, y


def _hexagon_overlap(x: FloatArray, y: FloatArray, side: float) -> FloatArray:
    """Area that two regular hexagons, `side` from flat to flat, share at a shift (x, y).

    It is where three strips cross, centred half way: |r . n_k| <= h_k. Two of them cross in a
    parallelogram, of which the third cuts two corners; it is no wider than the strip through both.
    """
    h = [np.maximum(side - np.abs(x * math.cos(a) + y * math.sin(a)), 0.0) / 2 for a in _NORMALS]
    # With a = r . n_0 and b = r . n_1, r . n_2 = b - a.
    corner = np.maximum(h[0] + h[1] - h[2], 0.0) ** 2
    corner -= np.maximum(h[1] - h[0] - h[2], 0.0) ** 2
    corner -= np.maximum(h[0] - h[1] - h[2], 0.0) ** 2
    area = (4 * h[0] * h[1] - corner) / math.sin(math.pi / 3)
    return np.asarray(np.maximum(area, 0.0))


def _from_cell(table: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    """Value of a table over one cell of the grid of pitch 1, linear between its nodes."""
    from scipy.ndimage import map_coordinates

    j = y / (math.sqrt(3) / 2)
    i = x - j / 2
    at = np.stack([np.ravel(j % 1.0), np.ravel(i % 1.0)]) * _TABLE_SIDE
    found = map_coordinates(table, at, order=1, mode="grid-wrap")
    return np.asarray(found.reshape(np.shape(x)))
