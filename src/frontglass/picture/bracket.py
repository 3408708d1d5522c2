"""Stills of one view at several exposures, merged into the light that none of them could hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32
from frontglass.checks import check_number
from frontglass.choices import Choice
from frontglass.errors import ParameterError
from frontglass.picture.bracket_alignment import (
    DIMMEST_SHARED,
    FEWEST_SHARED_PX,
    SOFT_FROM,
    SOFT_TO,
    aligned,
)
from frontglass.picture.clipped import clipping_levels
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.units import percent_text

CODE_NOISE = 1.0
"""Error of a code: its rounding, and what JPEG adds. [code of 8 bits]"""
SHOT_SHARE = 1e-4
"""Variance of light per light: 10 000 electrons at white, common practice, no source."""
FLOOR = 1e-9
STRAIGHT_BELOW = 2.7e-3
"""Light up to which codes are evenly spaced, as the display curve's straight foot has them."""
WELL_EXPOSED = 0.02
LEAST_CORRECTION_STOPS, LARGEST_CORRECTION_STOPS = 0.05, 0.5
GHOST_SHARE = 0.25
GHOST_SIGMAS = 4.0
GHOST_REACH_PX = 2
SMOOTHING_PX = 1.5
RESPONSE_SAMPLES, RESPONSE_SMOOTHNESS = 400, 50.0


class Response(Choice):
    """Where the curve from light to code comes from.

    Examples
    --------
    >>> import frontglass as fg
    >>> [one.value for one in fg.Response]
    ['profile', 'estimated']
    """

    PROFILE = "profile"
    ESTIMATED = "estimated"


class Alignment(Choice):
    """Whether the stills are laid over one another first.

    Examples
    --------
    >>> import frontglass as fg
    >>> [one.value for one in fg.Alignment]
    ['shift', 'off']
    """

    SHIFT = "shift"
    OFF = "off"


@dataclass(frozen=True, slots=True, kw_only=True)
class MergedBracket:
    """What came of a bracket.

    Parameters
    ----------
    picture : Picture
        Its light; 1 is the white of the brightest exposure.
    exposure_stops : tuple of float
        Each still's exposure against the brightest, as measured between them. [stop], <= 0.
    shifts_px : tuple of (float, float)
        How far each still was moved right and down. [px]
    clipped_share : float
        Pixels that clip even in the darkest still, and so are too dark in `picture`. [1]
    ghost_share : float
        Pixels in which something moved, and which therefore rest on fewer stills. [1]

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> frames = [fg.Picture.from_array(np.full((30, 40), light)) for light in (0.4, 0.1)]
    >>> merged = fg.merged_bracket(frames, [0, -2])
    >>> merged.exposure_stops, merged.clipped_share
    ((0.0, -2.0), 0.0)
    """

    picture: Picture
    exposure_stops: tuple[float, ...]
    shifts_px: tuple[tuple[float, float], ...]
    clipped_share: float
    ghost_share: float


def merged_bracket(
    stills: Sequence[Picture],
    exposure_stops: Sequence[float],
    *,
    response: Response | str = Response.PROFILE,
    alignment: Alignment | str = Alignment.SHIFT,
) -> MergedBracket:
    """Light of stills of one view at several exposures.

    Parameters
    ----------
    stills : sequence of Picture
        At least two, of one size.
    exposure_stops : sequence of float
        How bright each was exposed, against any common zero. [stop]
    response : "profile" or "estimated"
        Whether the files' own curve is to be believed, or one is recovered from the stills
        [DebevecMalik1997].
    alignment : "shift" or "off"
        Whether shifts of a hand-held camera are undone, to a fraction of a pixel, by median
        threshold bitmaps [Ward2003] and by least squares [LucasKanade1981].

    Raises
    ------
    ParameterError
        If the stills do not fit together.

    Notes
    -----
    Each sample counts by the inverse of its variance: rounding of its code, through the slope of
    the curve, and shot noise. It loses its weight near clipping. A still that disagrees with what
    the better exposed ones say of a pixel is left out there: something moved.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> light = np.random.default_rng(3).uniform(0.02, 4, (60, 90, 3))
    >>> light[20, 30] = 6
    >>> frames = [fg.Picture.from_array((light * 2.0**stop).clip(0, 1)) for stop in (0, -3)]
    >>> merged = fg.merged_bracket(frames, [0, -3], alignment="off")
    >>> round(float(merged.picture.radiance[20, 30, 1]), 2)
    6.0
    """
    response = Response.of("response", response)
    alignment = Alignment.of("alignment", alignment)
    _check(stills, exposure_stops)
    order = sorted(range(len(stills)), key=lambda i: -exposure_stops[i])
    nominal = [float(exposure_stops[i] - max(exposure_stops)) for i in order]
    merged = _merged([stills[i] for i in order], nominal, response, alignment)
    given = np.argsort(order)
    return replace(
        merged,
        exposure_stops=tuple(merged.exposure_stops[i] for i in given),
        shifts_px=tuple(merged.shifts_px[i] for i in given),
    )


