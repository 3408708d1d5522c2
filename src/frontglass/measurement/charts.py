"""One number or curve at a time from a standard target that went through the real engine."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.choices import Surround
from frontglass.looks import Look
from frontglass.measurement import targets
from frontglass.measurement.numbers import REFERENCE_MEAN
from frontglass.optics.camera import Camera
from frontglass.optics.psf import FloatArray
from frontglass.optics.slanted_edge import EdgeResponse, edge_response
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import render
from frontglass.units import ratio_from_stops, stops_from_ratio

GREEN = 1
WEDGE_STOPS = tuple(range(0, -11, -1))
"""Steps of the wedge under white [stop]."""

FACE_MM = 225.0
"""Crown to chin. From memory; common practice, no source."""
FACE_SHARE = 1 / 3
"""Of the frame's height that a face fills where texture is measured."""
PORE_PERIOD_MM, HAIR_PERIOD_MM = 1.0, 0.4
"""Pore to pore, and strand to strand of fine hair. From memory; common practice, no source."""
GRATING_DIRECTIONS_DEG = (0.0, 45.0, 90.0, 135.0)

PLATEAU_PER_PX = (0.25, 0.45)
"""Frequencies over which the plateau is taken: above most halos', within the pixels' own."""
HALO_RING_DEG = (0.1, 3.0)
"""Ring round a lamp whose light counts as halo: outside the lamp itself, inside most frames."""
HALO_PX_PER_DEG = 40.0
SCALES_PX_PER_DEG = (2.0, 4000.0)
NOTHING = 1e-4
"""Share of a lamp's light below which there is no halo to speak of."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DetailCurve:
    """Detail held against frequency, bare and through a look.

    Parameters
    ----------
    frequency_per_px : ndarray
        [cycles/px]
    bare, seen, held : ndarray
        Modulation transfer of lens and pixels, of the same through the look, and the second over
        the first: the look alone. [1]
    """

    frequency_per_px: FloatArray
    bare: FloatArray
    seen: FloatArray
    held: FloatArray

    @property
    def plateau(self) -> float:
        """Share of fine contrast held, above the frequencies of the halo. [1]."""
        low, high = PLATEAU_PER_PX
        inside = (self.frequency_per_px >= low) & (self.frequency_per_px <= high)
        return float(np.average(self.held[inside], weights=self.bare[inside] ** 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class LampHalo:
    """Where the light of a lamp goes, in green.

    Parameters
    ----------
    direct_share : float
        Light that stays in the lamp's own pixel. [1]
    half_energy_deg, four_fifths_deg : float
        Radii that hold half and four fifths of the rest; 0 where there is none, inf where that
        much goes beyond the target. [degree]
    ring_share : float
        Light that lands 0.1 to 3 degrees from it. [1]
    """

    direct_share: float
    half_energy_deg: float
    four_fifths_deg: float
    ring_share: float


def detail_curve(look: Look, camera: Camera, width_px: int, *, down: bool) -> DetailCurve:
    """Slanted edge through a look: detail across the frame, or down it."""
    crop_px = targets.EDGE_PX[1 if down else 0]
    target = _edge(camera, width_px)
    if down:
        turned = np.ascontiguousarray(target.radiance.transpose(1, 0, 2))
        target = target.with_radiance(turned)
    seen = _through(look.hooded(), target, targets.camera_of_crop(camera, width_px, crop_px))
    bare_edge = _response(target, None, down=down)
    seen_edge = _response(seen, bare_edge, down=down)
    frequency = bare_edge.frequency_per_px
    inside = frequency <= 1.0
    # Light that the halo carries out of the patch is missed by both alike only if each is in units
    # of the bare edge's step, so the share held is what the look does, wherever its light went.
    held = seen_edge.amplitude / bare_edge.amplitude
    held[0] = 1.0
    return DetailCurve(
        frequency_per_px=frequency[inside],
        bare=bare_edge.mtf[inside],
        seen=(bare_edge.mtf * held)[inside],
        held=held[inside],
    )


def glare_index(look: Look, camera: Camera) -> float:
    """Light in the middle of a black disc over the even field round it. [1].

    References
    ----------
    [ISO9358] black patch.
    """
    seen = _through(look.hooded(), targets.disc_target(0.0, 1.0), _field(camera))
    return _middle(seen) / float(seen.radiance[0, 0, GREEN])


def wedge_levels(look: Look, camera: Camera) -> tuple[float, ...]:
    """Light of the steps of a ten-stop wedge through a look, white first. [white = 1].

    Notes
    -----
    Each step is a disc of 1 degree radius in an even field of mid grey, seen by itself. Under
    white light adds up, so white and black tell what the steps between become; not so where a glow
    has a threshold under white.
    """
    steps = [ratio_from_stops(step) for step in WEDGE_STOPS]
    if not _adds_up_below_white(look):
        return tuple(_disc_level(look, camera, step) for step in steps)
    white, black = (_disc_level(look, camera, step) for step in (steps[0], steps[-1]))
    share = (white - black) / (steps[0] - steps[-1])
    return tuple(black + share * (step - steps[-1]) for step in steps)


def light_loss(look: Look, camera: Camera) -> float:
    """Light that an even field loses [stop]."""
    field = targets.disc_target(0.5, 0.5)
    seen = render(field, [look.hooded()], camera=_field(camera), compensate=False)
    return stops_from_ratio(0.5 / _middle(seen)) + 0.0


def texture_held(look: Look, camera: Camera, height_of_width: float, period_mm: float) -> float:
    """Contrast held by a grating of a period on a face that fills a third of the frame. [1].

    Parameters
    ----------
    height_of_width : float
        Height of the frame over its width. [1], > 0.
    period_mm : float
        Period of the texture on the face. [mm], > 0.
    """
    frame_mm = camera.sensor_width_mm * height_of_width
    period_rad = period_mm / FACE_MM * FACE_SHARE * frame_mm / camera.focal_length_mm
    px_per_deg = targets.GRATING_PERIOD_PX / math.degrees(period_rad)
    view = targets.camera_at(camera, targets.GRATING_PX, px_per_deg)
    held = []
    for direction in GRATING_DIRECTIONS_DEG[: 1 if is_round(look) else None]:
        target = targets.grating_target(direction)
        seen = _through(look, target, view)
        held.append(_waves(seen, target) / _waves(target, target))
    return float(np.mean(held))


def halo_share(look: Look, camera: Camera) -> float:
    """Light of a small lamp that lands 0.1 to 3 degrees from it. [1]."""
    return _share_in_ring(lamp_seen(look, camera, HALO_PX_PER_DEG))


def lamp_halo(look: Look, camera: Camera) -> LampHalo:
    """Encircled energy of a small lamp, on a target scaled until the halo fits it."""
    least_px, most_px = ACCURACY.readable_halo_px
    scale = HALO_PX_PER_DEG
    ring = half = most = 0.0
    direct = 1.0
    for _ in range(ACCURACY.lamp_tries):
        seen = lamp_seen(look, camera, scale)
        if seen is None:
            break
        if scale == HALO_PX_PER_DEG:
            ring = _share_in_ring(seen)
        radius, within = encircled(seen)
        direct = _direct(seen)
        if 1 - direct < NOTHING:
            half = most = 0.0
            break
        half, most = (
            _radius_of(radius, within, direct + share * (1 - direct)) for share in (0.5, 0.8)
        )
        if least_px <= half <= most_px:
            break
        factor = 2 * least_px / max(half, 1.0) if math.isfinite(half) else 1 / 8
        next_scale = float(np.clip(scale * factor, *SCALES_PX_PER_DEG))
        if next_scale == scale:
            break
        scale = next_scale
    return LampHalo(
        direct_share=direct,
        half_energy_deg=half / scale,
        four_fifths_deg=most / scale,
        ring_share=ring,
    )


def _share_in_ring(seen: NDArray[np.float64] | None) -> float:
    if seen is None:
        return 0.0
    low, high = (float(np.interp(r * HALO_PX_PER_DEG, *encircled(seen))) for r in HALO_RING_DEG)
    return high - low


def is_round(look: Look) -> bool:
    """Whether light goes the same way in every direction."""
    return all(part.is_round for part in look.elements)


def _adds_up_below_white(look: Look) -> bool:
    thresholds = (part.threshold_stops for part in look.elements)
    return all(threshold is None or threshold >= 0 for threshold in thresholds)


def _through(look: Look, target: Picture, camera: Camera) -> Picture:
    # A lamp in the middle of a target would have its ghost on itself.
    look = look.without_ghosts()
    return render(_in_green(look, target), [look], camera=camera)


def _in_green(look: Look, target: Picture) -> Picture:
    """Target with light in green alone, which is all that is read; whole for thresholds, which ask.

    Channels are filtered each by itself: a third of the work.
    """
    thresholds = (getattr(part, "threshold_stops", None) for part in look.elements)
    if any(threshold is not None for threshold in thresholds):
        return target
    green = np.zeros_like(target.radiance)
    green[:, :, GREEN] = target.radiance[:, :, GREEN]
    return target.with_radiance(green)


@cache
def _edge(camera: Camera, width_px: int) -> Picture:
    return targets.edge_target(camera, width_px)


def _response(picture: Picture, where: EdgeResponse | None, *, down: bool) -> EdgeResponse:
    light = picture.radiance[:, :, GREEN].astype(np.float64)
    if down:
        light = light.T
    # Rows near the ends see the mirror image of the edge, which leans the other way.
    margin = light.shape[0] // 6
    return edge_response(light[margin:-margin], where=where)


def _field(camera: Camera) -> Camera:
    return targets.camera_at(camera, targets.FIELD_PX[0], targets.FIELD_PX_PER_DEG)


def _disc_level(look: Look, camera: Camera, level: float) -> float:
    return _middle(_through(look, targets.disc_target(level, REFERENCE_MEAN), _field(camera)))


def _middle(picture: Picture) -> float:
    y, x = picture.height_px // 2, picture.width_px // 2
    return float(picture.radiance[y, x, GREEN])


def _waves(picture: Picture, of: Picture) -> float:
    """Amplitude of the waves of `of` in a picture, in the middle where no mirror image tells."""
    margin = targets.GRATING_PX // 6
    inner = slice(margin, -margin)
    light, waves = (p.radiance[inner, inner, GREEN].astype(np.float64) for p in (picture, of))
    window = np.outer(*(np.hanning(n) for n in light.shape))
    waves = waves - np.average(waves, weights=window)
    return float((window * waves * light).sum())


def lamp_seen(look: Look, camera: Camera, px_per_deg: float) -> NDArray[np.float64] | None:
    """Lamp in the dark through what stands before the lens, its flux 1; None if nothing does."""
    front = look.before_the_lens()
    if front is None:
        return None
    view = targets.camera_at(camera, targets.LAMP_PX, px_per_deg)
    seen = render(
        _in_green(front, targets.lamp_target()),
        [front],
        camera=view,
        surround=Surround.DARK,
    )
    return seen.radiance[:, :, GREEN].astype(np.float64) / targets.LAMP_RADIANCE


def encircled(seen: NDArray[np.float64]) -> tuple[FloatArray, FloatArray]:
    """Radii [px] and the share of the lamp's light within each."""
    middle = targets.LAMP_PX // 2
    radius, order = _radii()
    within = np.cumsum(seen.ravel()[order])
    # One value a radius; the disc of radius r holds the pixels whose middles it holds.
    last = np.flatnonzero(np.diff(radius, append=np.inf) > 0)
    inside = radius[last] <= middle
    return radius[last][inside], within[last][inside]


@cache
def _radii() -> tuple[FloatArray, NDArray[np.int64]]:
    middle = targets.LAMP_PX // 2
    rows, columns = np.indices((targets.LAMP_PX, targets.LAMP_PX))
    radius = np.hypot(rows - middle, columns - middle).ravel()
    order = np.argsort(radius, kind="stable")
    return radius[order], order


def _direct(seen: NDArray[np.float64]) -> float:
    """Light in the lamp's pixel without the halo's own share of it."""
    middle = targets.LAMP_PX // 2
    round_it = seen[middle - 1 : middle + 2, middle - 1 : middle + 2]
    lamp = seen[middle, middle]
    return float(lamp - (round_it.sum() - lamp) / 8)


def _radius_of(radius: FloatArray, within: FloatArray, share: float) -> float:
    if within[-1] < share:
        return math.inf
    return float(np.interp(share, within, radius))
