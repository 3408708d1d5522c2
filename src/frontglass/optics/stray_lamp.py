"""A lamp beside the lens: the wash it lays over the frame, and the ghosts it may break into."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from frontglass.checks import check_not_negative, check_number, check_positive, check_share
from frontglass.errors import ParameterError
from frontglass.optics.air import henyey_greenstein
from frontglass.optics.psf import FloatArray

LARGEST_LAMP_ANGLE_RAD = math.radians(89.0)
SCENE_WHITE_REFLECTANCE = 0.9
FEWEST_BLADES, MOST_BLADES = 5, 18


@dataclass(frozen=True, slots=True, kw_only=True)
class HenyeyGreensteinScatter:
    """How front glass scatters light far from its direction: most of it forward.

    Parameters
    ----------
    optical_depth : float
        Mean number of deviations; their share of the light while it is small. [1], >= 0.
    asymmetry : float
        Mean cosine of the angle. [1], in (-1, 1).

    Notes
    -----
    The phase function of `henyey_greenstein`, times the depth.
    """

    optical_depth: float
    asymmetry: float

    def __post_init__(self) -> None:
        check_not_negative("optical_depth", self.optical_depth)
        if not -1 < check_number("asymmetry", self.asymmetry) < 1:
            raise ParameterError("asymmetry", "in (-1, 1)", self.asymmetry)

    def density(self, angle_rad: ArrayLike) -> FloatArray:
        """Share per solid angle [1/sr] at an angle [rad]."""
        cosine = np.cos(np.asarray(angle_rad, dtype=np.float64))
        return self.optical_depth * henyey_greenstein(cosine, self.asymmetry)


@dataclass(frozen=True, slots=True, kw_only=True)
class LampDirection:
    """Where a lamp stands, as the lens sees it.

    Parameters
    ----------
    off_axis_rad : float
        Angle from the optical axis. [rad], in [0, 89 degrees].
    clock_rad : float
        Direction in the frame in which it lies: 0 is right, a quarter turn is down, as pixel
        rows count. [rad]
    """

    off_axis_rad: float
    clock_rad: float = 0.0

    def __post_init__(self) -> None:
        angle = check_number("off_axis_rad", self.off_axis_rad)
        if not 0 <= angle <= LARGEST_LAMP_ANGLE_RAD:
            rule = f"in [0, {LARGEST_LAMP_ANGLE_RAD:.4g}]"
            raise ParameterError("off_axis_rad", rule, angle, "From behind no light strikes glass.")
        check_number("clock_rad", self.clock_rad)

    @property
    def tangents(self) -> tuple[float, float]:
        """Where it would be in the frame: tangents of the field angle, right and down."""
        radius = math.tan(self.off_axis_rad)
        return radius * math.cos(self.clock_rad), radius * math.sin(self.clock_rad)

    def angle_to_rad(self, tangent_x: ArrayLike, tangent_y: ArrayLike) -> FloatArray:
        """Angle between the lamp and field directions given by their tangents [rad]."""
        x, y = np.asarray(tangent_x, np.float64), np.asarray(tangent_y, np.float64)
        sine = math.sin(self.off_axis_rad)
        lx, ly, lz = (
            sine * math.cos(self.clock_rad),
            sine * math.sin(self.clock_rad),
            math.cos(self.off_axis_rad),
        )
        # By the tangent: the arc cosine loses half its digits near zero.
        across = np.sqrt((y * lz - ly) ** 2 + (lx - x * lz) ** 2 + (x * ly - y * lx) ** 2)
        return np.asarray(np.arctan2(across, x * lx + y * ly + lz))


@dataclass(frozen=True, slots=True, kw_only=True)
class OffAxisLamp:
    """A lamp outside the frame that strikes the front glass.

    Parameters
    ----------
    direction : LampDirection
        Where it stands.
    illuminance : float
        On a surface that faces it, at the glass. [lx, or relative to the key light], >= 0.
    scatter : HenyeyGreensteinScatter
        What the glass does to it.
    dust_share : float
        Share scattered evenly by dust and fingerprints. [1], in [0, 1].
    hooded : bool
        Whether a hood or flag keeps it off the glass.

    Notes
    -----
    L = E cos(off axis) (K(angle) + dust / pi).
    """

    direction: LampDirection
    illuminance: float
    scatter: HenyeyGreensteinScatter
    dust_share: float = 0.0
    hooded: bool = False

    def __post_init__(self) -> None:
        check_not_negative("illuminance", self.illuminance)
        check_share("dust_share", self.dust_share)

    def wash(self, tangent_x: ArrayLike, tangent_y: ArrayLike) -> FloatArray:
        """Radiance laid over field directions, in the unit of the illuminance per steradian.

        In cd/m2 for lux.
        """
        angle = self.direction.angle_to_rad(tangent_x, tangent_y)
        if self.hooded:
            return np.zeros(angle.shape)
        struck = self.illuminance * math.cos(self.direction.off_axis_rad)
        return np.asarray(struck * (self.scatter.density(angle) + self.dust_share / math.pi))


def white_from_radiance(
    radiance: ArrayLike,
    *,
    key_illuminance: float,
    white_reflectance: float = SCENE_WHITE_REFLECTANCE,
) -> FloatArray:
    """Radiance as a fraction of a white card's under the key light.

    Parameters
    ----------
    radiance : array_like
        [cd/m2], or any unit of radiance.
    key_illuminance : float
        In the same unit times steradian. [lx], > 0.
    white_reflectance : float
        Of the card, Lambertian. [1], in (0, 1].

    Returns
    -------
    ndarray
        pi radiance / (reflectance illuminance). [white = 1]
    """
    white = check_positive("white_reflectance", white_reflectance)
    if white > 1:
        raise ParameterError("white_reflectance", "in (0, 1]", white)
    card = white * check_positive("key_illuminance", key_illuminance) / math.pi
    return np.asarray(np.asarray(radiance, dtype=np.float64) / card)


class Ghost(NamedTuple):
    """One reflection between two surfaces of a lens, as the frame shows it.

    Parameters
    ----------
    place : float
        Along the line from the lamp through the middle of the frame: 1 is the lamp itself, 0 the
        middle, -1 the point across. [1]
    radius : float
        Of the disc, as a tangent of field angle. [1], > 0.
    share : float
        Light in the disc over the light that strikes the glass. [1], >= 0.
    """

    place: float
    radius: float
    share: float


EXAMPLE_GHOSTS: tuple[Ghost, ...] = (
    Ghost(0.45, 0.020, 4e-6),
    Ghost(0.12, 0.035, 6e-6),
    Ghost(-0.20, 0.015, 3e-6),
    Ghost(-0.50, 0.055, 8e-6),
    Ghost(-0.85, 0.030, 4e-6),
)
"""A chain to warn of ghosts. It is drawn, not computed from any lens."""


def iris_cover(
    x: ArrayLike, y: ArrayLike, *, radius: float, blades: int, turn_rad: float, edge: float
) -> FloatArray:
    """Cover of a disc of the iris' shape at places around its middle.

    Parameters
    ----------
    x, y : array_like
        Places, in the unit of the radius.
    radius : float
        From the middle to a corner. > 0.
    blades : int
        Corners. [1], in 5...18.
    turn_rad : float
        Direction of a corner, from x towards y. [rad]
    edge : float
        Width over which the cover falls from 1 to 0. In the unit of the radius, > 0.

    Returns
    -------
    ndarray
        [1], in [0, 1].
    """
    check_positive("radius", radius)
    check_positive("edge", edge)
    if not FEWEST_BLADES <= blades <= MOST_BLADES:
        raise ParameterError("blades", f"in {FEWEST_BLADES}...{MOST_BLADES}", blades)
    half = math.pi / blades
    x, y = np.asarray(x, np.float64), np.asarray(y, np.float64)
    around = np.mod(np.arctan2(y, x) - turn_rad, 2 * half) - half
    # Distance beyond the nearest side.
    beyond = np.hypot(x, y) * np.cos(around) - radius * math.cos(half)
    return np.asarray(np.clip(0.5 - beyond / edge, 0.0, 1.0))


def ghost_radiance(
    lamp: OffAxisLamp,
    ghosts: tuple[Ghost, ...],
    tangent_x: ArrayLike,
    tangent_y: ArrayLike,
    *,
    blades: int = 7,
    turn_rad: float = 0.0,
    edge: float = 1e-3,
) -> FloatArray:
    """Radiance of a chain of ghosts over field directions; a warning, not a forecast.

    Parameters
    ----------
    lamp : OffAxisLamp
        The lamp; a hooded one makes none.
    ghosts : tuple of Ghost
        The chain.
    tangent_x, tangent_y : array_like
        Tangents of the field angles.
    blades, turn_rad, edge : int, float, float
        As for `iris_cover`.

    Returns
    -------
    ndarray
        In the unit of `OffAxisLamp.wash`. The discs lie on the line from the lamp through the
        middle of the frame, share / area each.
    """
    x, y = np.broadcast_arrays(np.asarray(tangent_x, np.float64), np.asarray(tangent_y, np.float64))
    total = np.zeros(x.shape)
    if lamp.hooded:
        return total
    lamp_x, lamp_y = lamp.direction.tangents
    struck = lamp.illuminance * math.cos(lamp.direction.off_axis_rad)
    for ghost in ghosts:
        area = blades / 2 * math.sin(2 * math.pi / blades) * ghost.radius**2
        dx, dy = x - ghost.place * lamp_x, y - ghost.place * lamp_y
        cover = iris_cover(dx, dy, radius=ghost.radius, blades=blades, turn_rad=turn_rad, edge=edge)
        total += struck * ghost.share / area * cover
    return total