def _merged(
    stills: Sequence[Picture],
    nominal: Sequence[float],
    response: Response,
    alignment: Alignment,
) -> MergedBracket:
    """Return what comes of stills in order, the brightest first; `nominal` is against that one."""
    lights = [still.radiance for still in stills]
    if response is Response.ESTIMATED:
        lights = _by_estimated_response(stills, nominal)
    shifts = [(0.0, 0.0)] * len(lights)
    if alignment is Alignment.SHIFT:
        lights, shifts = aligned(lights, nominal)
    # One camera has one white. A plateau in a dark still is a lamp that it holds, and no end.
    levels = clipping_levels(lights[0])
    free = [_unclipped(light, levels) for light in lights]
    weights = [own / _variance(light) for own, light in zip(free, lights, strict=True)]
    stops = _measured_stops(lights, weights, nominal)
    radiance, ghosts = _mean_light(lights, weights, stops)
    # By its own noise, a sample that came out dark would count for more: weigh by the mean light.
    weights = [
        own / _variance(radiance * np.float32(2.0**stop))
        for own, stop in zip(free, stops, strict=True)
    ]
    radiance, ghosts = _mean_light(lights, weights, stops)
    clipped = (weights[-1] == 0).any(axis=2) & (lights[-1] > SOFT_TO / 2).any(axis=2)
    notices = tuple(dict.fromkeys(text for still in stills for text in still.notices))
    picture = replace(
        stills[0],
        radiance=radiance,
        encoding=Encoding.linear(),
        recovered=None,
        beyond=None,
        lift=1.0,
        notices=(*notices, *_said(nominal, stops, float(clipped.mean()))),
    )
    return MergedBracket(
        picture=picture,
        exposure_stops=tuple(stops),
        shifts_px=tuple(shifts),
        clipped_share=float(clipped.mean()),
        ghost_share=float(ghosts.mean()),
    )


def _check(stills: Sequence[Picture], exposure_stops: Sequence[float]) -> None:
    if len(stills) < 2:
        raise ParameterError("stills", "two at least", len(stills))
    if len(exposure_stops) != len(stills):
        raise ParameterError("exposure_stops", f"{len(stills)} numbers", len(exposure_stops))
    for stops in exposure_stops:
        check_number("exposure_stops", stops)
    if len(set(exposure_stops)) < 2:
        hint = "Stills exposed alike hold no more light than one."
        raise ParameterError("exposure_stops", "of different exposures", exposure_stops[0], hint)
    size = (stills[0].width_px, stills[0].height_px)
    for still in stills[1:]:
        if (still.width_px, still.height_px) != size:
            got = f"{still.width_px} x {still.height_px}"
            raise ParameterError("stills", f"all {size[0]} x {size[1]} px", got)
        if not still.primaries.is_close_to(stills[0].primaries):
            raise ParameterError("stills", "all in the same primaries", still.primaries)


def _unclipped(light: Float32, levels: Float32) -> Float32:
    """How far each sample is free of clipping, from 0 to 1."""
    share = light / levels
    # JPEG rings a pixel or two round what clips.
    around = cv2.dilate(share, np.ones((3, 3), np.uint8))
    free = (SOFT_TO - np.minimum(around, share * 1.3)) / (SOFT_TO - SOFT_FROM)
    return np.asarray(np.clip(free, 0, 1), dtype=np.float32)


def _variance(light: Float32) -> Float32:
    """Variance of a sample of so much light: its code's rounding, and shot noise."""
    code_step = (2.4 / 255) * np.maximum(light, STRAIGHT_BELOW) ** (1 - 1 / 2.4)
    variance = (CODE_NOISE * code_step) ** 2 + SHOT_SHARE * np.maximum(light, 0) + FLOOR
    return np.asarray(variance, dtype=np.float32)


def _measured_stops(
    lights: Sequence[Float32], weights: Sequence[Float32], nominal: Sequence[float]
) -> list[float]:
    """Exposures as the stills show them: what is engraved is rounded to a third of a stop.

    Notes
    -----
    The median ratio of neighbours, over pixels that both hold well; kept as stated where that
    is far off or too few pixels say so.
    """
    stops = [nominal[0]]
    for i in range(1, len(lights)):
        stated = nominal[i] - nominal[i - 1]
        bright, dark = lights[i - 1][..., 1], lights[i][..., 1]
        both = (weights[i - 1][..., 1] > 0) & (dark > DIMMEST_SHARED) & (bright > WELL_EXPOSED)
        step = stated
        if np.count_nonzero(both) >= FEWEST_SHARED_PX:
            ratio = np.log2(dark[both] / bright[both])
            weight = np.minimum(dark[both], 1)
            measured = _weighted_median(ratio, weight)
            if LEAST_CORRECTION_STOPS < abs(measured - stated) <= LARGEST_CORRECTION_STOPS:
                step = measured
        stops.append(stops[-1] + step)
    return stops


