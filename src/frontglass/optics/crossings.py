"""Light that two gratings deviate both: the plane between their arms, laid out as points."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from frontglass.optics.bands import REACH_SIGMAS, Band
from frontglass.optics.gratings import Grating, LineOrders, both_ways
from frontglass.optics.psf import FloatArray

LONE_ORDERS = 12
FINE_STEPS = 5
BRIGHT_ENVELOPES = 2.5
MUCH_LIGHT = 0.01
"""Of what both deviate; more of it, behind grooves say, must be laid finer. Threads a tenth as wide
as their pitch deviate as much."""
MORE_LONE_ORDERS = 24
MORE_BRIGHT_ENVELOPES = 5.0
FEW_STEPS = 480
"""More of a thread's pattern costs little where it is no more steps than these."""
FEWEST_STEPS_IN_AN_ORDER = 6
"""Where peaks that a drift leaves are so close together, half steps show what lies between."""
FAINT_ENVELOPES = 16.0
GOLDEN = (1 + math.sqrt(5)) / 2
MOST_WAVELENGTHS = 401
NO_LIGHT = 1e-12


class Crossings(NamedTuple):
    """Points of light: angles [rad] across the one and across the other grating, and shares."""

    one_rad: FloatArray
    other_rad: FloatArray
    shares: FloatArray


class _Zones(NamedTuple):
    """Where the plane shows peaks, where light of all orders lies evenly, and where it is faint.

    Angles along either arm, rising: those among which the peaks of both gratings are laid, those
    beside the even light of the other grating, and those beside its faint light.
    """

    among_peaks: FloatArray
    beside_even: FloatArray
    beside_faint: FloatArray
    even_from: float
    faint_from: float


def crossings(
    one: Grating, other: Grating, band: Band, *, step_rad: float, reach_rad: float
) -> list[Crossings]:
    """Light that both gratings deviate, as points.

    Parameters
    ----------
    one, other : Grating
        Across different directions.
    band : Band
        The channel's light.
    step_rad : float
        Half a pixel. [rad], > 0.
    reach_rad : float
        Points lie within it, either way. [rad], > 0.

    Returns
    -------
    list of Crossings
        In any order.

    Notes
    -----
    Orders that may be told apart are laid at their exact angles, all else on steps. Peaks that a
    drift leaves have no exact angles: where they are narrow they are laid on finer steps. Left out
    is what either deviates beyond 16 times the width of a thread's own pattern, and what
    both deviate beyond a few orders and one beyond 2.5 times that width, or 5 times where that
    takes few steps. Steps are half as long where the two deviate much, or orders that drift lie
    close together.
    """
    if not (one.width_m and other.width_m):
        return []
    lone = LONE_ORDERS
    if (1 - one.direct) * (1 - other.direct) > MUCH_LIGHT:
        step_rad, lone = step_rad / 2, MORE_LONE_ORDERS
    if one.drift_m or other.drift_m:
        lone = 0
        if step_rad > _spacing(one, other, band) / FEWEST_STEPS_IN_AN_ORDER:
            step_rad /= 2
    zones = _zones(one, other, band, step_rad, reach_rad)
    wavelengths, weights = _wavelengths(one, other, band, step_rad, zones)
    light = {
        (grating, index): _Light.of(grating, nodes, wavelengths, lone)
        for grating in {one, other}
        for index, nodes in enumerate(zones[:3])
    }
    ends = (0.0, zones.even_from, zones.faint_from, math.inf)
    inner, even, faint = 0, 1, 2
    parts = []
    # Along either grating: which angles, and the zone of them.
    for (i, from_i), (j, from_j) in (
        ((inner, inner), (inner, inner)),
        ((even, inner), (inner, even)),
        ((inner, even), (even, inner)),
        ((even, even), (even, even)),
        ((faint, inner), (inner, faint)),
        ((inner, faint), (faint, inner)),
    ):
        rows = light[one, i].within(ends[from_i], ends[from_i + 1])
        columns = light[other, j].within(ends[from_j], ends[from_j + 1])
        parts.append(_products(rows, columns, weights))
    if lone:
        reach = float(zones.among_peaks[-1])
        first, second = (g.orders(band.centre_m, highest=lone) for g in (one, other))
        parts.append(_lone_crossings(first, second, band, step_rad / 2, reach))
    return parts


class _Light(NamedTuple):
    """Light on angles, a row for each wavelength: all of it, and that of the lone orders."""

    at_rad: FloatArray
    whole: FloatArray
    lone: FloatArray | None

    @staticmethod
    def of(grating: Grating, nodes: FloatArray, wavelengths: FloatArray, lone: int) -> _Light:
        whole = grating.masses(nodes, wavelengths)
        rest = grating.masses(nodes, wavelengths, orders_above=lone) if lone else None
        return _Light(nodes[1:-1], whole, None if rest is None else whole - rest)

    def within(self, start: float, end: float) -> _Light:
        """Return what lies beyond `start` and not beyond `end`; the middle counts as beyond 0."""
        away = np.abs(self.at_rad) * (1 - 1e-9)  # nodes at a border are there but for rounding
        chosen = (away <= end) & ((away > start) | (start == 0))
        lone = None if self.lone is None else self.lone[:, chosen]
        return _Light(self.at_rad[chosen], self.whole[:, chosen], lone)


