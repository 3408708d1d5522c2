"""Structure drawn into the halos of lamps: each boils in its own way as the pupil slides."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32
from frontglass.looks import Look
from frontglass.optics.camera import Camera
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.optics.speckle import (
    PATTERN_CELLS,
    SAMPLES_PER_GRAIN,
    FleckedFilter,
    needle_contrast,
)
from frontglass.picture.picture import Picture
from frontglass.units import m_from_mm, m_from_nm

BAND_NM = 80.0
"""Width of a colour channel; from memory, typical of sensors."""
WAVELENGTHS_A_BAND = 7
LAMP_FROM = 1.0
MOST_LAMPS = 12
"""Lamps whose halos boil each in its own way."""
LEAST_GRAIN_PX = 2.0
"""Needles finer than pixels cannot be drawn; they are drawn this wide at the contrast they have."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoilingLamp:
    """A lamp in a picture: its middle, the radius of a disc as large, and its light."""

    x_px: float
    y_px: float
    radius_px: float
    flux: float


def lamps_of(picture: Picture) -> list[BoilingLamp]:
    """Lamps of a picture, the brightest first."""
    light = picture.radiance.max(axis=2)
    count, labels, stats, centres = cv2.connectedComponentsWithStats(
        (light >= LAMP_FROM).astype(np.uint8)
    )
    found = []
    for label in range(1, count):
        x, y = centres[label]
        area = float(stats[label, cv2.CC_STAT_AREA])
        flux = float(light[labels == label].sum())
        found.append(
            BoilingLamp(
                x_px=float(x), y_px=float(y), radius_px=math.sqrt(area / math.pi), flux=flux
            )
        )
    return sorted(found, key=lambda lamp: -lamp.flux)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Boiling:
    """What is needed to draw the structure of halos."""

    structured: bool
    filter: FleckedFilter
    lamps: list[BoilingLamp]
    camera: Camera
    size_px: tuple[int, int]
    px_per_rad: float
    pixel_rad: float
    exaggerate: float

    @classmethod
    def of(
        cls,
        *,
        small: Picture,
        full: Picture,
        looks: Sequence[Look],
        camera: Camera,
        lamps: list[BoilingLamp],
        exaggerate: float,
    ) -> Boiling:
        """Return it for a still reduced to `small`, whose needles its own pixels blur."""
        speckled = (part.is_speckled for look in looks if look.strength for part in look.elements)
        return cls(
            structured=any(speckled),
            filter=FleckedFilter(1),
            lamps=lamps,
            camera=camera,
            size_px=(small.width_px, small.height_px),
            px_per_rad=camera.px_per_rad(small.width_px),
            pixel_rad=camera.rad_per_px(full.width_px),
            exaggerate=exaggerate,
        )

    def contrast(self, lamp: BoilingLamp, angle_rad: NDArray[np.floating], channel: int) -> Float32:
        """Contrast of a lamp's needles at an angle from it, as it will be."""
        return needle_contrast(
            angle_rad,
            pupil_m=m_from_mm(self.camera.entrance_pupil_mm),
            wavelength_m=m_from_nm(CHANNEL_WAVELENGTHS_NM[channel]),
            band_m=m_from_nm(BAND_NM),
            pixel_rad=self.pixel_rad,
            source_rad=2 * lamp.radius_px / self.px_per_rad,
        ).astype(np.float32)

    def at(self, right_mm: float, down_mm: float) -> Float32:
        """Return what the lamps' halos are multiplied by when footprints have slid so far."""
        width, height = self.size_px
        total = np.zeros((height, width, 3), np.float32)
        weights = np.full((height, width), 1e-12, np.float32)
        for lamp in self.lamps[:MOST_LAMPS]:
            x = np.arange(width, dtype=np.float32) - np.float32(lamp.x_px)
            y = np.arange(height, dtype=np.float32)[:, np.newaxis] - np.float32(lamp.y_px)
            away = np.hypot(x, y)
            # Each lamp's part in the common halo falls off as most halos do.
            weight = np.float32(lamp.flux) / (1 + away + np.float32(lamp.radius_px)) ** 3
            pattern = self._pattern(lamp, right_mm, down_mm)
            total += weight[..., np.newaxis] * self._drawn(pattern, lamp, x, y, away)
            weights += weight
        return np.asarray(np.maximum(total / weights[..., np.newaxis], 0))

    def _pattern(self, lamp: BoilingLamp, right_mm: float, down_mm: float) -> Float32:
        """Pattern through the footprint of a lamp where it stands in the frame."""
        width, height = self.size_px
        pupil, distance = self.camera.entrance_pupil_mm, self.camera.filter_distance_mm
        right = distance * (lamp.x_px - width / 2) / self.px_per_rad + right_mm
        down = distance * (lamp.y_px - height / 2) / self.px_per_rad + down_mm
        return self.filter.pattern(right / pupil, down / pupil).astype(np.float32)

    def _drawn(
        self, pattern: Float32, lamp: BoilingLamp, x: Float32, y: Float32, away: Float32
    ) -> Float32:
        channels = []
        for channel, middle_nm in enumerate(CHANNEL_WAVELENGTHS_NM):
            grain_px = (
                self.px_per_rad * m_from_nm(middle_nm) / m_from_mm(self.camera.entrance_pupil_mm)
            )
            drawn_px = max(grain_px, LEAST_GRAIN_PX)
            mean = np.zeros_like(away)
            for nm in np.linspace(-BAND_NM / 2, BAND_NM / 2, WAVELENGTHS_A_BAND):
                scale = SAMPLES_PER_GRAIN / drawn_px * middle_nm / (middle_nm + nm)
                columns, rows = np.broadcast_arrays(
                    np.float32(scale) * x + PATTERN_CELLS / 2,
                    np.float32(scale) * y + PATTERN_CELLS / 2,
                )
                mean += cv2.remap(
                    pattern,
                    np.ascontiguousarray(columns, dtype=np.float32),
                    np.ascontiguousarray(rows, dtype=np.float32),
                    cv2.INTER_LINEAR,
                    borderMode=cv2.BORDER_WRAP,
                )
            mean /= WAVELENGTHS_A_BAND
            # What so few wavelengths leave of a grain this wide, against what there will be.
            left = np.minimum(1 + away * (BAND_NM / middle_nm) / drawn_px, WAVELENGTHS_A_BAND)
            wanted = self.contrast(lamp, away / np.float32(self.px_per_rad), channel)
            wanted = np.minimum(wanted * np.float32(self.exaggerate), 1)
            channels.append(1 + (mean - 1) * np.sqrt(left) * wanted)
        return np.stack(channels, axis=2)
