"""What the three channels mean: chromaticities, luminance, and the way to other primaries."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Choice
from frontglass.errors import ParameterError

Matrix = NDArray[np.float64]
Chromaticity = tuple[float, float]

D50: Chromaticity = (0.3457029, 0.3585386)
"""The ICC profile connection space's white, X Y Z = 0.9642 1 0.8249 [ICC.1-2022] 7.2.16."""

D65: Chromaticity = (0.3127, 0.3290)

BRADFORD: Matrix = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
"""Linear Bradford cone responses from XYZ, as [ICC.1-2022] annex E gives them."""


@dataclass(frozen=True, slots=True)
class Primaries:
    """Chromaticities of the three channels and of the white they add up to.

    Parameters
    ----------
    red, green, blue, white : tuple of two floats
        CIE 1931 x, y. [1]; the three primaries must not lie on a line, y of white > 0.

    Raises
    ------
    ParameterError
        If the triangle has no area or the white no luminance.

    Examples
    --------
    >>> import frontglass as fg
    >>> d65 = (0.3127, 0.3290)
    >>> bt2020 = fg.Primaries((0.708, 0.292), (0.170, 0.797), (0.131, 0.046), d65)
    >>> bt2020.luminance_weights.round(4).tolist()
    [0.2627, 0.678, 0.0593]
    """

    red: Chromaticity
    green: Chromaticity
    blue: Chromaticity
    white: Chromaticity

    def __post_init__(self) -> None:
        points = (self.red, self.green, self.blue, self.white)
        if not np.isfinite(points).all():
            raise ParameterError("primaries", "finite chromaticities", points)
        # float32 attributes carry 7 digits; a triangle this thin says nothing about colour.
        if abs(np.linalg.det(_xyz_columns(points[:3]))) < 1e-6 or not self.white[1] > 0:
            raise ParameterError("primaries", "a triangle round a white", points)

    @classmethod
    def from_xyz_matrix(cls, xyz_from_rgb: Matrix) -> Primaries:
        """Primaries whose columns of XYZ these are; white is their sum."""
        columns = [*np.asarray(xyz_from_rgb, dtype=np.float64).T]
        columns.append(np.sum(columns, axis=0))
        sums = [float(np.sum(column)) for column in columns]
        if not np.isfinite(sums).all() or 0.0 in sums:
            raise ParameterError("primaries", "colours with light in them", columns)
        xy = [(float(c[0]) / s, float(c[1]) / s) for c, s in zip(columns, sums, strict=True)]
        return cls(*xy)

    @property
    def xyz_from_rgb(self) -> Matrix:
        """Matrix from linear R, G, B to X, Y, Z; R = G = B = 1 has Y = 1."""
        columns = _xyz_columns((self.red, self.green, self.blue))
        return np.asarray(columns * np.linalg.solve(columns, xyz_of_white(self.white)), np.float64)

    @property
    def luminance_weights(self) -> Matrix:
        """Shares of R, G, B in luminance Y; their sum is 1."""
        weights: Matrix = self.xyz_from_rgb[1]
        return weights

    def matrix_to(self, other: Primaries) -> Matrix:
        """Matrix from this linear RGB to `other`'s; Bradford where the whites differ."""
        adaptation = bradford_adaptation(self.white, other.white)
        mine = adaptation @ self.xyz_from_rgb
        return np.asarray(np.linalg.solve(other.xyz_from_rgb, mine), np.float64)

    def is_close_to(self, other: Primaries) -> bool:
        """Whether no chromaticity differs by more than a file format's rounding."""
        mine = np.array((self.red, self.green, self.blue, self.white))
        theirs = np.array((other.red, other.green, other.blue, other.white))
        # ICC s15.16 colorants leave up to 1e-4 in x, y after adaptation.
        return bool(np.max(np.abs(mine - theirs)) < 2e-4)


def xyz_of_white(white: Chromaticity) -> Matrix:
    """X, Y, Z of a white with Y = 1."""
    x, y = white
    return np.array([x / y, 1.0, (1 - x - y) / y])


def bradford_adaptation(source: Chromaticity, target: Chromaticity) -> Matrix:
    """Matrix that takes XYZ seen under `source` to XYZ seen under `target`."""
    if source == target:
        return np.eye(3)
    gains = (BRADFORD @ xyz_of_white(target)) / (BRADFORD @ xyz_of_white(source))
    return np.asarray(np.linalg.solve(BRADFORD, gains[:, np.newaxis] * BRADFORD), np.float64)


def _xyz_columns(points: tuple[Chromaticity, ...]) -> Matrix:
    return np.array([(x, y, 1 - x - y) for x, y in points]).T


BT709 = Primaries((0.640, 0.330), (0.300, 0.600), (0.150, 0.060), D65)
"""Primaries of ITU-R BT.709 and IEC 61966-2-1."""

P3_D65 = Primaries((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), D65)
"""Primaries of SMPTE EG 432-1."""

BT2020 = Primaries((0.708, 0.292), (0.170, 0.797), (0.131, 0.046), D65)
"""Primaries of ITU-R BT.2020."""

OPRGB = Primaries((0.640, 0.330), (0.210, 0.710), (0.150, 0.060), D65)
"""Primaries of opRGB, IEC 61966-2-5; DCF calls it the optional colour space."""

ROMM = Primaries((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001), D50)
"""Primaries of ROMM RGB, ISO 22028-2."""

AP0 = Primaries((0.7347, 0.2653), (0.0, 1.0), (0.0001, -0.0770), (0.32168, 0.33767))
"""Primaries of SMPTE ST 2065-1."""

AP1 = Primaries((0.713, 0.293), (0.165, 0.830), (0.128, 0.044), (0.32168, 0.33767))
"""Primaries of S-2014-004."""


class NamedPrimaries(Choice):
    """Primaries that have a name."""

    BT709 = "bt709"
    P3_D65 = "p3-d65"
    BT2020 = "bt2020"
    OPRGB = "oprgb"
    ROMM = "romm"
    AP0 = "ap0"
    AP1 = "ap1"


def primaries_of(value: Primaries | str) -> Primaries:
    """Return primaries, given as such or by their name.

    Raises
    ------
    ParameterError
        If the name is none of `NamedPrimaries`.
    """
    if isinstance(value, Primaries):
        return value
    return {
        NamedPrimaries.BT709: BT709,
        NamedPrimaries.P3_D65: P3_D65,
        NamedPrimaries.BT2020: BT2020,
        NamedPrimaries.OPRGB: OPRGB,
        NamedPrimaries.ROMM: ROMM,
        NamedPrimaries.AP0: AP0,
        NamedPrimaries.AP1: AP1,
    }[NamedPrimaries.of("primaries", value)]
