"""Curves of ITU-R BT.2100: signals that hold light above diffuse white."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

Values = NDArray[np.float64]

WHITE_CD_PER_M2 = 203.0
"""Diffuse white of HDR pictures, ITU-R BT.2408 table 1."""
_M1, _M2 = 2610 / 16384, 2523 / 4096 * 128
_C1, _C2, _C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
_A, _B, _C = 0.17883277, 0.28466892, 0.55991073
_HLG_WHITE = 0.75
"""Signal of diffuse white in HLG, ITU-R BT.2408 table 1."""


@dataclass(frozen=True, slots=True)
class PqCurve:
    """Light shown by a PQ signal, over diffuse white: ITU-R BT.2100 table 4."""

    def decode(self, signal: ArrayLike) -> Values:
        """Linear light of signal values."""
        x = np.asarray(signal, dtype=np.float64)
        root = np.abs(x) ** (1 / _M2)
        light = (np.maximum(root - _C1, 0) / (_C2 - _C3 * np.minimum(root, 1.0))) ** (1 / _M1)
        return np.asarray(np.copysign(light, x) * (10000 / WHITE_CD_PER_M2))

    def encode(self, light: ArrayLike) -> Values:
        """Signal values of linear light."""
        y = np.asarray(light, dtype=np.float64) * (WHITE_CD_PER_M2 / 10000)
        power = np.abs(y) ** _M1
        return np.asarray(np.copysign(((_C1 + _C2 * power) / (1 + _C3 * power)) ** _M2, y))


@dataclass(frozen=True, slots=True)
class HlgCurve:
    """Light of the scene by an HLG signal, over diffuse white: ITU-R BT.2100 table 5.

    The light before the camera, not that of a display: what a display's system gamma adds is
    left to the display.
    """

    def decode(self, signal: ArrayLike) -> Values:
        """Linear light of signal values."""
        return np.asarray(_scene(np.asarray(signal, dtype=np.float64)) / _scene_white())

    def encode(self, light: ArrayLike) -> Values:
        """Signal values of linear light."""
        y = np.asarray(light, dtype=np.float64) * _scene_white()
        most = np.maximum(12 * np.abs(y), 1.0)
        high = _A * np.log(most - _B) + _C
        return np.asarray(np.copysign(np.where(most > 1, high, np.sqrt(3 * np.abs(y))), y))


def _scene(x: Values) -> Values:
    size = np.abs(x)
    light = np.where(size <= 0.5, size**2 / 3, (np.exp((size - _C) / _A) + _B) / 12)
    return np.asarray(np.copysign(light, x))


def _scene_white() -> float:
    return float(_scene(np.array(_HLG_WHITE)))


PQ, HLG = PqCurve(), HlgCurve()
