"""Slanted edge: how well detail is held, from one edge in linear light."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_positive
from frontglass.errors import ParameterError
from frontglass.optics.psf import FloatArray

BINS_PER_PX = 4
LARGEST_ANGLE_DEG = 25.0
LARGEST_GAIN = 10.0
"""What the correction multiplies by at most: beyond it there is only noise to multiply."""
FIT_ROUNDS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeResponse:
    """What an edge says of detail across it.

    Parameters
    ----------
    frequency_per_px : ndarray
        From 0 to 1 in steps. [cycles/px], along the normal of the edge.
    amplitude : ndarray, of the same shape
        Modulus of the transform of the line spread, in units of light: at 0 the step of light that
        lies within the patch.
    slope, place_px : float
        Where the edge lies: pixels a row, and its place in row 0; rows are columns where it is
        nearer the horizontal. [1], [px]

    Notes
    -----
    `amplitude` of one picture over that of another of the same edge is the transfer function of
    what came between, wherever its light went: a patch too small for a wide halo would hide the
    halo from `mtf`, whose 1 is the light that stayed within the patch.
    """

    frequency_per_px: FloatArray
    amplitude: FloatArray
    slope: float
    place_px: float

    @property
    def mtf(self) -> FloatArray:
        """Modulation transfer, 1 at frequency 0."""
        return np.asarray(self.amplitude / self.amplitude[0])


def first_fall(frequency: FloatArray, transfer: FloatArray, level: float) -> float:
    """First frequency at which a transfer that starts at 1 falls to `level`; nan if it never does.

    Raises
    ------
    ParameterError
        If the level is not in (0, 1).
    """
    if not 0 < level < 1:
        raise ParameterError("level", "in (0, 1)", level)
    below = np.flatnonzero(transfer < level)
    if not below.size or below[0] == 0:
        return math.nan
    after = int(below[0])
    high, low = float(transfer[after - 1]), float(transfer[after])
    part = (high - level) / (high - low)
    left, right = float(frequency[after - 1]), float(frequency[after])
    return left + part * (right - left)


def derivative_response(frequency_per_px: ArrayLike) -> FloatArray:
    """Transfer of the two-sided difference that turns the binned edge into a line spread.

    Notes
    -----
    Half the difference of neighbours two bins apart: ``sin(x) / x`` with x = 2 pi f / 4. The
    formula printed for it in one edition of the standard is a misprint; this is the corrected one.

    References
    ----------
    [ISO12233] slanted-edge analysis, correction of the derivative filter.
    """
    return np.asarray(np.sinc(2 * np.asarray(frequency_per_px) / BINS_PER_PX))


def bin_response(frequency_per_px: ArrayLike) -> FloatArray:
    """Transfer of averaging over a bin a quarter of a pixel wide."""
    return np.asarray(np.sinc(np.asarray(frequency_per_px) / BINS_PER_PX))


def edge_response(
    light: ArrayLike,
    *,
    where: EdgeResponse | None = None,
    corrected_for: FloatArray | None = None,
) -> EdgeResponse:
    """Response of one slanted edge that crosses a patch from side to side.

    Parameters
    ----------
    light : array_like, shape (H, W)
        Linear light; the edge within 25 degrees of the vertical or the horizontal, but neither.
    where : EdgeResponse or None
        Response of another picture of the same edge, whose place holds here too; None finds it.
    corrected_for : ndarray or None
        Transfer, at the frequencies returned, to divide out; None is that of difference and bins.

    Returns
    -------
    EdgeResponse
        Up to one cycle per pixel.

    Raises
    ------
    ParameterError
        If the patch is smaller than 16 px a side, not finite, or holds no such edge.

    Notes
    -----
    A line through the middles of the rows' own edges; all pixels laid into bins a quarter of a
    pixel wide by their distance from it; a difference; a Hamming window round its peak; transform.

    References
    ----------
    [ISO12233] e-SFR.
    """
    patch = _upright_patch(light)
    slope, middle = _edge_line(patch) if where is None else (where.slope, where.place_px)
    angle = math.atan(slope)
    rows, columns = np.indices(patch.shape)
    distance = np.asarray((columns - middle - slope * rows) * math.cos(angle))
    # As many bins as every row fills.
    reach = min(float(-distance.min(axis=1).max()), float(distance.max(axis=1).min()))
    half = int(reach * BINS_PER_PX) - 1
    if half < 4 * BINS_PER_PX:
        raise ParameterError("light", "a patch with 4 px on both sides of the edge", patch.shape)
    edge = _binned(distance, patch, half)
    spread = np.convolve(edge, [0.5, 0.0, -0.5], mode="valid")
    spread *= np.hamming(spread.size)
    transform = np.abs(np.fft.rfft(spread))
    frequency = np.asarray(np.fft.rfftfreq(spread.size) * BINS_PER_PX, dtype=np.float64)
    kept = frequency <= 1.0
    frequency, transform = frequency[kept], transform[kept]
    if corrected_for is None:
        corrected_for = derivative_response(frequency) * bin_response(frequency)
    amplitude = transform / np.maximum(corrected_for, 1 / LARGEST_GAIN)
    return EdgeResponse(
        frequency_per_px=frequency, amplitude=amplitude, slope=slope, place_px=middle
    )


def diffraction_limited_mtf(
    frequency_per_m: ArrayLike, *, f_number: float, wavelength_m: float
) -> FloatArray:
    """Modulation transfer of a perfect lens with a round pupil.

    Parameters
    ----------
    frequency_per_m : array_like
        On the sensor. [cycles/m], >= 0.
    f_number, wavelength_m : float
        [1], [m], > 0.

    Notes
    -----
    ``2/pi (acos v - v sqrt(1 - v**2))`` with v the frequency over the cut-off
    ``1 / (wavelength x f-number)``; 0 beyond.

    References
    ----------
    [Goodman2005] sec. 6.4.

    Examples
    --------
    >>> round(float(diffraction_limited_mtf(227.3e3, f_number=4, wavelength_m=550e-9)), 3)
    0.391
    """
    cut_off = 1 / (
        check_positive("wavelength_m", wavelength_m) * check_positive("f_number", f_number)
    )
    v = np.clip(np.asarray(frequency_per_m, dtype=np.float64) / cut_off, 0.0, 1.0)
    return np.asarray(2 / math.pi * (np.arccos(v) - v * np.sqrt(1 - v**2)))


def _upright_patch(light: ArrayLike) -> FloatArray:
    """Return the checked patch, turned so that its edge is nearer the vertical."""
    patch = np.asarray(light, dtype=np.float64)
    if patch.ndim != 2 or min(patch.shape) < 16:
        raise ParameterError("light", "a patch of one channel, 16 px a side at least", patch.shape)
    if not np.isfinite(patch).all():
        raise ParameterError("light", "finite", "nan or inf")
    upright = np.ptp(patch.mean(axis=0)) >= np.ptp(patch.mean(axis=1))
    return patch if upright else patch.T


def _edge_line(patch: FloatArray) -> tuple[float, float]:
    """Slope of the edge [px a row] and its place in row 0 [px]."""
    height, width = patch.shape
    steps = np.diff(patch, axis=1)
    if steps.sum() < 0:
        steps = -steps
    at = np.arange(width - 1) + 0.5
    rows = np.arange(height)
    middle = np.full(height, (width - 1) / 2)
    slope = place = 0.0
    for turn in range(FIT_ROUNDS):
        half = width / 2 if turn == 0 else width / 4
        away = np.clip((at - middle[:, np.newaxis]) / half, -1, 1)
        window = 0.54 + 0.46 * np.cos(math.pi * away)
        if turn:
            window = np.where(np.abs(away) < 1, window, 0.0)
        weight = (steps * window).sum(axis=1)
        if not (weight > 0).all():
            raise ParameterError("light", "a patch crossed by one edge", "rows without an edge")
        centres = (steps * window * at).sum(axis=1) / weight
        slope, place = (float(x) for x in np.polyfit(rows, centres, 1))
        middle = place + slope * rows
    angle = math.degrees(math.atan(abs(slope)))
    if not 0.5 <= angle <= LARGEST_ANGLE_DEG:
        rule = f"a patch whose edge is 0.5 to {LARGEST_ANGLE_DEG:g} degrees off an axis"
        raise ParameterError("light", rule, f"{angle:.2f} degrees")
    return slope, place


def _binned(distance: FloatArray, patch: FloatArray, half: int) -> FloatArray:
    """Mean light in bins from -half to half about the edge."""
    index = np.rint(distance * BINS_PER_PX).astype(np.int64) + half
    inside = (index >= 0) & (index <= 2 * half)
    index, values = index[inside], patch[inside]
    count = np.bincount(index, minlength=2 * half + 1)
    total = np.bincount(index, weights=values, minlength=2 * half + 1)
    filled = np.flatnonzero(count)
    # An angle near a simple fraction leaves bins empty in a small patch.
    return np.interp(np.arange(2 * half + 1), filled, total[filled] / count[filled])
