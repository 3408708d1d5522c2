"""Parallel threads or grooves: a grating across one direction, perfect or irregular."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from frontglass.checks import check_not_negative, check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.bands import Band
from frontglass.optics.psf import FloatArray

# A table step of this share of the thread's width holds transfer functions to q / 4000.
_TABLE_STEPS_PER_WIDTH = 256
_LARGEST_TABLE = 2**18
_FEWEST_FOR_A_TABLE = 4096
# Beyond this many standard deviations a Gaussian is below 1e-16 of its peak.
_REACH_SIGMAS = 8.5
_LONE_ORDERS = 16
_COUNTED_WAVES = 16
_STEPS_IN_AN_ORDER = 8
_STEPS_IN_AN_EVEN_STREAK = 3
"""Askew to the frame, points a step h [px] apart on a line err by about (h / 3)**2 on a pixel."""
_STEPS_IN_A_PEAK = 2
_STEPS_IN_A_NARROW_PEAK = 8
_WIDE_STEPS = 12
_TABLE_STEPS_PER_PEAK = 512
_TABLE_STEPS_PER_ORDER = 8
_DIM = 16
_TAIL_STEPS = 8
_DIM_TAIL_STEPS = 56
"""A prime times the steps of a pixel: mirrors a round number of pixels apart never bring points
back to the same pixels."""
_WASHED_DRIFT = 0.77
"""Orders, over pitch / drift, at which H of `Grating.diffuse` is below 1e-5."""


class LineOrders(NamedTuple):
    """Orders of a grating: angles [rad] along its own direction, and shares of the light."""

    numbers: FloatArray
    angles_rad: FloatArray
    shares: FloatArray


class Streak(NamedTuple):
    """Light along one direction: angles [rad], and shares of all the light."""

    angles_rad: FloatArray
    shares: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Grating:
    """Parallel threads (opaque) or grooves (clear, but out of phase).

    Parameters
    ----------
    pitch_m : float
        Mean distance from thread to thread. [m], > 0.
    width_m : float
        Of a thread. [m], in [0, pitch / 2]; 0 is none.
    phase_rad : float, optional
        Phase by which light through a groove lags; without it the threads are opaque. [rad]
    jitter_m : float
        Irregularity of the first kind: standard deviation of each thread about its place on
        a perfect grid. [m], >= 0.
    drift_m : float
        Irregularity of the second kind: standard deviation of each spacing, errors adding up
        from thread to thread. [m], >= 0.

    Raises
    ------
    ParameterError
        If a value is out of range, or threads would often lie over their neighbours.

    Notes
    -----
    With the cover q = width / pitch and theta(x) = 1 on the threads, the correlation of the
    light behind the grating at a shift s is ``1 - contrast (q - P(s)) / transmittance``, with
    P(s) the mean of theta(x) theta(x + s), contrast 1 for opaque threads and 2 (1 - cos phase)
    for grooves. P is a sum over pairs of threads n apart, each the triangle of half-width
    `width` about n pitch, blurred by the variance of that distance: 2 jitter**2 + n drift**2.
    A Gaussian band of wavelengths blurs it once more, so its mean is in closed form too.

    References
    ----------
    [Goodman2005] sec. 4.4 for gratings; [Hosemann1962] for the two kinds of irregularity.
    """

    pitch_m: float
    width_m: float
    phase_rad: float | None = None
    jitter_m: float = 0.0
    drift_m: float = 0.0

    def __post_init__(self) -> None:
        pitch = check_positive("pitch_m", self.pitch_m)
        if not check_not_negative("width_m", self.width_m) <= pitch / 2:
            raise ParameterError(
                "width_m", f"at most half of the pitch, {pitch / 2:g}", self.width_m
            )
        if self.phase_rad is not None:
            check_number("phase_rad", self.phase_rad)
        jitter = check_not_negative("jitter_m", self.jitter_m)
        drift = check_not_negative("drift_m", self.drift_m)
        spread, gap = math.sqrt(2 * jitter**2 + drift**2), pitch - self.width_m
        if 3 * spread > gap:
            rule = f"such that three standard deviations of a spacing fit in the gap of {gap:g}"
            hint = "Threads that lie over one another are outside this model."
            raise ParameterError("jitter_m and drift_m", rule, (jitter, drift), hint)

    @property
    def cover(self) -> float:
        """Share of the area under threads. [1], in [0, 1/2]."""
        return self.width_m / self.pitch_m

    @property
    def contrast(self) -> float:
        """Squared modulus of what a thread takes away from the field. [1], in [0, 4]."""
        return 1.0 if self.phase_rad is None else 2 * (1 - math.cos(self.phase_rad))

    @property
    def transmittance(self) -> float:
        """Light that leaves over light that enters. [1], in [1/2, 1]."""
        return 1 - self.cover if self.phase_rad is None else 1.0

    @property
    def direct(self) -> float:
        """Zero order over all light that leaves. [1], in [0, 1]."""
        deviated = self.contrast * self.cover * (1 - self.cover) / self.transmittance
        return max(1 - deviated, 0.0)

    def at_strength(self, strength: float) -> Self:
        """Return the same pitch with more or fewer threads' width: ``direct**strength``.

        Raises
        ------
        ParameterError
            If no cover up to one half takes so much.
        """
        kept = self.direct ** check_not_negative("strength", strength)
        if self.phase_rad is None:
            cover = 1 - kept
        else:
            # contrast q (1 - q) = 1 - kept
            under = 0.25 - (1 - kept) / self.contrast if self.contrast else 0.25
            cover = 0.5 - math.sqrt(under) if under >= 0 else 1.0
        if cover > 0.5:
            hint = "At one half the threads are as wide as the gaps between them."
            raise ParameterError("strength", "such that the cover stays below 1/2", strength, hint)
        return replace(self, width_m=cover * self.pitch_m)

    def correlation(self, shift_m: ArrayLike) -> FloatArray:
        """Transfer function at shifts s = wavelength x frequency [m], one wavelength; 1 at 0."""
        shift = np.abs(np.asarray(shift_m, dtype=np.float64))
        if not self.width_m:
            return np.ones_like(shift)
        if not (self.jitter_m or self.drift_m):
            away = np.abs(shift - self.pitch_m * np.rint(shift / self.pitch_m))
            lost = np.minimum(away, self.width_m) / self.pitch_m
            return np.asarray(1 - self.contrast / self.transmittance * lost)
        return self._looked_up(shift, 0.0)

    def band_transfer(self, f_per_rad: ArrayLike, band: Band) -> FloatArray:
        """Transfer function at frequencies [cycles/rad] across the threads, mean over a band."""
        frequency = np.abs(np.asarray(f_per_rad, dtype=np.float64))
        if not self.width_m:
            return np.ones_like(frequency)
        return self._looked_up(frequency * band.centre_m, band.sigma_m / band.centre_m)

    def orders(self, wavelength_m: float, *, highest: int) -> LineOrders:
        """Orders from -highest to highest, in angles along the direction across the threads.

        Notes
        -----
        Order m != 0 holds ``contrast q**2 sinc(m q)**2 exp(-(2 pi m jitter / pitch)**2)`` of the
        light over the transmittance. Any drift leaves the zero order only: the others are peaks
        of finite width, part of `diffuse`.
        """
        check_positive("wavelength_m", wavelength_m)
        m = np.arange(-highest, highest + 1, dtype=np.float64)
        efficiency = self.contrast * (self.cover * np.sinc(m * self.cover)) ** 2
        shares = efficiency / self.transmittance
        shares *= np.exp(-((2 * np.pi * m * self.jitter_m / self.pitch_m) ** 2))
        if self.drift_m:
            shares[:] = 0.0
        shares[highest] = self.direct
        return LineOrders(m, m * wavelength_m / self.pitch_m, shares)

    def diffuse(self, angle_rad: ArrayLike, wavelength_m: float) -> FloatArray:
        """Light that irregular threads spread continuously, share of all per radian.

        Notes
        -----
        The envelope of one thread, times ``1 + D ((1 - H**2) / (1 + H**2 - 2 H cos phi) - 1)``,
        with phi = 2 pi pitch angle / wavelength, D = exp(-(2 pi jitter nu)**2), H =
        exp(-2 (pi drift nu)**2), nu = angle / wavelength. Without drift the fraction is the comb of
        `orders`, and counts as 0 here.
        """
        check_positive("wavelength_m", wavelength_m)
        nu = np.asarray(angle_rad, dtype=np.float64) / wavelength_m
        kept, loss = self._structure(nu)
        structure = -np.expm1(-((2 * np.pi * self.jitter_m * nu) ** 2))
        if self.drift_m:
            # 1 + H**2 - 2 H cos phi, without cancellation where it is small.
            below = loss**2 + 4 * (1 - loss) * np.sin(np.pi * self.pitch_m * nu) ** 2
            safe = np.where(below > 0, below, 1.0)
            limit = (self.drift_m / self.pitch_m) ** 2
            structure += kept * np.where(below > 0, loss * (2 - loss) / safe, limit)
        return self._envelope(nu) * structure / wavelength_m

    def masses(
        self, nodes_rad: FloatArray, wavelengths_m: FloatArray, *, orders_above: int = 0
    ) -> FloatArray:
        """Deviated light gathered on angles, wavelength by wavelength.

        Parameters
        ----------
        nodes_rad : ndarray, shape (N,)
            Angles, rising; the first and the last only bound what the others gather. [rad]
        wavelengths_m : ndarray, shape (M,)
            [m], > 0.
        orders_above : int
            Orders up to this one are left out. >= 0.

        Returns
        -------
        ndarray, shape (M, N - 2)
            Shares of all the light that leaves, zero order left out, on the inner nodes.

        Notes
        -----
        Light between two nodes is divided between them so that its mean angle stays: what a node
        gathers is a difference of slopes of the light summed up twice, which depends on angle over
        wavelength alone. One table of it serves all wavelengths.
        """
        nu = np.abs(nodes_rad) / np.asarray(wavelengths_m)[:, np.newaxis]
        at, light = self._deviated(float(nu.max()), orders_above)
        gathered = np.concatenate([[0.0], np.cumsum(np.cumsum(light)[:-1] * np.diff(at))])
        slopes = np.diff(np.interp(nu, at, gathered)) / np.diff(nodes_rad)
        # Differences of slopes leave rounding where there is no light.
        return np.asarray(np.maximum(np.diff(slopes) * np.c_[wavelengths_m], 0.0))

    def _deviated(self, reach_per_m: float, orders_above: int) -> tuple[FloatArray, FloatArray]:
        """Angles over wavelength from 0 beyond a reach, rising, and the light next to each.

        At 0, where the light on either side meets, only one half.
        """
        last = math.ceil(reach_per_m * self.pitch_m) + 1
        fine = 0
        if self.drift_m:
            # Farther out the peaks that a drift leaves lie over one another, to 1e-5.
            fine = min(last, math.ceil(_WASHED_DRIFT * self.pitch_m / self.drift_m))
        per_peak = min(_TABLE_STEPS_PER_PEAK, _LARGEST_TABLE // max(fine, 1))
        peaks = np.arange(fine * per_peak, dtype=np.float64) / per_peak
        washed = np.arange(fine * _TABLE_STEPS_PER_ORDER, last * _TABLE_STEPS_PER_ORDER + 1)
        at = np.concatenate([peaks, washed / _TABLE_STEPS_PER_ORDER]) / self.pitch_m
        edges = np.concatenate([[0.0], (at[1:] + at[:-1]) / 2, at[-1:]])
        middle = (edges[1:] + edges[:-1]) / 2
        kept, loss = self._structure(middle)
        widths = np.diff(edges)
        light = -np.expm1(-((2 * np.pi * self.jitter_m * middle) ** 2)) * widths
        if self.drift_m:
            light += kept * _poisson_kernel_integral(edges, self.pitch_m, loss)
            light *= self._envelope(middle)
            # Between the zero order, which is left out, and the first it is smooth.
            near = middle * self.pitch_m < 1 / 4
            light[near] = self.diffuse(middle[near], 1.0) * widths[near]
            return at, light
        light *= self._envelope(middle)
        orders = self.orders(1.0, highest=last)
        members = slice(last + 1 + orders_above, None)
        light[::_TABLE_STEPS_PER_ORDER][1 + orders_above :] += orders.shares[members]
        return at, light

    def streak(self, band: Band, *, step_rad: float, reach_rad: float) -> Streak:
        """Deviated light of a band along the direction across the threads.

        Parameters
        ----------
        band : Band
            The channel's light.
        step_rad : float
            Between neighbouring points, at most. [rad], > 0.
        reach_rad : float
            Points lie within it, either way. [rad], > 0.

        Returns
        -------
        Streak
            Zero order left out.

        Notes
        -----
        Up to the sixteenth order every order is a streak by itself, at its exact angles. Farther
        out each lies over its neighbours evenly, to 1e-10, and only the envelope of a thread is
        left, into which they fade over the distance of an order. Beyond 16 times the width of the
        envelope only the mean of its ripples is left. Where the reach is more than 256 times that
        width, what lies beyond the reach is laid within it, in proportion to what lies beyond 256
        widths: no frame sees more of it than that mirrors fold it back along the same line.
        """
        check_positive("step_rad", step_rad)
        if not self.width_m:
            return Streak(np.zeros(0), np.zeros(0))
        spacing = band.centre_m / self.pitch_m
        near = min((_LONE_ORDERS + 0.5) * spacing, reach_rad)
        start = near - spacing if near < reach_rad else near
        parts = [self._lone_orders(band, step_rad, near), self._near_halo(band, step_rad, near)]
        parts = [Streak(at, light * _fading(at, start, near)) for at, light in parts]
        waves = max(near, min(_COUNTED_WAVES * band.centre_m / self.width_m, reach_rad))
        fine = min(step_rad, band.centre_m / self.width_m / 8)
        at, light = self._envelope_streak(band, fine, start, waves)
        parts.append(Streak(at, light * (1 - _fading(at, start, near))))
        dim = min(_DIM * waves, reach_rad)
        parts.append(self._tail(band, _TAIL_STEPS * step_rad, waves, dim))
        rest = self._tail(band, _DIM_TAIL_STEPS * step_rad, dim, reach_rad)
        if dim < reach_rad:
            rest = Streak(rest.angles_rad, rest.shares / (1 - dim / reach_rad))
        parts.append(rest)
        angles, shares = (np.concatenate(column) for column in zip(*parts, strict=True))
        return Streak(angles, shares)

    def _lone_orders(self, band: Band, step_rad: float, near_rad: float) -> Streak:
        angles, shares = [np.zeros(0)], [np.zeros(0)]
        highest = math.ceil(near_rad * self.pitch_m / (band.centre_m - 4 * band.sigma_m))
        orders = self.orders(band.centre_m, highest=highest)
        for number, share in zip(orders.numbers, orders.shares, strict=True):
            if number > 0 and share > 0:
                step = step_rad / _STEPS_IN_AN_ORDER * self.pitch_m / number
                wavelengths, weights = band.wavelengths(step)
                at = number * wavelengths / self.pitch_m
                inside = at < near_rad
                angles += [at[inside], -at[inside]]
                shares += 2 * [share * weights[inside]]
        return Streak(np.concatenate(angles), np.concatenate(shares))

    def _near_halo(self, band: Band, step_rad: float, near_rad: float) -> Streak:
        """Return what irregular threads spread among the lone orders."""
        if not (self.jitter_m or self.drift_m):
            return Streak(np.zeros(0), np.zeros(0))
        if self.drift_m:
            # Peaks that a drift leaves move with the wavelength, as orders do. The first ones are
            # narrower than steps: as wide as 2 pi (m drift / pitch)**2 of the way to the next.
            wide = math.sqrt(_WIDE_STEPS * step_rad * band.centre_m / self.pitch_m / (2 * np.pi))
            narrow = min(wide * self.pitch_m / self.drift_m, near_rad)
            inner = np.arange(0.0, narrow, step_rad / _STEPS_IN_A_NARROW_PEAK)
            outer = np.arange(inner[-1], near_rad + step_rad, step_rad / _STEPS_IN_A_PEAK)
            nodes = both_ways(inner[1:], outer[1:])
            wavelengths, weights = band.wavelengths(band.centre_m * 4 * step_rad / near_rad)
            return Streak(nodes[1:-1], weights @ self.masses(nodes, wavelengths))
        half = math.ceil(near_rad / step_rad)
        at = np.asarray(np.arange(-half, half + 1) * step_rad, dtype=np.float64)
        shares = np.zeros_like(at)
        for wavelength, weight in zip(*band.wavelengths(band.sigma_m / 4), strict=True):
            shares += weight * step_rad * self.diffuse(at, float(wavelength))
        return Streak(at, shares)

    def _envelope_streak(
        self, band: Band, step_rad: float, start_rad: float, end_rad: float
    ) -> Streak:
        count = math.ceil((end_rad - start_rad) / step_rad)
        if count <= 0:
            return Streak(np.zeros(0), np.zeros(0))
        step = (end_rad - start_rad) / count
        nodes = start_rad + np.arange(count + 1) * step
        density = np.zeros(count + 1)
        for wavelength, weight in zip(*band.wavelengths(band.sigma_m / 8), strict=True):
            density += weight / wavelength * self._envelope(nodes / wavelength)
        fine = step / _STEPS_IN_AN_EVEN_STREAK
        at = start_rad + (np.arange(count * _STEPS_IN_AN_EVEN_STREAK) + 0.5) * fine
        shares = np.interp(at, nodes, density) * fine
        return Streak(np.concatenate([at, -at]), np.tile(shares, 2))

    def _tail(self, band: Band, step_rad: float, start_rad: float, end_rad: float) -> Streak:
        """Mean of the envelope's ripples."""
        if not start_rad < end_rad:
            return Streak(np.zeros(0), np.zeros(0))
        count = math.ceil((end_rad - start_rad) / step_rad - 1e-6)
        # Mirrors fold it many times over the frame: equal steps cover all of it alike.
        edges = start_rad + step_rad * np.arange(count + 1.0)
        edges[-1] = end_rad
        strength = self.contrast * band.centre_m / (2 * self.transmittance * self.pitch_m)
        shares = strength / np.pi**2 * -np.diff(1 / edges)
        # The mean angle of what falls off with the square of the angle.
        at = np.log(edges[1:] / edges[:-1]) / -np.diff(1 / edges)
        return Streak(np.concatenate([at, -at]), np.tile(shares, 2))

    def _envelope(self, nu_per_m: FloatArray) -> FloatArray:
        """Light of one thread alone, times threads per metre; share of all per cycle/m."""
        one = (self.width_m * np.sinc(self.width_m * nu_per_m)) ** 2
        return np.asarray(self.contrast / self.transmittance / self.pitch_m * one)

    def _structure(self, nu_per_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """D and 1 - H of the formula of `diffuse`."""
        kept = np.exp(-((2 * np.pi * self.jitter_m * nu_per_m) ** 2))
        loss = -np.expm1(-2 * (np.pi * self.drift_m * nu_per_m) ** 2)
        return np.asarray(kept), np.asarray(loss)

    def _looked_up(self, shift_m: FloatArray, relative_sigma: float) -> FloatArray:
        """Correlation by a table, shifts blurred by `relative_sigma` of themselves."""
        largest = float(shift_m.max(initial=0.0))
        if shift_m.size < _FEWEST_FOR_A_TABLE:
            return self._blurred(np.atleast_1d(shift_m), relative_sigma).reshape(shift_m.shape)
        wanted = math.ceil(largest / self.width_m * _TABLE_STEPS_PER_WIDTH)
        nodes = np.linspace(0.0, largest, min(max(wanted, 2), _LARGEST_TABLE) + 1)
        table = self._blurred(nodes, relative_sigma)
        return np.interp(shift_m.ravel(), nodes, table).reshape(shift_m.shape)

    def _blurred(self, shift_m: FloatArray, relative_sigma: float) -> FloatArray:
        band = (relative_sigma * shift_m) ** 2
        largest = float(shift_m.max(initial=0.0))
        pairs = triangle_through_gaussian(shift_m, self.width_m, np.sqrt(band))
        origin = self.width_m
        last = _last_pair(largest, relative_sigma, self)
        for n in range(1, last + 1):
            own = 2 * self.jitter_m**2 + n * self.drift_m**2
            sigma = np.sqrt(band + own)
            for place in (n * self.pitch_m, -n * self.pitch_m):
                away = shift_m - place
                near = np.abs(away) < self.width_m + _REACH_SIGMAS * sigma
                if np.any(near):
                    pairs[near] += triangle_through_gaussian(away[near], self.width_m, sigma[near])
            at_zero = np.array([n * self.pitch_m])
            origin += 2 * float(
                triangle_through_gaussian(at_zero, self.width_m, np.array([math.sqrt(own)]))[0]
            )
        lost = (origin - pairs) / self.pitch_m
        return np.asarray(1 - self.contrast / self.transmittance * lost)


def _last_pair(largest_shift_m: float, relative_sigma: float, grating: Grating) -> int:
    """Return how many threads apart a pair may be and still count at a shift."""
    reach = largest_shift_m * (1 + _REACH_SIGMAS * relative_sigma) + grating.width_m
    n = reach / grating.pitch_m + 1
    for _ in range(8):
        sigma = math.sqrt(2 * grating.jitter_m**2 + n * grating.drift_m**2)
        n = (reach + _REACH_SIGMAS * sigma) / grating.pitch_m + 1
    return math.ceil(n)


def triangle_through_gaussian(x: FloatArray, width: float, sigma: FloatArray) -> FloatArray:
    """Triangle of height and half-width `width` about 0, blurred by a Gaussian, at x."""
    total = np.zeros_like(x)
    for offset, factor in ((width, 1.0), (0.0, -2.0), (-width, 1.0)):
        # The ramp max(y, 0) blurred: the triangle is its second difference. Written with |y| so
        # that far away nothing is left to cancel but the ramp itself.
        y = x + offset
        safe = np.where(sigma > 0, sigma, 1.0)
        z = np.abs(y) / safe
        tail = np.exp(-(z**2) / 2) / math.sqrt(2 * np.pi) - z * special.ndtr(-z)
        total += factor * (np.maximum(y, 0.0) + np.where(sigma > 0, safe * tail, 0.0))
    return total


def both_ways(*outwards: FloatArray) -> FloatArray:
    """Angles away from 0, rising, as angles from the farthest on one side to that on the other."""
    away = np.concatenate(outwards)
    return np.concatenate([-away[::-1], [0.0], away])


def _fading(angle_rad: FloatArray, start_rad: float, end_rad: float) -> FloatArray:
    """1 within `start_rad`, 0 beyond `end_rad`, a straight line between."""
    if start_rad == end_rad:
        return np.ones_like(angle_rad)
    return np.clip((end_rad - np.abs(angle_rad)) / (end_rad - start_rad), 0.0, 1.0)


def _poisson_kernel_integral(edges: FloatArray, pitch_m: float, loss: FloatArray) -> FloatArray:
    """Integral of (1 - H**2) / (1 + H**2 - 2 H cos 2 pi pitch nu) over bins, H fixed in each."""
    h = 1 - loss
    turns = np.rint(pitch_m * edges)
    tangent = np.tan(np.pi * (pitch_m * edges - turns))

    def until(side: slice) -> FloatArray:
        angle = np.arctan2((1 + h) * tangent[side], loss)
        return np.asarray((turns[side] + angle / np.pi) / pitch_m)

    return until(slice(1, None)) - until(slice(None, -1))
