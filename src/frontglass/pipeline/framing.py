"""Lens and sensor of stills, as far as they are known beyond the stills' own files."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from frontglass.optics.camera import CameraChoice, ShotData, choose_camera, sensor_mm_from_text

if TYPE_CHECKING:
    from frontglass.picture.picture import Picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Framing:
    """What is known of lens and sensor beyond the still's own file; None leaves it to the file.

    Parameters
    ----------
    lens_mm, f_number, filter_distance_mm : float or None
        As in `Camera`. [mm], [1], [mm], > 0.
    sensor : str or None
        A name such as "super35", or "WxH" in mm.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> still = fg.Picture(radiance=np.zeros((9, 16, 3)))
    >>> fg.Framing(lens_mm=50, sensor="super35").camera_for(still).camera.focal_length_mm
    50.0
    """

    lens_mm: float | None = None
    f_number: float | None = None
    sensor: str | None = None
    filter_distance_mm: float | None = None

    def camera_for(self, picture: Picture) -> CameraChoice:
        """Camera that took `picture`, and what had to be assumed."""
        return self._chosen(picture.shot, picture.width_px, picture.height_px)

    def camera_for_width(self, width_px: int) -> CameraChoice:
        """Camera of a picture that fills the sensor, wider than high where none is named."""
        across, down = (16.0, 9.0) if self.sensor is None else sensor_mm_from_text(self.sensor)
        # Rounded down: a row too many would make the picture narrower than the sensor.
        height_px = max(1, math.floor(width_px * down / across))
        return self._chosen(ShotData(), width_px, height_px)

    def _chosen(self, shot: ShotData, width_px: int, height_px: int) -> CameraChoice:
        return choose_camera(
            shot,
            width_px=width_px,
            height_px=height_px,
            lens_mm=self.lens_mm,
            f_number=self.f_number,
            sensor=self.sensor,
            filter_distance_mm=self.filter_distance_mm,
        )
