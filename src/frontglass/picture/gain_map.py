"""Gain maps: how much brighter than its display picture each part of a still really was."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

import cv2
import numpy as np

from frontglass.arrays import Float32, Float64
from frontglass.picture.curves import BT709_CURVE
from frontglass.picture.encoding import Codes
from frontglass.picture.primaries import Primaries
from frontglass.threads import over_strips

Triple = tuple[float, float, float]

_SAMPLES = 512
_SHADOWS = tuple(2.0**-k for k in range(4, 11))
"""Light over white from which stops of shadow begin where brightness of all is looked for."""
_LEAST_TOLD = 0.01
_MOST_LIFT = 8.0


class Gain(Protocol):
    """What numbers of a gain map do to light."""

    def factor(self, code: Float64, channel: int) -> Float64:
        """Factor on the light of a channel, for numbers of the map in [0, 1]."""
        ...

    def shift(self, factor: Float64, channel: int) -> Float64:
        """Light added after that."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class LogGain:
    """Gain by its logarithm, as [ISO21496-1] has it.

    Parameters
    ----------
    least, most : tuple of 3 float
        Gain at the map's 0 and 1. [stop]
    gamma : tuple of 3 float
        Numbers of the map are that power of the place between the two. > 0.
    base_offset, other_offset : tuple of 3 float
        Added to the light of the base, and taken from that of the brighter picture.
    """

    least: Triple
    most: Triple
    gamma: Triple = (1.0, 1.0, 1.0)
    base_offset: Triple = (0.0, 0.0, 0.0)
    other_offset: Triple = (0.0, 0.0, 0.0)

    def factor(self, code: Float64, channel: int) -> Float64:
        """Factor on base plus offset."""
        place = code ** (1 / self.gamma[channel])
        least, most = self.least[channel], self.most[channel]
        return np.asarray(2.0 ** (least + (most - least) * place))

    def shift(self, factor: Float64, channel: int) -> Float64:
        """Light added for the offsets."""
        return np.asarray(factor * self.base_offset[channel] - self.other_offset[channel])


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearGain:
    """Gain that rises with the light of the map, as phones had it before there was a standard.

    Parameters
    ----------
    headroom : float
        Factor on light where the map is 1. >= 1.

    Notes
    -----
    ``1 + (headroom - 1) g``, g the map's number through the inverse of the camera curve of BT.709.
    Published by the maker of such phones, but for the curve: of the usual ones it is the one that
    is nearest to the standard map that newer phones write beside (1.651 against 1.667 at half).
    """

    headroom: float

    def factor(self, code: Float64, channel: int) -> Float64:  # noqa: ARG002 (one for all)
        """Factor on the light of any channel."""
        return np.asarray(1 + (self.headroom - 1) * BT709_CURVE.decode(code))

    def shift(self, factor: Float64, channel: int) -> Float64:  # noqa: ARG002 (none is)
        """Nothing is added."""
        return np.zeros_like(factor)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GainMap:
    """A map of gains beside a still.

    Parameters
    ----------
    codes : ndarray, shape (h, w, 1) or (h, w, 3), uint8 or uint16
        The map, for all channels or for each.
    gain : Gain
        What its numbers do.
    primaries : Primaries or None
        Of the channels that it acts on; None is the still's own.
    """

    codes: Codes
    gain: Gain
    primaries: Primaries | None = None

    def top(self) -> Triple:
        """Light of a white pixel where the map is at its end; beyond that nothing is told."""
        one = np.ones(1)
        tops = []
        for channel in range(3):
            factor = self.gain.factor(one, channel)
            tops.append(float((factor + self.gain.shift(factor, channel))[0]))
        return tops[0], tops[1], tops[2]


class Beyond(NamedTuple):
    """Light that a gain map tells beyond what its still shows.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        What the still lacks of the scene, at the still's exposure. Below 0 where the still was made
        brighter.
    lift : float
        How much brighter than that the map makes all of the still. [1], > 0
    highest : float
        Light of the brightest sample of the scene, at the still's exposure.
    """

    light: Float32
    lift: float
    highest: float


