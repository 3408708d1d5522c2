"""Pairs of stills by a renderer that shares nothing with the engine.

Plain float64 transforms on frames padded by their mirror image, kernels laid on pixels and
normalised there, compound scattering by ``exp(-tau (1 - K))``, a veil, a tint, noise; views are
taken from panoramas by a pinhole camera that may have been nudged.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Shape = Callable[[Array], Array]


@dataclass(frozen=True)
class View:
    """A pinhole camera looking into a panorama; angles in degrees, shifts in pixels."""

    yaw: float = 0.0
    pitch: float = 0.0
    field: float = 40.0
    shape: tuple[int, int] = (240, 360)
    right_px: float = 0.0
    down_px: float = 0.0
    roll: float = 0.0
    scale: float = 1.0

    def nudged(self, rng: np.random.Generator) -> View:
        """Up to 3 px, half a degree and half a percent of scale off."""
        right, down = rng.uniform(-3, 3, 2)
        roll, scale = rng.uniform(-0.5, 0.5), 1 + rng.uniform(-0.005, 0.005)
        return replace(self, right_px=right, down_px=down, roll=roll, scale=scale)

    @property
    def px_per_rad(self) -> float:
        return self.shape[1] / 2 / math.tan(math.radians(self.field) / 2)

    def of(self, panorama: Array, parts: int = 3) -> Array:
        """Mean light of each pixel, from parts x parts rays."""
        height, width = self.shape
        total = np.zeros((height, width, 3))
        offsets = (np.arange(parts) + 0.5) / parts - 0.5
        turn = math.radians(self.roll)
        for dy in offsets:
            for dx in offsets:
                x = np.arange(width) - (width - 1) / 2 + dx - self.right_px
                y = np.arange(height)[:, None] - (height - 1) / 2 + dy - self.down_px
                x, y = np.broadcast_arrays(x, y)
                x, y = (
                    (x * math.cos(turn) + y * math.sin(turn)) / self.scale,
                    (y * math.cos(turn) - x * math.sin(turn)) / self.scale,
                )
                total += _looked_up(panorama, x / self.px_per_rad, y / self.px_per_rad, self)
        return total / parts**2


def _looked_up(panorama: Array, x: Array, y: Array, view: View) -> Array:
    pitch = math.radians(view.pitch)
    ahead = math.cos(pitch) + y * math.sin(pitch)
    up = math.sin(pitch) - y * math.cos(pitch)
    longitude = np.arctan2(x, ahead) + math.radians(view.yaw)
    latitude = np.arctan2(up, np.hypot(x, ahead))
    height, width = panorama.shape[:2]
    column = (longitude / (2 * np.pi) % 1) * width - 0.5
    row = np.clip((0.5 - latitude / np.pi) * height - 0.5, 0, height - 1.001)
    left, top = np.floor(column).astype(int), np.floor(row).astype(int)
    fx, fy = (column - left)[..., None], (row - top)[..., None]
    a, b = left % width, (left + 1) % width
    upper = panorama[top, a] * (1 - fx) + panorama[top, b] * fx
    lower = panorama[top + 1, a] * (1 - fx) + panorama[top + 1, b] * fx
    return upper * (1 - fy) + lower * fy


@dataclass(frozen=True)
class Glass:
    """A thin scatterer with veil and tint; angles in radians."""

    shape: Shape
    depth: float
    channel_depth: tuple[float, float, float] = (1.0, 1.0, 1.0)
    channel_width: tuple[float, float, float] = (1.0, 1.0, 1.0)
    veil: float = 0.0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)

    def depths(self, strength: float) -> list[float]:
        return [self.depth * own * strength for own in self.channel_depth]

    def seen(self, light: Array, px_per_rad: float, strength: float = 1.0) -> Array:
        """Light behind the glass."""
        height, width = light.shape[:2]
        rows, columns = height // 2, width // 2
        size = (height + 2 * rows, width + 2 * columns)
        out = np.empty_like(light)
        for channel, depth in enumerate(self.depths(strength)):
            kernel = self.kernel(size, px_per_rad, channel)
            k = np.fft.rfft2(kernel)
            padded = np.pad(light[..., channel], ((rows, rows), (columns, columns)), "symmetric")
            seen = np.fft.irfft2(np.fft.rfft2(padded) * np.exp(depth * (k - 1)), s=size)
            own = seen[rows : rows + height, columns : columns + width]
            veil = 1 - (1 - self.veil) ** strength
            own = (1 - veil) * own + veil * own.mean()
            out[..., channel] = own * self.tint[channel] ** strength
        return out

    def kernel(self, size: tuple[int, int], px_per_rad: float, channel: int) -> Array:
        """One deviation on pixels, the middle at [0, 0], sum 1."""
        height, width = size
        y = np.minimum(np.arange(height), height - np.arange(height))[:, None]
        x = np.minimum(np.arange(width), width - np.arange(width))
        scale = px_per_rad * self.channel_width[channel]
        kernel = self.shape(np.hypot(y, x) / scale)
        # The middle is averaged over pixels.
        parts = (np.arange(15) + 0.5) / 15 - 0.5
        near = 6
        for row in range(-near, near + 1):
            for column in range(-near, near + 1):
                r = np.hypot(row + parts[:, None], column + parts)
                kernel[row, column] = self.shape(r / scale).mean()
        return kernel / kernel.sum()

    def ring_shares(
        self, edges_rad: Array, channel: int, px_per_rad: float, side: int = 2048
    ) -> Array:
        """Deviated light between angles, by adding up pixels of the compound kernel."""
        kernel = self.kernel((side, side), px_per_rad, channel)
        depth = self.depths(1.0)[channel]
        k = np.fft.rfft2(kernel)
        many = np.fft.irfft2(np.exp(depth * (k - 1)) - math.exp(-depth), s=(side, side))
        y = np.minimum(np.arange(side), side - np.arange(side))
        r = np.hypot(y[:, None], y) / px_per_rad
        return np.histogram(r, bins=edges_rad, weights=many)[0] * (1 - self.veil)


def pair_of(
    panorama: Array, glass: Glass, view: View, nudged: View, strength: float = 1.0, fine: int = 2
) -> tuple[Array, Array]:
    """A view without and a nudged one with the glass, rendered on finer pixels than they have."""
    return behind(panorama, None, view, 1.0, fine), behind(panorama, glass, nudged, strength, fine)


def behind(
    panorama: Array, glass: Glass | None, view: View, strength: float = 1.0, fine: int = 2
) -> Array:
    """View behind a glass, or without one, rendered on finer pixels than it has."""
    height, width = view.shape
    finer = replace(
        view,
        shape=(height * fine, width * fine),
        right_px=view.right_px * fine,
        down_px=view.down_px * fine,
    )
    light = finer.of(panorama, parts=2)
    if glass is not None:
        light = glass.seen(light, finer.px_per_rad, strength)
    return light.reshape(height, fine, width, fine, 3).mean(axis=(1, 3))


def stretched(scale: float, power: float) -> Shape:
    return lambda r: np.exp(-((r / scale) ** power))


def power_law(core: float, power: float) -> Shape:
    return lambda r: (1 + (r / core) ** 1.3) ** (-power / 1.3)


def two_scales(near: float, far: float, share: float) -> Shape:
    """A tight core and a wide skirt."""
    one, two = power_law(near, 3.9), power_law(far, 4.2)
    return lambda r: one(r) / near**2 + share * two(r) / far**2


def galsim_shape(kind: str, radius: float, **values: float) -> Shape:
    """Return the radial profile of one of GalSim's objects, by its half-light radius."""
    import galsim

    thing = getattr(galsim, kind)(half_light_radius=radius, **values)
    r = np.concatenate([[0.0], np.geomspace(radius * 1e-4, radius * 300, 4000)])
    values_ = np.array([thing.xValue(0.0, float(max(one, radius * 1e-5))) for one in r])
    values_ = np.maximum(values_, 0)

    def at(radii: Array) -> Array:
        return np.interp(radii, r, values_)

    return at


def noisy(light: Array, rng: np.random.Generator, electrons: float = 20000.0) -> Array:
    """Photon noise with so many electrons at white, and read noise of three of them."""
    seen = rng.poisson(np.maximum(light, 0) * electrons) + rng.normal(0, 3, light.shape)
    return np.asarray(seen / electrons)


def exposed(panorama: Array, key: float = 0.15) -> Array:
    """Scale a panorama so that its log-average light is the key."""
    average = np.exp(np.log(np.maximum(panorama.mean(axis=2), 1e-4)).mean())
    return panorama * key / average


def rms_stops(got: Array, want: Array, where: Array | None = None, floor: float = 1e-3) -> float:
    """Difference of two pictures after one overall gain [stop rms]."""
    ratio = np.log2(np.maximum(got, floor) / np.maximum(want, floor))
    ratio = ratio if where is None else ratio[where]
    return float(np.sqrt(np.mean((ratio - np.median(ratio)) ** 2)))
