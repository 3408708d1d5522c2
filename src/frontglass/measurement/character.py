"""What a look does at any strength, nearly in closed form: fast enough to try each at many."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.product import in_turn
from frontglass.elements import Element, Place
from frontglass.errors import ParameterError
from frontglass.looks import Look
from frontglass.measurement import targets
from frontglass.measurement.charts import (
    FACE_MM,
    FACE_SHARE,
    HALO_PX_PER_DEG,
    HALO_RING_DEG,
    NOTHING,
    PORE_PERIOD_MM,
    encircled,
    is_round,
    lamp_seen,
)
from frontglass.measurement.match import Effects
from frontglass.measurement.numbers import (
    BLACK_PATCH_RADIUS_RAD,
    GREEN,
    REFERENCE_BLACK,
    REFERENCE_MEAN,
    together,
)
from frontglass.optics.camera import Camera
from frontglass.optics.glare import veiled_radiance
from frontglass.optics.psf import FloatArray
from frontglass.units import deg_from_rad, rad_from_deg, stops_from_ratio

RED, BLUE = 0, 2
RADII_DEG = np.geomspace(0.02, 4.0, 24)
"""Where the light round a lamp is told; beyond, it is a veil to the eye."""
NODES = (0.25, 1.0, 4.0)
"""Strengths at which the spread of nets, lines and grease is found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Character:
    """What a look does at a strength.

    Parameters
    ----------
    effects : Effects
        As a meter gives them.
    half_deg : float
        Radius that holds half of what it deviates by up to 4 degrees; 0 for nothing. [degree]
    """

    effects: Effects
    half_deg: float


class Characters:
    """What a look does at one strength after another, with what they share found once.

    Parameters
    ----------
    look : Look
        The look; its own strength plays no part.
    camera : Camera
        Lens, stop and sensor.
    height_of_width : float
        Height of the frame over its width. [1], > 0.

    Notes
    -----
    Glows and veils are exact. Through nets, lines and grease a lamp is sent at three strengths:
    what goes straight on at another is exact, how the rest spreads lies between those.

    Examples
    --------
    >>> import frontglass as fg
    >>> camera = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.9)
    >>> round(Characters(fg.read_look("harbour-night"), camera, 9 / 16).at(1.0).half_deg, 2)
    0.75
    """

    def __init__(self, look: Look, camera: Camera, height_of_width: float) -> None:
        self.look, self._camera = look, camera
        frame_mm = camera.sensor_width_mm * height_of_width
        face = FACE_SHARE * frame_mm / camera.focal_length_mm
        self._pores_rad = PORE_PERIOD_MM / FACE_MM * face

    @property
    def is_round(self) -> bool:
        """Whether lamps get no rays, dots or streaks."""
        return is_round(self.look)

    @property
    def has_stray_lamp(self) -> bool:
        """Whether it takes a lamp that strikes the glass."""
        return any(part.stray_light(GREEN) > 0 for part in self.look.at(1.0).light_path)

    @property
    def is_for_lamps_alone(self) -> bool:
        """Whether nothing darker than white is spread."""
        spreading = [part for part in self.look.elements if part.place is not Place.PLATE]
        return bool(spreading) and all(part.threshold_stops is not None for part in spreading)

    @property
    def warmth(self) -> float:
        """Deviated light in red over that in blue, at strength 1. [1]; 1 where there is none."""
        red, blue = (
            1 - math.prod(part.direct_share(channel) for part in self.look.at(1.0).light_path)
            for channel in (RED, BLUE)
        )
        return red / blue if min(red, blue) > NOTHING else 1.0

    def at(self, strength: float) -> Character:
        """Return what the look does at a strength.

        Raises
        ------
        ParameterError
            If it cannot be so strong.
        """
        look = self.look.at(strength)
        path = look.light_path
        lamp = self._round_a_lamp(look)
        near, far = (float(np.interp(radius, RADII_DEG, lamp)) for radius in HALO_RING_DEG)
        veil_share = max(0.0, 1 - self._within_black_patch(path, strength))
        black = veiled_radiance(
            REFERENCE_BLACK, mean_radiance=REFERENCE_MEAN, veil_share=veil_share
        )
        wash = sum(part.stray_light(GREEN) for part in path)
        effects = Effects(
            halo=max(0.0, far - near),
            black_stops=stops_from_ratio((black + wash) / REFERENCE_BLACK),
            texture=max(0.0, 1 - self._held(path)),
            light_loss_stops=look.light_loss_stops,
        )
        return Character(effects=effects, half_deg=self._half_deg(look, lamp))

    def _round_a_lamp(self, look: Look) -> FloatArray:
        """Light of a lamp that lands within `RADII_DEG` of it, veils apart. [1]."""
        front = look.before_the_lens()
        if front is None:
            return np.ones_like(RADII_DEG)
        scatterers, others = _divided(front.light_path)
        within = np.ones_like(RADII_DEG)
        if others:
            straight = _direct(others, self._camera)
            within = straight + (1 - straight) * self._spread(look.strength, is_bare=True)
        if scatterers:
            scatter = together(scatterers, GREEN)
            within = within * scatter.encircled_flux(np.array([*map(rad_from_deg, RADII_DEG)]))
        return within

    def _spread(self, strength: float, *, is_bare: bool) -> FloatArray:
        """Of what nets, lines and grease deviate, the share within `RADII_DEG`. [1].

        Parameters
        ----------
        strength : float
            The strength; beyond the outermost node it spreads as there.
        is_bare : bool
            Whether their veils are left out.
        """
        nodes = self._nodes[is_bare]
        if strength <= 0 or not nodes:
            return np.ones_like(RADII_DEG)
        octaves = [math.log2(node) for node, _ in nodes]
        place = float(np.interp(math.log2(strength), octaves, range(len(nodes))))
        low = min(int(place), len(nodes) - 1)
        high = min(low + 1, len(nodes) - 1)
        near, far = (
            np.interp(RADII_DEG * (strength / node) ** self._narrowing, RADII_DEG, spread)
            for node, spread in (nodes[low], nodes[high])
        )
        return np.asarray(near + (place - low) * (far - near))

    @cached_property
    def _narrowing(self) -> float:
        """How the spread narrows as strength grows: 1 if in proportion, as that of threads; or 0.

        Threads twice as wide send light half as far; thicker grease sends it as far as before.
        """
        nodes = self._nodes[True]
        if len(nodes) < 2:
            return 0.0
        (weak, wide), (strong, narrow) = nodes[:2]
        scaled = np.interp(RADII_DEG * strong / weak, RADII_DEG, wide)
        return float(np.abs(scaled - narrow).sum() < np.abs(wide - narrow).sum())

    @cached_property
    def _nodes(self) -> dict[bool, list[tuple[float, FloatArray]]]:
        """Spreads at some strengths, with veils and without: [False], [True]."""
        _, others = _divided(self.look.elements)
        found: dict[bool, list[tuple[float, FloatArray]]] = {True: [], False: []}
        for strength in NODES:
            try:
                parts = [part.at(strength) for part in others]
            except ParameterError:  # Threads cannot become wider than their spacing lets them.
                break
            bare = [part.without_veil() for part in parts]
            found[True].append((strength, _spread_of(bare, self._camera)))
            is_same = bare == parts
            full = found[True][-1][1] if is_same else _spread_of(parts, self._camera)
            found[False].append((strength, full))
        return found

    def _within_black_patch(self, path: Sequence[Element], strength: float) -> float:
        """Light in the middle of the frame that lands within a black patch's radius. [1]."""
        radius = BLACK_PATCH_RADIUS_RAD
        scatterers, others = _divided(path)
        kept = [part for part in scatterers if part.threshold_stops is None]
        within = float(together(kept, GREEN).encircled_flux(radius)) if kept else 1.0
        veils = math.prod(
            part.encircled_flux(radius, GREEN) for part in path if part.place is Place.LENS
        )
        if others:
            straight = _direct(others, self._camera)
            spread = self._spread(strength, is_bare=False)
            near = float(np.interp(deg_from_rad(radius), RADII_DEG, spread))
            within *= straight + (1 - straight) * near
        return within * veils

    def _held(self, path: Sequence[Element]) -> float:
        """Contrast held at the spacing of pores. [1]; all that nets deviate counts as lost."""
        scatterers, others = _divided(path)
        kept = [part for part in scatterers if part.threshold_stops is None]
        veils = math.prod(part.direct_share(GREEN) for part in path if part.place is Place.LENS)
        held = _direct(others, self._camera) * veils
        if kept:
            held *= float(together(kept, GREEN).transform(1 / self._pores_rad))
        return held

    def _half_deg(self, look: Look, lamp: FloatArray) -> float:
        front = look.before_the_lens()
        direct = 1.0 if front is None else _direct(front.light_path, self._camera)
        deviated = float(lamp[-1]) - direct
        if deviated < NOTHING:
            return 0.0
        return float(np.interp(direct + deviated / 2, lamp, RADII_DEG))


