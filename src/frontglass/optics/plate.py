"""A plane plate before the lens: what it mirrors back, where that lands, how wide and how strong.

Places of light are tangents of field angles, to the right and down, from the axis of the lens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_positive, check_share
from frontglass.errors import ParameterError
from frontglass.optics.psf import FloatArray

FILM_INDEX = 1.38
"""Of magnesium fluoride, the usual single layer. From memory."""
LEAST_AHEAD = 0.05
"""Ghosts farther aside than some 87 degrees are seen by no lens."""
FILM_DESIGN_NM = 550.0
"""Where a single layer is a quarter of a wave thick. Common practice, no source."""


class Lean(NamedTuple):
    """How a plate's normal leans from the axis of the lens: tangents to the right and down."""

    right: float
    down: float


class Leans(NamedTuple):
    """Several leans, of any shape: what is found for one is then found for each."""

    right: FloatArray
    down: FloatArray


class Mirror(NamedTuple):
    """A surface, or a plate whose surfaces are parallel, as what mirrors light.

    Parameters
    ----------
    reflectance : tuple of 3 float
        Red, green, blue. [1], in [0, 1].
    lean : Lean
        Where its normal points; of a far surface as it is seen through the glass.
    """

    reflectance: tuple[float, ...]
    lean: Lean


class Reflection(NamedTuple):
    """Light that comes in by a way it should not.

    Parameters
    ----------
    level : tuple of 3 float
        Over the light of its lamp, red, green, blue; of a ghost, over what the camera sends back.
    lean : Lean
        Of the mirror that makes a ghost; of caught light, how far the two mirrors lean apart.
    """

    level: tuple[float, ...]
    lean: Lean


def fresnel_reflectance(index: float, incidence_rad: float = 0.0) -> float:
    """Share of unpolarised light that a bare surface of glass in air mirrors.

    Parameters
    ----------
    index : float
        Refractive index. [1], >= 1.
    incidence_rad : float
        Between the light and the normal, in air. [rad], in [0, pi/2].

    Returns
    -------
    float
        [1], in [0, 1].

    Notes
    -----
    ``((n - 1) / (n + 1))**2`` along the normal; else the mean of both polarisations.

    References
    ----------
    [BornWolf1999] sec. 1.5.2, eqs. 21a and 1.5.3.
    """
    if not index >= 1:
        raise ParameterError("index", ">= 1", index)
    inside, outside = math.sqrt(index**2 - math.sin(incidence_rad) ** 2), math.cos(incidence_rad)
    across = ((outside - inside) / (outside + inside)) ** 2
    along = ((index**2 * outside - inside) / (index**2 * outside + inside)) ** 2
    return (across + along) / 2


def coated_reflectance(index: float, wavelength_nm: float) -> float:
    """Share that a surface with a single quarter-wave layer mirrors, along the normal.

    Notes
    -----
    Two surfaces that interfere: ``r1`` from air to the layer, ``r2`` from there to the glass, half
    a wave apart at 550 nm.

    References
    ----------
    [BornWolf1999] sec. 1.6.4.
    """
    first = (1 - FILM_INDEX) / (1 + FILM_INDEX)
    second = (FILM_INDEX - index) / (FILM_INDEX + index)
    both = 2 * first * second * math.cos(math.pi * FILM_DESIGN_NM / wavelength_nm)
    return (first**2 + second**2 + both) / (1 + (first * second) ** 2 + both)


def plate_reflectance(surface: float) -> float:
    """Share that both surfaces of a clear plate mirror, with all that goes to and fro inside.

    Parameters
    ----------
    surface : float
        Reflectance of each. [1], in [0, 1].

    Notes
    -----
    ``R + T**2 R (1 + R**2 + ...) = 2 R / (1 + R)``; what is left, ``(1 - R) / (1 + R)``, passes.
    """
    return 2 * check_share("surface", surface) / (1 + surface)