def _products(rows: _Light, columns: _Light, weights: FloatArray) -> Crossings:
    shares = (rows.whole * np.c_[weights]).T @ columns.whole
    if rows.lone is not None and columns.lone is not None:
        shares -= (rows.lone * np.c_[weights]).T @ columns.lone
    i, j = np.nonzero(shares > NO_LIGHT)
    return Crossings(rows.at_rad[i], columns.at_rad[j], shares[i, j])


def _zones(one: Grating, other: Grating, band: Band, step_rad: float, reach_rad: float) -> _Zones:
    """Of two gratings and a channel; steps near the lamp are parts or multiples of a pixel."""
    px = 2 * step_rad
    spacing = _spacing(one, other, band)
    envelope = band.centre_m / min(one.width_m, other.width_m)
    # The band smears order m over m sigma; at 0.6 / sigma all that is left of peaks is 1e-3.
    peaks = 0.6 * band.centre_m / band.sigma_m * spacing
    # A drift makes peak m as wide as 2 pi (m drift / pitch)**2 of the way to the next one.
    drift = max(one.drift_m / one.pitch_m, other.drift_m / other.pitch_m)
    narrow = math.sqrt(1.5 * px * spacing / (2 * math.pi)) / drift if drift else 0.0
    bright = min(MORE_BRIGHT_ENVELOPES * envelope, FEW_STEPS * step_rad)
    bright = max(bright, BRIGHT_ENVELOPES * envelope)
    wanted = (min(narrow, peaks), peaks, bright, FAINT_ENVELOPES * envelope)
    on_pixels = [px * math.ceil(min(end, reach_rad) / px) for end in wanted]
    narrow, peaks, bright, faint = np.maximum.accumulate(on_pixels).tolist()
    bright, faint = max(bright, peaks + px), max(faint, bright + 2 * px)
    smooth = px / math.ceil(48 * px / envelope)
    smoother = min(max(int(envelope / 32 / px), 1), 2) * px
    # Mirrors fold these over the frame many times: steps of an odd length never meet on it.
    odd = GOLDEN * min(px, bright / 200)
    middle = min(2.5 * bright, faint)
    far = np.concatenate([_steps(bright, middle, odd), _steps(middle, faint, GOLDEN**2 * odd)])
    # The first crossings are the brighter the nearer they are: a 40th of the way to them serves.
    first = min(narrow, px * math.ceil(2.5 * spacing / px))
    finest = px / max(FINE_STEPS, math.ceil(40 * px / spacing))
    fine = np.concatenate([_steps(0.0, first, finest), _steps(first, narrow, px / FINE_STEPS)])
    coarser = _steps(0.0, peaks, step_rad)
    # Light between two zones is divided alike on both sides, since they share the next step.
    next_step = np.array([peaks + smooth])
    return _Zones(
        both_ways(fine, _steps(narrow, peaks, step_rad), _steps(peaks, bright, smooth), far),
        both_ways(coarser, next_step, _steps(peaks + smooth, bright, smoother), far[:1]),
        both_ways(_steps(0.0, peaks, px), next_step),
        peaks,
        bright,
    )


def _spacing(one: Grating, other: Grating, band: Band) -> float:
    """Angle from order to order, of the wider set."""
    return band.centre_m / min(one.pitch_m, other.pitch_m)


def _steps(start: float, end: float, largest: float) -> FloatArray:
    """Equal steps from `start`, which is left out, to `end`."""
    count = max(math.ceil((end - start) / largest - 1e-6), 0)
    return np.asarray(start + (end - start) * np.arange(1.0, count + 1) / max(count, 1))


def _wavelengths(
    one: Grating, other: Grating, band: Band, step_rad: float, zones: _Zones
) -> tuple[FloatArray, FloatArray]:
    """Wavelengths so close that a peak moves by less than a step from each to the next.

    Farther out, where the streaks of neighbouring orders overlap, less than their distance serves.
    """
    spacing = _spacing(one, other, band)
    relative = min(step_rad / zones.even_from, 0.7 * spacing / float(zones.among_peaks[-1]))
    least = 2 * REACH_SIGMAS * band.sigma_m / (MOST_WAVELENGTHS - 1)
    return band.wavelengths(max(band.centre_m * relative, least))


def _lone_crossings(
    rows: LineOrders, columns: LineOrders, band: Band, step_rad: float, reach_rad: float
) -> Crossings:
    """Return the first orders of both gratings, as streaks towards the lamp."""
    parts = [Crossings(np.zeros(0), np.zeros(0), np.zeros(0))]
    # The positive ones: the others are their mirror images.
    first = slice(rows.shares.size // 2 + 1, None)
    for u, row_share in zip(rows.angles_rad[first], rows.shares[first], strict=True):
        for v, share in zip(columns.angles_rad[first], columns.shares[first], strict=True):
            wavelengths, weights = band.wavelengths(band.centre_m * step_rad / (u + v))
            ratio = wavelengths / band.centre_m
            inside = ratio * max(u, v) <= reach_rad
            x, y = ratio[inside] * u, ratio[inside] * v
            light = row_share * share * weights[inside]
            parts += [Crossings(i * x, j * y, light) for i in (1, -1) for j in (1, -1)]
    return Crossings(*(np.concatenate(column) for column in zip(*parts, strict=True)))
