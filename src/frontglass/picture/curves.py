"""Transfer curves: from what a file holds, in [0, 1], to linear light and back."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import ParameterError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

Values = NDArray[np.float64]


class Curve(Hashable, Protocol):
    """A rising transfer curve."""

    def decode(self, signal: ArrayLike) -> Values:
        """Linear light of signal values."""
        ...

    def encode(self, light: ArrayLike) -> Values:
        """Signal values of linear light."""
        ...


@dataclass(frozen=True, slots=True)
class ParametricCurve:
    """Power above a break, straight line below it, as [ICC.1-2022] 10.18 function type 4.

    Light is ``(a x + b)**g + e`` for ``x >= d`` and ``c x + f`` below; without a line
    (``d <= 0``) the curve is odd, so that negative values survive a round trip.

    Parameters
    ----------
    g, a, b, c, d, e, f : float
        The seven parameters; g > 0, a > 0, c >= 0.

    Raises
    ------
    ParameterError
        If the curve does not rise.
    """

    g: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    def __post_init__(self) -> None:
        values = (self.g, self.a, self.b, self.c, self.d, self.e, self.f)
        rises = self.g > 0 and self.a > 0 and self.c >= 0
        if not np.isfinite(values).all() or not rises:
            raise ParameterError("curve", "rising", values)

    def decode(self, signal: ArrayLike) -> Values:
        """Linear light of signal values."""
        x = np.asarray(signal, dtype=np.float64)
        if self.is_line:
            return x.copy()
        power = _odd_power(self.a * x + self.b, self.g) + self.e
        if self.d <= 0 and self.c == 0:
            return power
        return np.where(x >= self.d, power, self.c * x + self.f)

    def encode(self, light: ArrayLike) -> Values:
        """Signal values of linear light."""
        y = np.asarray(light, dtype=np.float64)
        if self.is_line:
            return y.copy()
        power = (_odd_power(y - self.e, 1 / self.g) - self.b) / self.a
        if self.d <= 0 and self.c == 0:
            return power
        line = (y - self.f) / self.c if self.c > 0 else np.full_like(y, self.d)
        # At the break the two pieces may miss each other by a rounding of the standard
        # (2.9e-8 for IEC 61966-2-1); the power piece decides, as in decode.
        at_break = _odd_power(np.float64(self.a * self.d + self.b), self.g) + self.e
        return np.where(y >= at_break, power, np.minimum(line, self.d))

    @property
    def is_line(self) -> bool:
        """Whether signal is light."""
        return self == LINEAR


@dataclass(frozen=True, slots=True, eq=False)
class SampledCurve:
    """Straight lines between evenly spaced samples.

    Parameters
    ----------
    samples : ndarray, shape (N,), N >= 2
        Light at signal 0 ... 1, not falling, and rising over all. [1].

    Raises
    ------
    ParameterError
        If the samples fall anywhere or never rise.
    """

    samples: Values

    def __post_init__(self) -> None:
        light = np.asarray(self.samples, dtype=np.float64)
        if light.ndim != 1 or light.size < 2:
            raise ParameterError("curve", "of two samples or more", light.shape)
        if not np.isfinite(light).all() or np.any(np.diff(light) < 0) or light[-1] <= light[0]:
            raise ParameterError("curve", "rising", f"{light.size} samples that fall or stay")
        object.__setattr__(self, "samples", light)

    def decode(self, signal: ArrayLike) -> Values:
        """Linear light of signal values; beyond [0, 1] the end pieces go on straight."""
        x = np.asarray(signal, dtype=np.float64)
        return _straight(x, np.linspace(0.0, 1.0, self.samples.size), self.samples)

    def encode(self, light: ArrayLike) -> Values:
        """Signal values of linear light; on a flat piece its upper end."""
        x = np.asarray(light, dtype=np.float64)
        nodes = np.linspace(0.0, 1.0, self.samples.size)
        rising = np.flatnonzero(np.diff(self.samples) > 0)
        # Of equal levels numpy takes the last, and between others what lies between them.
        inside = np.interp(x, self.samples, nodes, left=nodes[rising[0]])
        low, high = (self.samples.size - 1) * np.diff(self.samples)[rising[[0, -1]]]
        below = np.minimum(x - self.samples[0], 0.0) / low
        above = np.maximum(x - self.samples[-1], 0.0) / high
        return np.asarray(inside + below + above)


def _straight(x: Values, nodes: Values, values: Values) -> Values:
    inside = np.interp(x, nodes, values)
    low = (values[1] - values[0]) / (nodes[1] - nodes[0])
    high = (values[-1] - values[-2]) / (nodes[-1] - nodes[-2])
    below = np.minimum(x - nodes[0], 0.0) * low
    above = np.maximum(x - nodes[-1], 0.0) * high
    return np.asarray(inside + below + above)


def _odd_power(x: Values | np.float64, exponent: float) -> Values:
    return np.asarray(np.copysign(np.abs(x) ** exponent, x))


LINEAR = ParametricCurve(1.0)
"""Signal is light."""

SRGB_CURVE = ParametricCurve(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
"""Transfer curve of IEC 61966-2-1."""

OPRGB_CURVE = ParametricCurve(563 / 256)
"""Transfer curve of opRGB, IEC 61966-2-5: exponent 2 + 51/256."""

BT709_CURVE = ParametricCurve(1 / 0.45, 1 / 1.099, 0.099 / 1.099, 1 / 4.5, 0.081)
"""Inverse of the camera curve of ITU-R BT.709, item 1.2."""