def ghosts_and_caught(
    mirrors: tuple[Mirror, ...],
) -> tuple[tuple[Reflection, ...], tuple[Reflection, ...]]:
    """Return what mirrors before a lens make of a lamp: ghosts, and light caught between two.

    Parameters
    ----------
    mirrors : tuple of Mirror
        The outermost first.

    Notes
    -----
    A ghost has gone once more through all mirrors nearer the lens, to and fro. Caught light comes
    back from the nearer mirror of a pair, then from the farther one; it stands off its lamp by
    twice the angle between them.
    """
    ghosts, caught = [], []
    for far, mirror in enumerate(mirrors):
        kept: tuple[float, ...] = (1.0, 1.0, 1.0)
        for near in reversed(mirrors[far + 1 :]):
            kept = _times(kept, [(1 - part) ** 2 for part in near.reflectance])
        ghosts.append(Reflection(_times(mirror.reflectance, kept), mirror.lean))
        between: tuple[float, ...] = (1.0, 1.0, 1.0)
        for near in mirrors[far + 1 :]:
            both = _times(_times(mirror.reflectance, near.reflectance), between)
            apart = Lean(mirror.lean.right - near.lean.right, mirror.lean.down - near.lean.down)
            caught.append(Reflection(both, apart))
            between = _times(between, [(1 - part) ** 2 for part in near.reflectance])
    return tuple(ghosts), tuple(caught)


def _times(some: ArrayLike, others: ArrayLike) -> tuple[float, ...]:
    return tuple(float(part) for part in np.multiply(some, others))


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnPath:
    """Way of light from the sensor out of the lens, off a plate and in again.

    Parameters
    ----------
    pupil_m : float
        Diameter of the entrance pupil. [m], > 0.
    distance_m : float
        From the plate to it. [m], > 0.
    focus_m : float
        From what is in focus to it. [m], farther than the plate; infinity unless given.

    Raises
    ------
    ParameterError
        If a length is out of range.

    Notes
    -----
    Derived here, for small angles. A lamp in direction t is imaged where a point P = t S at the
    focus distance S is; light that the sensor sends back leaves the pupil at any q and heads for P.
    At the plate, a distance d out, it turns back: seen without the turn it goes on to
    q + (P - q) 2d/S when it is at the pupil again, so it comes in there at

        q' = k q + 2 d (t - a),   k = 1 - 2 d/S,

    for a plate whose normal leans by a, and from where it comes it is imaged at

        -k t + 2 a (1 - d/S) + q 2 (1 - d/S)/S.

    So the ghost of a point is a disc of the iris' shape, ``2 D (1 - d/S)/S`` across, about
    ``-k t + 2 a (1 - d/S)``: a point at infinity, exactly opposite. What is missing of the disc is
    where q' falls beside the pupil. The sensor is taken to send light into all of the pupil, as its
    grid of pixels nearly does, or a mirror under a lens whose exit pupil is far away; a bare
    mirror under another lens loses more away from the axis.
    """

    pupil_m: float
    distance_m: float
    focus_m: float = math.inf

    def __post_init__(self) -> None:
        check_positive("pupil_m", self.pupil_m)
        distance = check_positive("distance_m", self.distance_m)
        if not self.focus_m > distance:
            raise ParameterError("focus_m", f"farther than the plate, {distance:g}", self.focus_m)

    @property
    def narrowing(self) -> float:
        """Width of the light at the pupil over what it was when it left. [1], below 0 crossed."""
        return 1 - 2 * self.distance_m / self.focus_m

    @property
    def blur(self) -> float:
        """Diameter of the disc, as a tangent of field angle; 0 for a lens focused at infinity."""
        if math.isinf(self.focus_m):
            return 0.0
        return 2 * self.pupil_m * (1 - self.distance_m / self.focus_m) / self.focus_m

    def place(
        self, right: ArrayLike, down: ArrayLike, lean: Lean | Leans
    ) -> tuple[FloatArray, FloatArray]:
        """Return where ghosts of directions stand: tangents to the right and down.

        Notes
        -----
        Exact for a mirror and a lens focused at infinity, whatever the angles; what a nearer focus
        changes is taken for small ones.
        """
        x, y = np.asarray(right, np.float64), np.asarray(down, np.float64)
        ahead = _ahead(x, y, lean)
        along = ahead + 1
        near = self.distance_m / self.focus_m
        return (
            np.asarray((along * lean.right - x) / ahead + 2 * near * (x - lean.right)),
            np.asarray((along * lean.down - y) / ahead + 2 * near * (y - lean.down)),
        )

    def ahead(self, right: ArrayLike, down: ArrayLike, lean: Lean | Leans) -> FloatArray:
        """How far ahead of the lens ghosts stand, over how far their lamps do; 0 is abeam."""
        return _ahead(np.asarray(right, np.float64), np.asarray(down, np.float64), lean)

    def stretch(self, right: ArrayLike, down: ArrayLike, lean: Lean | Leans) -> FloatArray:
        """Area of a ghost over that of its lamp, as tangents have it; 1 for an upright plate."""
        x, y = np.asarray(right, np.float64), np.asarray(down, np.float64)
        return np.asarray(_ahead(x, y, lean) ** -3.0)

    def walk(
        self, right: ArrayLike, down: ArrayLike, lean: Lean | Leans
    ) -> tuple[FloatArray, FloatArray]:
        """How far aside light comes back to the pupil, over its diameter: to the right and down."""
        to_and_fro = 2 * self.distance_m / self.pupil_m
        x, y = np.asarray(right, np.float64), np.asarray(down, np.float64)
        return to_and_fro * (x - lean.right), to_and_fro * (y - lean.down)

    def share(self, right: ArrayLike, down: ArrayLike, lean: Lean | Leans) -> FloatArray:
        """Share of what leaves the pupil that comes in again. [1], in [0, 1]."""
        aside = np.hypot(*self.walk(right, down, lean))
        x, y = np.asarray(right, np.float64), np.asarray(down, np.float64)
        aside = np.where(_ahead(x, y, lean) > LEAST_AHEAD, aside, math.inf)
        narrow = abs(self.narrowing)
        if narrow < 1e-9:  # all of it comes to one point
            return np.where(aside < 0.5, 1.0, 0.0)
        return _overlap(aside / narrow, 0.5, 0.5 / narrow) / (math.pi / 4)

    @property
    def farthest(self) -> float:
        """Tangent, from the normal of the plate, beyond which no ghost comes in."""
        return self.pupil_m * (1 + abs(self.narrowing)) / (4 * self.distance_m)

    def cover(
        self, right: FloatArray, down: FloatArray, walk: tuple[float, float], iris: Iris
    ) -> FloatArray:
        """How much of a ghost's disc there is at places round its middle, over its diameter."""
        k = self.narrowing
        back = iris.cover(k * right + walk[0], k * down + walk[1])
        return iris.cover(right, down) * back


