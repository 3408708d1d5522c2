"""Footprint: the part of a filter that light on its way to one point of the frame passes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_number, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.optics.psf import FloatArray

Paint = Callable[[FloatArray, FloatArray], FloatArray]
"""Anything painted on a filter: a value at places (x, y) [m] from its middle."""

PLACES_IN_A_FOOTPRINT = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Footprint:
    """Disc of a filter that light from one point of the scene passes.

    Parameters
    ----------
    pupil_diameter_m : float
        Entrance pupil. [m], > 0.
    distance_m : float
        From filter to entrance pupil. [m], > 0.
    subject_distance_m : float
        From the point to the entrance pupil. [m], > distance; infinity unless given.

    Raises
    ------
    ParameterError
        If a distance is out of range.

    Notes
    -----
    The middle of the footprint lies ``distance tan(field angle)`` off the axis, on the side that
    the light comes from; its diameter is ``pupil (1 - distance / subject distance)``.
    """

    pupil_diameter_m: float
    distance_m: float
    subject_distance_m: float = math.inf

    def __post_init__(self) -> None:
        check_positive("pupil_diameter_m", self.pupil_diameter_m)
        distance = check_positive("distance_m", self.distance_m)
        if not self.subject_distance_m > distance:
            rule = f"farther than the filter, {distance:g}"
            raise ParameterError("subject_distance_m", rule, self.subject_distance_m)

    @classmethod
    def of_camera(cls, camera: Camera) -> Self:
        """Footprint of a camera focused far away."""
        return cls(
            pupil_diameter_m=camera.entrance_pupil_mm * 1e-3,
            distance_m=camera.filter_distance_mm * 1e-3,
        )

    @property
    def diameter_m(self) -> float:
        """Of the footprint [m]."""
        return self.pupil_diameter_m * (1 - self.distance_m / self.subject_distance_m)

    @property
    def blur_diameter(self) -> float:
        """How wide a point of the filter is smeared over the frame, as a tangent of field angle.

        Notes
        -----
        Times the focal length it is the disc on the sensor, ``focal length x pupil / distance``.
        """
        return self.diameter_m / self.distance_m

    def middle_m(self, tangent: ArrayLike) -> FloatArray:
        """Distance of the footprint's middle from the axis [m] at a tangent of field angle."""
        return np.asarray(self.distance_m * np.asarray(tangent, dtype=np.float64))

    def tangent_of(self, place_m: ArrayLike) -> FloatArray:
        """Tangent of the field angle whose footprint lies about a place of the filter [m]."""
        return np.asarray(np.asarray(place_m, dtype=np.float64) / self.distance_m)

    def seen(self, paint: Paint, tangent_x: ArrayLike, tangent_y: ArrayLike) -> FloatArray:
        """Mean of a painted value over the footprints of field directions.

        Parameters
        ----------
        paint : callable
            Value at places (x, y) [m] of the filter, arrays in, array out; several values may
            stand along a first axis.
        tangent_x, tangent_y : array_like
            Tangents of the field angles, of one shape.

        Returns
        -------
        ndarray, of the shape of the tangents, behind the first axis if there is one
            A sum over 256 places, each standing for an equal part of the disc.
        """
        x, y = np.broadcast_arrays(self.middle_m(tangent_x), self.middle_m(tangent_y))
        total: FloatArray | float = 0.0
        # Places along a spiral, turned by the golden angle each: even over the disc, no grid.
        k = np.arange(PLACES_IN_A_FOOTPRINT)
        radius = self.diameter_m / 2 * np.sqrt((k + 0.5) / PLACES_IN_A_FOOTPRINT)
        turn = k * (math.pi * (3 - math.sqrt(5)))
        for dx, dy in zip(radius * np.cos(turn), radius * np.sin(turn), strict=True):
            total = total + paint(x + dx, y + dy)
        return np.asarray(total / PLACES_IN_A_FOOTPRINT)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundHole:
    """A round part of a filter left clean, or smeared.

    Parameters
    ----------
    radius_m : float
        [m], > 0.
    x_m, y_m : float
        Its middle, from the filter's, x to the right and y down as the frame shows it. [m]
    """

    radius_m: float
    x_m: float = 0.0
    y_m: float = 0.0

    def __post_init__(self) -> None:
        check_positive("radius_m", self.radius_m)
        check_number("x_m", self.x_m)
        check_number("y_m", self.y_m)

    def share(self, footprint: Footprint, tangent_x: ArrayLike, tangent_y: ArrayLike) -> FloatArray:
        """Share of the light from field directions that passes the hole. [1], in [0, 1].

        Notes
        -----
        Light that the filter deviates counts by the direction in which it leaves.
        """
        x = footprint.middle_m(tangent_x) - self.x_m
        y = footprint.middle_m(tangent_y) - self.y_m
        return share_of_disc_in_disc(np.hypot(x, y), footprint.diameter_m / 2, self.radius_m)


def share_of_disc_in_disc(distance: ArrayLike, radius: float, other_radius: float) -> FloatArray:
    """Share of a disc that lies in another.

    Parameters
    ----------
    distance : array_like
        Between the middles, >= 0, in any unit.
    radius, other_radius : float
        Of the disc and of the other, in the same unit, > 0.

    Returns
    -------
    ndarray
        [1], in [0, 1].

    Notes
    -----
    The lens between two circles is two segments, each a sector less a triangle.
    """
    check_positive("radius", radius)
    check_positive("other_radius", other_radius)
    d = np.asarray(distance, dtype=np.float64)
    smaller = min(radius, other_radius)
    # Centres a rounding apart are one: below, a distance divides.
    together = max(abs(radius - other_radius), 1e-12 * smaller)
    apart, inside = d >= radius + other_radius, d <= together
    safe = np.where(apart | inside, math.hypot(radius, other_radius), d)
    total = np.zeros_like(safe)
    for r, other in ((radius, other_radius), (other_radius, radius)):
        cosine = np.clip((safe**2 + r**2 - other**2) / (2 * safe * r), -1.0, 1.0)
        angle = np.arccos(cosine)
        total += r**2 * (angle - cosine * np.sqrt(1 - cosine**2))
    lens = np.where(inside, math.pi * smaller**2, np.where(apart, 0.0, total))
    return np.asarray(np.clip(lens / (math.pi * radius**2), 0.0, 1.0))
