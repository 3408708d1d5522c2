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
_STEPS_IN_A_PEAK = 2


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
        self, *, step_rad: float, half_count: int, wavelength_m: float, orders_above: int = 0
    ) -> FloatArray:
        """Deviated light gathered at angles (-half_count ... half_count) step_rad.

        Parameters
        ----------
        step_rad : float
            Between neighbours. [rad], > 0.
        half_count : int
            Number of angles to either side, >= 1.
        wavelength_m : float
            [m], > 0.
        orders_above : int
            Orders up to this one are left out. >= 0.

        Returns
        -------
        ndarray, shape (2 half_count + 1,)
            Shares of all the light that leaves, zero order left out. An order between two angles
            is divided between them so that its mean angle stays.
        """
        check_positive("step_rad", step_rad)
        places = np.arange(-half_count, half_count + 2, dtype=np.float64)
        edges: FloatArray = (places - 0.5) * (step_rad / wavelength_m)
        middle: FloatArray = (edges[1:] + edges[:-1]) / 2
        kept, loss = self._structure(middle)
        structure = -np.expm1(-((2 * np.pi * self.jitter_m * middle) ** 2)) * np.diff(edges)
        if self.drift_m:
            peaks = kept * _poisson_kernel_integral(edges, self.pitch_m, loss)
            near = step_rad / wavelength_m / 4  # around 0 the kernel's peak is the zero order
            # Between the zero order, which is left out, and the first it is smooth.
            between = np.abs(middle) * self.pitch_m < 0.25
            out = self._envelope(middle) * (structure + peaks)
            angles = np.maximum(np.abs(middle[between]), near) * wavelength_m
            out[between] = self.diffuse(angles, wavelength_m) * step_rad
            return np.asarray(out)
        out = self._envelope(middle) * structure
        highest = math.floor(half_count * step_rad * self.pitch_m / wavelength_m)
        orders = self.orders(wavelength_m, highest=highest)
        place = orders.angles_rad / step_rad + half_count
        left = np.clip(np.floor(place).astype(np.intp), 0, 2 * half_count - 1)
        shares = np.where(np.abs(orders.numbers) <= orders_above, 0.0, orders.shares)
        out += np.bincount(left, shares * (left + 1 - place), minlength=out.size)
        out += np.bincount(left + 1, shares * (place - left), minlength=out.size)
        return np.asarray(out)

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
        envelope only the mean of its ripples is left.
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
        at, light = self._envelope_streak(band, fine, start, waves, washed=False)
        parts.append(Streak(at, light * (1 - _fading(at, start, near))))
        even = min(4 * waves, reach_rad)
        parts.append(self._envelope_streak(band, step_rad, waves, even, washed=True))
        # So dim and even by now that coarser steps serve.
        parts.append(self._envelope_streak(band, 4 * step_rad, even, reach_rad, washed=True))
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
        wanted = step_rad / _STEPS_IN_A_PEAK if self.drift_m else step_rad
        half = math.ceil(near_rad / wanted - 0.5)
        step = near_rad / (half + 0.5)
        # Peaks that a drift leaves move with the wavelength, as orders do, and broaden with it.
        move = band.centre_m * 4 * step_rad / near_rad if self.drift_m else band.sigma_m / 4
        shares = np.zeros(2 * half + 1)
        at = np.asarray(np.arange(-half, half + 1) * step, dtype=np.float64)
        for wavelength, weight in zip(*(x.tolist() for x in band.wavelengths(move)), strict=True):
            if self.drift_m:
                shares += weight * self.masses(
                    step_rad=step, half_count=half, wavelength_m=wavelength
                )
            else:
                shares += weight * step * self.diffuse(at, wavelength)
        return Streak(at, shares)

    def _envelope_streak(
        self, band: Band, step_rad: float, start_rad: float, end_rad: float, *, washed: bool
    ) -> Streak:
        count = math.ceil((end_rad - start_rad) / step_rad)
        if count <= 0:
            return Streak(np.zeros(0), np.zeros(0))
        step = (end_rad - start_rad) / count
        at = start_rad + (np.arange(count) + 0.5) * step
        if washed:
            below = 2 * self.transmittance * self.pitch_m * (np.pi * at) ** 2
            density = self.contrast * band.centre_m / below
        else:
            density = np.zeros(count)
            for wavelength, weight in zip(*band.wavelengths(band.sigma_m / 8), strict=True):
                density += weight / wavelength * self._envelope(at / wavelength)
        return Streak(np.concatenate([at, -at]), np.tile(density * step, 2))

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
