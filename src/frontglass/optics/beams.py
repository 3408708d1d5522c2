"""A beam of light in air: the column that it draws."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from frontglass.checks import check_number
from frontglass.errors import ParameterError
from frontglass.optics.air import Air, henyey_greenstein
from frontglass.optics.psf import FloatArray

Vector = tuple[float, float, float]
STEPS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Spotlight:
    """A lamp that shines into a cone.

    Parameters
    ----------
    origin_m : tuple of 3 float
        Where the lamp is, from the lens: right, down, forward. [m]
    direction : tuple of 3 float
        Along the middle of the beam, in the same axes; of any length > 0.
    cone_rad : float
        Half angle within which it is even. [rad], >= 0.
    edge_rad : float
        Angle over which it falls to nothing outside of that, in a straight line. [rad], > 0;
        both together below pi / 2.
    """

    origin_m: Vector
    direction: Vector
    cone_rad: float
    edge_rad: float

    def __post_init__(self) -> None:
        for name in ("origin_m", "direction"):
            for part in getattr(self, name):
                check_number(name, part)
        if not math.hypot(*self.direction) > 0:
            raise ParameterError("direction", "of a length > 0", self.direction)
        if not (self.cone_rad >= 0 and self.edge_rad > 0 and self.outer_rad < math.pi / 2):
            got = (self.cone_rad, self.edge_rad)
            raise ParameterError("cone_rad, edge_rad", ">= 0, > 0, below pi / 2 in all", got)

    @property
    def outer_rad(self) -> float:
        """Half angle outside of which there is no light [rad]."""
        return self.cone_rad + self.edge_rad

    def share(self, cosine: FloatArray) -> FloatArray:
        """Intensity over that in the middle, at the cosine of an angle from the middle. [1]."""
        angle = np.arccos(np.clip(cosine, -1, 1))
        return np.asarray(np.clip((self.outer_rad - angle) / self.edge_rad, 0, 1))

    def crossing_m(self, rays: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Where rays from the lens enter and leave the cone [m]; equal where they miss it.

        Parameters
        ----------
        rays : ndarray, shape (N, 3)
            Unit vectors: right, down, forward.
        """
        axis = np.asarray(self.direction) / math.hypot(*self.direction)
        start = -np.asarray(self.origin_m)
        cosine2 = math.cos(self.outer_rad) ** 2
        da, ma = rays @ axis, float(start @ axis)
        # (p . axis)**2 = cosine2 (p . p) at p = start + t ray, a quadratic in t.
        a = da * da - cosine2
        b = da * ma - cosine2 * (rays @ start)
        c = ma * ma - cosine2 * float(start @ start)
        a = np.where(np.abs(a) < 1e-12, 1e-12, a)
        root = np.sqrt(np.maximum(b * b - a * c, 0))
        first, second = (-b - root) / a, (-b + root) / a
        low, high = np.minimum(first, second), np.maximum(first, second)
        # A ray steeper to the axis than the cone is inside between the two points; else it is
        # inside beyond one of them, and the other lies on the cone mirrored at the lamp.
        steep, ahead = a < 0, da > 0
        enter = np.where(steep, low, np.where(ahead, high, -np.inf))
        leave = np.where(steep, high, np.where(ahead, np.inf, low))
        lit = ~steep | ((b * b > a * c) & (ma + da * (low + high) / 2 > 0))
        enter = np.maximum(enter, 0)
        leave = np.where(lit, np.maximum(leave, enter), enter)
        return enter, leave


def beam_airlight(
    air: Air, beam: Spotlight, rays: FloatArray, surface_m: FloatArray, *, steps: int = STEPS
) -> FloatArray:
    """Light that a beam adds to view rays, scattered once.

    Parameters
    ----------
    air : Air
        The air.
    beam : Spotlight
        The beam.
    rays : ndarray, shape (N, 3)
        Unit vectors from the lens: right, down, forward.
    surface_m : ndarray, shape (N,)
        From the lens to the surface that each ray meets. [m]; may be inf.
    steps : int
        Nodes of the quadrature along each ray.

    Returns
    -------
    ndarray, shape (N,)
        Radiance per intensity in the middle of the beam [1/m2].

    Notes
    -----
    By quadrature over the angle at the lamp, as in `turned_share`, between the points where the
    ray enters and leaves the cone.
    """
    out = np.zeros(len(rays))
    enter, leave = beam.crossing_m(rays)
    leave = np.minimum(leave, surface_m)
    hit = np.flatnonzero(leave > enter)
    if not hit.size:
        return out
    origin = np.asarray(beam.origin_m, dtype=np.float64)
    axis = np.asarray(beam.direction) / math.hypot(*beam.direction)
    ray = rays[hit]
    foot = ray @ origin  # where the ray passes closest to the lamp
    apart = np.sqrt(np.maximum(float(origin @ origin) - foot * foot, 1e-12))
    first = np.arctan((enter[hit] - foot) / apart)
    last = np.arctan((leave[hit] - foot) / apart)
    nodes, weights = np.polynomial.legendre.leggauss(steps)
    width = (last - first) / 2
    bend = ((first + last) / 2)[:, None] + width[:, None] * nodes
    away, tangent = apart[:, None] / np.cos(bend), np.tan(bend)
    x = foot[:, None] + apart[:, None] * tangent
    ray_axis, origin_axis = ray @ axis, float(origin @ axis)
    lit = beam.share((x * ray_axis[:, None] - origin_axis) / away)
    # Light runs from the lamp to the point and is turned against the ray: cosine = -sin bend.
    lit *= henyey_greenstein(-np.sin(bend), air.asymmetry)
    lit *= np.exp(-air.extinction_per_m * (away + x))
    out[hit] = air.scattering_per_m * (lit @ weights) * width / apart
    return out
