"""Scatter that falls as the inverse square of the angle, as that of the eye does [Spencer1995]."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, kw_only=True)
class InverseSquareScatter:
    """Share of the light per solid angle: level over the angle in degrees squared."""

    level_per_sr: float

    def density(self, angle_rad: ArrayLike) -> NDArray[np.float64]:
        """Share per solid angle [1/sr] at an angle > 0 [rad]."""
        return np.asarray(self.level_per_sr / np.degrees(np.asarray(angle_rad, np.float64)) ** 2)
