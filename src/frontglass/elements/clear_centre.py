"""A hole left clean in something before the lens, or a single covered spot."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.checks import check_positive, check_within
from frontglass.choices import Choice
from frontglass.convolution.split import most_parts
from frontglass.elements.bounds import WIDEST_GLASS_MM
from frontglass.elements.element import Fact
from frontglass.elements.filter_plane import map_over_frame
from frontglass.optics.camera import Camera
from frontglass.optics.footprint import Footprint, RoundHole
from frontglass.rows_between import RowsBetween
from frontglass.units import m_from_mm


class ClearPart(Choice):
    """Which side of the circle is clear."""

    INSIDE = "inside"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearCentre:
    """A circle on the filter that is clear inside, or outside.

    Parameters
    ----------
    radius_mm : float
        Of the circle. [mm], in (0, 1000].
    right_mm, up_mm : float
        Its middle from the axis of the lens, as seen from behind the camera. [mm]
    clear : "inside" or "outside"
        The middle is left clean, or only the circle is covered.

    Raises
    ------
    ParameterError
        If a value is out of range.

    Examples
    --------
    >>> import frontglass as fg
    >>> hole = fg.ClearCentre(radius_mm=12, up_mm=3)
    >>> fg.Net(pitch_mm=0.5, thread_mm=0.05, clear_centre=hole).transmittance
    1.0
    """

    radius_mm: float
    right_mm: float = 0.0
    up_mm: float = 0.0
    clear: ClearPart | str = ClearPart.INSIDE

    def __post_init__(self) -> None:
        check_within("radius_mm", check_positive("radius_mm", self.radius_mm), 0, WIDEST_GLASS_MM)
        check_within("right_mm", self.right_mm, -WIDEST_GLASS_MM, WIDEST_GLASS_MM)
        check_within("up_mm", self.up_mm, -WIDEST_GLASS_MM, WIDEST_GLASS_MM)
        object.__setattr__(self, "clear", ClearPart.of("clear", self.clear))

    def share(self, shape: tuple[int, int], camera: Camera) -> RowsBetween:
        """Share of each pixel's light that passes the clear part. [1]."""
        (share,) = map_over_frame(
            lambda x, y: self._share(x, y, camera)[np.newaxis],
            shape,
            camera,
            nodes_per_blur=ACCURACY.hole_nodes_per_blur,
            fewest_nodes=ACCURACY.fewest_hole_nodes,
        )
        return share

    def share_in_the_middle(self, camera: Camera) -> float:
        """Share of the light from the middle of the frame that passes the clear part. [1]."""
        return float(self._share(np.zeros(1), np.zeros(1), camera)[0])

    def _share(self, tangent_x: Float64, tangent_y: Float64, camera: Camera) -> Float64:
        hole = RoundHole(
            radius_m=m_from_mm(self.radius_mm),
            x_m=m_from_mm(self.right_mm),
            y_m=-m_from_mm(self.up_mm),
        )
        inside = hole.share(Footprint.of_camera(camera), tangent_x, tangent_y)
        return inside if self.clear is ClearPart.INSIDE else 1 - inside

    def facts(self, camera: Camera) -> tuple[Fact, ...]:
        """Where the circle lies in the frame of a lens, and how soft its edge is there."""
        footprint = Footprint.of_camera(camera)
        half_frame = camera.sensor_width_mm / 2 / camera.focal_length_mm
        middle = float(footprint.tangent_of(m_from_mm(self.radius_mm))) / half_frame
        soft = footprint.blur_diameter / (2 * half_frame)
        return (
            Fact(name="circle reaches, of the half width", values=(100 * middle,), unit="%"),
            Fact(name="its edge is soft over, of the width", values=(100 * soft,), unit="%"),
        )

    def parts_of_a_pixel(self, shape: tuple[int, int], camera: Camera) -> int:
        """How many parts along a side pixels of a small frame are to be split into.

        Where the rim begins, both what is clear and a lamp's halo change within a pixel.
        """
        blur_px = Footprint.of_camera(camera).blur_diameter * camera.px_per_rad(shape[1])
        return min(most_parts(shape), math.ceil(ACCURACY.rim_px / blur_px))