def _weighted_median(values: Float32, weights: Float32) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order], dtype=np.float64)
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def _mean_light(
    lights: Sequence[Float32], weights: Sequence[Float32], stops: Sequence[float]
) -> tuple[Float32, NDArray[np.bool_]]:
    """Weighted mean light, and where something moved."""
    scales = [np.float32(2.0**-stop) for stop in stops]
    held = [
        np.count_nonzero((weight > 0).all(axis=2) & (light.max(axis=2) > WELL_EXPOSED))
        for light, weight in zip(lights, weights, strict=True)
    ]
    reference = int(np.argmax(held))
    order = sorted(range(len(lights)), key=lambda i: abs(i - reference))
    total = np.zeros_like(lights[0])
    whole = np.zeros_like(total)
    moved = np.zeros(total.shape[:2], dtype=bool)
    for i in order:
        light = lights[i] * scales[i]
        weight = weights[i] / scales[i] ** 2
        if i != reference:
            ghost = _ghost(light, weight, total, whole)
            moved |= ghost
            weight = np.where(ghost[..., np.newaxis], 0, weight)
        total += weight * light
        whole += weight
    # What all stills clip, or the ringing beside it, the darkest knows best.
    darkest = lights[-1] * scales[-1]
    return np.where(whole > 0, total / np.maximum(whole, 1e-30), darkest), moved


def _ghost(light: Float32, weight: Float32, total: Float32, whole: Float32) -> NDArray[np.bool_]:
    """Where a still contradicts the mean so far by more than noise can."""
    known = (weight > 0) & (whole > 0)
    mean = total / np.maximum(whole, 1e-30)
    sigma = np.sqrt(1 / np.maximum(weight, 1e-30) + 1 / np.maximum(whole, 1e-30))
    off = np.where(known, light - mean, 0)
    # Smoothed, so that one noisy pixel is no ghost and one that moved takes its edge along.
    off = np.abs(cv2.GaussianBlur(np.asarray(off, dtype=np.float32), (0, 0), SMOOTHING_PX))
    allowed = GHOST_SHARE * np.maximum(light, mean) + GHOST_SIGMAS * sigma
    ghost = np.asarray((known & (off > allowed)).any(axis=2)).astype(np.uint8)
    opened = cv2.morphologyEx(ghost, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    return np.asarray(cv2.dilate(opened, np.ones((2 * GHOST_REACH_PX + 1,) * 2, np.uint8)) > 0)


def _by_estimated_response(stills: Sequence[Picture], nominal: Sequence[float]) -> list[Float32]:
    """Light by a response recovered from the stills' codes, 1 at the highest code.

    Notes
    -----
    OpenCV's own 70 samples and its smoothness of 10 leave a known cubic response 0.1 stops off
    between codes 40 and 250; these 400 and 50 leave 0.007.
    """
    codes = []
    for still in stills:
        own = still.encoding.codes
        if own is None or own.dtype != np.uint8 or own.shape[2] != 3:
            raise ParameterError("response", "profile", "estimated", "It needs 8-bit RGB stills.")
        codes.append(np.ascontiguousarray(own))
    times = np.asarray(2.0 ** np.asarray(nominal), dtype=np.float32)
    solver = cv2.createCalibrateDebevec(
        samples=RESPONSE_SAMPLES, lambda_=RESPONSE_SMOOTHNESS, random=False
    )
    curve = solver.process(codes, times).reshape(256, 3)
    curve = np.maximum.accumulate(curve, axis=0)
    if not (np.isfinite(curve).all() and (curve[255] > 0).all()):
        hint = "Codes of these stills do not rise with their exposure."
        raise ParameterError("response", "profile", "estimated", hint)
    curve = curve / curve[255]
    return [
        np.stack([curve[own[..., c], c] for c in range(3)], axis=2).astype(np.float32)
        for own in codes
    ]


def _said(nominal: Sequence[float], stops: Sequence[float], clipped_share: float) -> list[str]:
    said = []
    worst = max(abs(a - b) for a, b in zip(nominal, stops, strict=True))
    if worst > 0.05:
        said.append(f"Exposures were up to {worst:.2f} stops off; measured ones are used.")
    if clipped_share > 0:
        said.append(
            f"{percent_text(clipped_share)} of the pixels clip even in the darkest still:"
            " their light is a lower bound. Add a darker one."
        )
    return said