@dataclass(frozen=True, slots=True, kw_only=True)
class Iris:
    """Shape of a pupil, one wide: round, or with so many corners.

    Parameters
    ----------
    blades : int
        Corners; 0 is round. [1]
    edge : float
        Width over which its rim falls off, over its diameter. [1], > 0.
    """

    blades: int = 0
    edge: float = 0.01

    def cover(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """How much of it there is at places from its middle. [1], in [0, 1]."""
        radius, reach = np.hypot(x, y), 0.5
        if self.blades:
            half = math.pi / self.blades
            radius = radius * np.cos(np.mod(np.arctan2(y, x), 2 * half) - half)
            # As large as the round one.
            reach *= math.cos(half) / math.sqrt(math.sin(2 * half) / (2 * half))
        return np.asarray(np.clip(0.5 - (radius - reach) / self.edge, 0.0, 1.0))


def _ahead(x: FloatArray, y: FloatArray, lean: Lean | Leans) -> FloatArray:
    """How far ahead of the lens a ghost stands, seen from where its lamp is at one; 0 is abeam."""
    along = lean.right * x + lean.down * y + 1
    return np.asarray(2 * along / (lean.right**2 + lean.down**2 + 1) - 1)


def _overlap(apart: ArrayLike, one: float, other: float) -> FloatArray:
    """Area that two discs of these radii share, their middles so far apart."""
    apart = np.asarray(apart, np.float64)
    inside = abs(one - other)
    touching = np.clip(apart, max(inside, 1e-12), one + other)
    angles = [
        np.arccos(np.clip((touching**2 + a**2 - b**2) / (2 * touching * a), -1, 1))
        for a, b in ((one, other), (other, one))
    ]
    kite = (one + other - touching) * (touching + one - other)
    kite = kite * (touching - one + other) * (touching + one + other)
    kite = np.sqrt(np.maximum(kite, 0)) / 2
    shared = one**2 * angles[0] + other**2 * angles[1] - kite
    return np.where(apart <= inside, math.pi * min(one, other) ** 2, shared)
