"""Parallel threads or grooves: a grating across one direction, perfect or irregular."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple, Self

import numpy as np
import scipy
from numpy.typing import ArrayLike

from frontglass.accuracy import ACCURACY
from frontglass.checks import check_not_negative, check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.bands import Band
from frontglass.optics.even_spline import EvenSpline
from frontglass.optics.psf import FloatArray

# Beyond this many standard deviations a Gaussian is below 1e-16 of its peak.
_REACH_SIGMAS = 8.5


class LineOrders(NamedTuple):
    """Positive orders of a grating: their numbers, whole or not, and shares of the light."""

    numbers: FloatArray
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
    With the cover q = width / pitch and theta(x) = 1 on the threads, the autocorrelation of the
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
            rule = f"at most half of the pitch, {pitch / 2:g}"
            raise ParameterError("width_m", rule, self.width_m)
        if self.phase_rad is not None:
            check_number("phase_rad", self.phase_rad)
        jitter = check_not_negative("jitter_m", self.jitter_m)
        drift = check_not_negative("drift_m", self.drift_m)
        spread, gap = math.hypot(math.sqrt(2) * jitter, drift), pitch - self.width_m
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
        direct = self.direct ** check_not_negative("strength", strength)
        if self.phase_rad is None:
            cover = 1 - direct
        else:
            # contrast q (1 - q) = 1 - direct
            under = 0.25 - (1 - direct) / self.contrast if self.contrast else 0.25
            cover = 0.5 - math.sqrt(under) if under >= 0 else 1.0
        if cover > 0.5:
            hint = "At one half the threads are as wide as the gaps between them."
            raise ParameterError("strength", "such that the cover stays below 1/2", strength, hint)
        return replace(self, width_m=cover * self.pitch_m)

    def band_transfer(self, f_per_rad: ArrayLike, band: Band) -> FloatArray:
        """Transfer function at frequencies [cycles/rad] across the threads, mean over a band."""
        f = np.abs(np.asarray(f_per_rad, dtype=np.float64))
        if not self.width_m:
            return np.ones_like(f)
        if f.size >= ACCURACY.fewest_for_a_table:
            return self.band_table(float(f.max()), band)(f)
        shift = np.atleast_1d(f * band.centre_m)
        return self._blurred(shift, band.sigma_m / band.centre_m).reshape(f.shape)

    def band_table(self, highest_per_rad: float, band: Band) -> Callable[[FloatArray], FloatArray]:
        """Table of it from frequency 0 to some other [cycles/rad]; there are threads."""
        largest, steps = highest_per_rad * band.centre_m, ACCURACY.table_steps_per_thread
        relative = band.sigma_m / band.centre_m

        def count(steps_in_all: float) -> int:
            return min(max(math.ceil(steps_in_all), 3), ACCURACY.largest_table) + 1

        if not relative:
            nodes = np.linspace(0.0, largest, count(largest / self.width_m * steps))
            return EvenSpline(0, highest_per_rad, self._blurred(nodes, relative))
        # Nothing is narrower than the band has blurred it, which goes with the shift.
        unit = self.width_m / relative
        end = math.asinh(largest / unit)
        nodes = unit * np.sinh(np.linspace(0.0, end, count(end / relative * steps)))
        table = EvenSpline(0, end, self._blurred(nodes, relative))
        return lambda f_per_rad: table(np.arcsinh(f_per_rad * (band.centre_m / unit)))

    def orders(
        self,
        highest: int,
        parts_of_a_peak: tuple[float, ...] = ACCURACY.parts_of_a_peak,
    ) -> LineOrders:
        """Orders from 1 to `highest`, those to the other side being their mirror images.

        Of peaks that a drift has widened into one another, what lies between half orders.

        Notes
        -----
        Order m holds ``contrast q**2 sinc(m q)**2 exp(-(2 pi m jitter / pitch)**2)`` of the light
        over the transmittance. A drift widens it into the peak ``(1 - H**2) / (1 + H**2 - 2 H
        cos(2 pi m))``, H = exp(-2 (pi m drift / pitch)**2), which a few places between whole
        numbers stand for, each in the middle of its share.
        """
        at = np.arange(1.0, highest + 1)
        light = np.ones_like(at)
        if self.drift_m:
            told_apart = ACCURACY.drifts_told_apart * self.pitch_m / self.drift_m
            near, far = at[at <= told_apart], at[at > told_apart]
            count = ACCURACY.parts_before_a_peak
            foot = (np.arange(count) + 0.5) / count / 2
            places = [
                (foot, self._peak(foot, foot) / count / 2),
                self._parts_of_peaks(near, np.array(parts_of_a_peak)),
                self._parts_of_peaks(far, np.array(ACCURACY.parts_of_the_rest)),
            ]
            at, light = (np.concatenate(column) for column in zip(*places, strict=True))
        return LineOrders(at, light * self._debye_waller(at) * self._of_a_thread(at))

    def strewn_orders(self, highest: int, parts: int) -> LineOrders:
        """Return what jitter takes from orders and strews between, in so many parts for each."""
        if not (self.jitter_m and parts):
            return LineOrders(np.zeros(0), np.zeros(0))
        between = (np.arange(math.ceil(parts * (highest + 0.5))) + 0.5) / parts
        strewn = self.strewn(between)
        # However many parts there are, all together hold the same.
        return LineOrders(between, strewn * (self.strewn_within(highest + 0.5) / strewn.sum()))

    def strewn(self, number: FloatArray) -> FloatArray:
        """Share of light that jitter strews at orders, whole or not, for each order's distance."""
        return self._of_a_thread(number) * (1 - self._debye_waller(number))

    def strewn_within(self, end: float) -> float:
        """Share of light that jitter strews to one side from the lamp to an order, whole or not."""
        step = end / math.ceil(end * ACCURACY.strewn_steps)
        return float(self.strewn(np.arange(step / 2, end, step)).sum() * step)

    def _of_a_thread(self, order: FloatArray) -> FloatArray:
        """Share of light that order has of an even grating, or would have between whole numbers."""
        amplitude = self.cover * np.sinc(order * self.cover)
        return np.asarray(self.contrast / self.transmittance * amplitude**2)

    def _debye_waller(self, order: FloatArray) -> FloatArray:
        """Share of an order's light that jitter leaves in it."""
        return np.asarray(np.exp(-((2 * np.pi * order * self.jitter_m / self.pitch_m) ** 2)))

    def _parts_of_peaks(
        self, number: FloatArray, edges: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Places of peaks' parts, and what share of its peak each holds.

        Parts hold what `edges` say of a peak whose width is that in its middle; the farther out,
        the wider it is, which nodes within each part weigh.
        """
        nodes, weights = np.polynomial.legendre.leggauss(3)
        widths = np.diff(edges)[:, np.newaxis]
        middle = np.pi * (edges[:-1, np.newaxis] + widths * (nodes + 1) / 2 - 0.5)
        order = number[:, np.newaxis, np.newaxis]
        at = order + np.arctan(self._half_loss(order) * np.tan(middle)) / np.pi
        light = widths * weights / 2 * self._peak(at, at) / self._peak(at, order)
        shares = light.sum(axis=-1)
        return ((light * at).sum(axis=-1) / shares).ravel(), shares.ravel()

    def _peak(self, at: FloatArray, order: FloatArray) -> FloatArray:
        """Light at orders, whole or not, as wide as at some, over what lies there without drift."""
        loss, turn = self._half_loss(order), np.pi * at
        return np.asarray(loss / ((loss * np.cos(turn)) ** 2 + np.sin(turn) ** 2))

    def _half_loss(self, order: FloatArray) -> FloatArray:
        return np.asarray(np.tanh((np.pi * order * self.drift_m / self.pitch_m) ** 2))

    def _blurred(self, shift_m: FloatArray, relative_sigma: float) -> FloatArray:
        """Autocorrelation, shifts blurred by `relative_sigma` of themselves."""
        band = (relative_sigma * shift_m) ** 2
        largest = float(shift_m.max(initial=0.0))
        pairs = triangle_through_gaussian(shift_m, self.width_m, np.sqrt(band))
        origin = self.width_m
        for n in range(1, self._last_pair(largest, relative_sigma) + 1):
            own = 2 * self.jitter_m**2 + n * self.drift_m**2
            sigma = np.sqrt(band + own)
            for place in (n * self.pitch_m, -n * self.pitch_m):
                away = shift_m - place
                near = np.abs(away) < self.width_m + _REACH_SIGMAS * sigma
                if np.any(near):
                    pairs[near] += triangle_through_gaussian(away[near], self.width_m, sigma[near])
            at_zero, blur = np.array([n * self.pitch_m]), np.array([math.sqrt(own)])
            origin += 2 * float(triangle_through_gaussian(at_zero, self.width_m, blur)[0])
        lost = (origin - pairs) / self.pitch_m
        return np.asarray(1 - self.contrast / self.transmittance * lost)

    def _last_pair(self, largest_shift_m: float, relative_sigma: float) -> int:
        """Return how many threads apart a pair may be and still count at a shift."""
        reach = largest_shift_m * (1 + _REACH_SIGMAS * relative_sigma) + self.width_m
        n = reach / self.pitch_m + 1
        for _ in range(8):
            sigma = math.sqrt(2 * self.jitter_m**2 + n * self.drift_m**2)
            n = (reach + _REACH_SIGMAS * sigma) / self.pitch_m + 1
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
        tail = np.exp(-(z**2) / 2) / math.sqrt(2 * np.pi) - z * scipy.special.ndtr(-z)
        total += factor * (np.maximum(y, 0.0) + np.where(sigma > 0, safe * tail, 0.0))
    return total