def light_beyond(radiance: Float32, primaries: Primaries, gain_map: GainMap) -> Beyond:
    """Light that a gain map tells beyond what a still shows.

    Parameters
    ----------
    radiance : ndarray, shape (H, W, 3), float32
        The still, by its own codes.
    primaries : Primaries
        Of its channels.
    gain_map : GainMap
        Upright, of any size.

    Returns
    -------
    Beyond
        At full headroom: ``(radiance + light) * lift`` is what the map makes of the still.

    Notes
    -----
    [ISO21496-1] 6.3: the map is brought to the still's size as it is stored, in straight lines
    between the middles of its pixels, before it is taken for a gain. Phones brighten the whole
    picture on displays that can, by up to a stop: that is exposure, and no light of lamps.
    """
    height, width = radiance.shape[:2]
    full = _at_size(gain_map.codes, (width, height))
    step = max(1, min(height, width) // _SAMPLES)
    few = np.ascontiguousarray(radiance[::step, ::step])
    some = np.ascontiguousarray(full[::step, ::step])
    lift = _lift(few, _Brighter(gain_map, primaries, full.dtype)(few, some), primaries)
    brighter = _Brighter(gain_map, primaries, full.dtype, lift)
    beyond = np.empty_like(radiance)
    highest = []

    def work(rows: slice) -> None:
        scene = brighter(radiance[rows], full[rows])
        highest.append(float(scene.max()))
        np.subtract(scene, radiance[rows], out=beyond[rows])

    over_strips(work, height, width * 3)
    return Beyond(beyond, lift, max(highest))


class _Brighter:
    """The scene over a lift, of light and of as many codes of the map."""

    def __init__(
        self, gain_map: GainMap, primaries: Primaries, dtype: np.dtype[Any], lift: float = 1.0
    ) -> None:
        code = np.linspace(0, 1, np.iinfo(dtype).max + 1)
        factors = [gain_map.gain.factor(code, channel) for channel in range(3)]
        shifts = [gain_map.gain.shift(factor, k) for k, factor in enumerate(factors)]
        self._factors = [(factor / lift).astype(np.float32) for factor in factors]
        self._shifts = [(shift / lift).astype(np.float32) for shift in shifts]
        self._is_shifted = any(shift.any() for shift in shifts)
        self._matrices: tuple[Float32, Float32] | None = None
        if gain_map.primaries is not None and not gain_map.primaries.is_close_to(primaries):
            there = primaries.matrix_to(gain_map.primaries)
            back = np.linalg.inv(there)
            self._matrices = there.T.astype(np.float32), back.T.astype(np.float32)

    def __call__(self, light: Float32, codes: Codes) -> Float32:
        if self._matrices is not None:
            light = np.ascontiguousarray(light @ self._matrices[0])
        out = _looked_up(self._factors, codes)
        np.multiply(light, out, out=out)
        if self._is_shifted:
            out += _looked_up(self._shifts, codes)
        return out if self._matrices is None else out @ self._matrices[1]


def _looked_up(tables: list[Float32], codes: Codes) -> Float32:
    """Numbers of three tables at codes for all of them or for each, shape (rows, W, 3)."""
    if codes.dtype == np.uint8 and codes.shape[2] == 3:
        # A quarter of the time that three takes need.
        return np.asarray(cv2.LUT(codes, np.stack(tables, axis=-1)[np.newaxis]))
    planes = [
        np.take(table, codes[..., k % codes.shape[2]], mode="clip")
        for k, table in enumerate(tables)
    ]
    # In one piece: sums over parts of every third number take three times as long.
    return np.asarray(cv2.merge(planes))


def _lift(light: Float32, scene: Float32, primaries: Primaries) -> float:
    """Scene over still where that is least, in shadows and lower mid-tones: what all parts share.

    Means of whole stops of light: single codes of deep shadows tell little.
    """
    weights = primaries.luminance_weights.astype(np.float32)
    before, after = light @ weights, scene @ weights
    found = []
    for darkest in _SHADOWS:
        told = (before > darkest) & (before <= 2 * darkest)
        if np.count_nonzero(told) >= _LEAST_TOLD * told.size:
            found.append(float(after[told].sum() / before[told].sum()))
    return min(max(min(found, default=1.0), 1 / _MOST_LIFT), _MOST_LIFT)


def _at_size(codes: Codes, size: tuple[int, int]) -> Codes:
    """Return a map at the still's size; on the way there codes of 16 bits, for they are means."""
    if codes.shape[1::-1] == size:
        return codes
    wide = codes.astype(np.uint16) * np.uint16(257) if codes.dtype == np.uint8 else codes
    larger = cv2.resize(wide, size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(larger).reshape(size[1], size[0], codes.shape[2])