def _direct(path: Sequence[Element], camera: Camera) -> float:
    """Light from the middle of the frame that goes straight on. [1]."""
    return math.prod(
        1 - part.covered_share(camera) * (1 - part.direct_share(GREEN)) for part in path
    )


def _spread_of(parts: Sequence[Element], camera: Camera) -> FloatArray:
    """Of what parts deviate, the share within `RADII_DEG`, by one lamp in the dark. [1]."""
    straight = _direct(parts, camera)
    light = None if 1 - straight < NOTHING else _lamp_through(parts, camera)
    if light is None:
        return np.ones_like(RADII_DEG)
    within = np.interp(RADII_DEG * HALO_PX_PER_DEG, *encircled(light))
    return np.asarray(np.clip((within - straight) / (1 - straight), 0, 1))


def _lamp_through(parts: Sequence[Element], camera: Camera) -> FloatArray | None:
    """Lamp in the dark in green, its flux 1: one channel where filters say it all."""
    view = targets.camera_at(camera, targets.LAMP_PX, HALO_PX_PER_DEG)
    filters = [part.filter(GREEN, view.px_per_rad(targets.LAMP_PX)) for part in parts]
    known = [one for one in filters if one is not None]
    if len(known) < len(filters):
        return lamp_seen(Look(elements=tuple(parts)), camera, HALO_PX_PER_DEG)
    one = in_turn(known)
    seen = convolve(targets.lamp_target().radiance, (one, one, one), Surround.DARK)
    return np.asarray(seen[:, :, GREEN] / targets.LAMP_RADIANCE, dtype=np.float64)


def _divided(path: Sequence[Element]) -> tuple[list[Element], list[Element]]:
    """Return the scatterers before the lens, and what else stands there."""
    front = [part for part in path if part.place is Place.FRONT]
    scatterers = [part for part in front if part.scatter(GREEN) is not None]
    return scatterers, [part for part in front if part.scatter(GREEN) is None]
