"""Light spread by dots that may lie anywhere, in a frame whose mirror images repeat for ever.

A lamp's dots look the same turned by half a turn, so they are the sum of a pattern that is even
both ways and one that is odd both ways. Light continued by mirrors is a sum of cosines; the even
pattern multiplies them, the odd one turns them into sines. Neither needs a margin round the frame,
and a dot costs the same however far it lies.

Transforms run over blocks of rows and of columns small enough for a processor's cache.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.optics.masks import Dots
from frontglass.render.kernels import MirrorKernel, corners_of_dots
from frontglass.render.spread import available_cores
from frontglass.render.tiles import BRIGHTEST_IN_SINGLE

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Plane = NDArray[Any]

FEWEST_IN_SINGLE_PX = 1_000_000
"""Smaller frames cost little in double precision, which keeps their light to a millionth."""
ROWS_AT_ONCE, COLUMNS_AT_ONCE = 32, 96


class Mix(NamedTuple):
    """What one channel's light becomes: ``direct * light + share * dots * light + pedestal``."""

    direct: float
    share: float
    pedestal: float


def spread_among_mirrors(
    light: Float32, kernels: Sequence[MirrorKernel], mixes: Sequence[Mix]
) -> Float32:
    """Light after every pixel has become a pattern of dots, in a frame and its mirror images.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    kernels : sequence of 3 MirrorKernel
        One per channel, for this shape.
    mixes : sequence of 3 Mix
        One per channel.

    Returns
    -------
    ndarray, shape (H, W, 3), float32

    Notes
    -----
    An even field stays even. As much light as leaves the frame comes in, but for what a pattern
    askew to the frame exchanges across its corners.
    """
    out = np.empty_like(light)
    space = _Workspace(_precision_for(light))
    with ThreadPoolExecutor(available_cores()) as pool:
        for channel, (kernel, mix) in enumerate(zip(kernels, mixes, strict=True)):
            one = _Channel(pool=pool, space=space, light=light[..., channel], out=out[..., channel])
            one.spread(kernel, mix)
    return out


def spread_in_the_dark(light: Float32, dots: Sequence[Dots], mixes: Sequence[Mix]) -> Float32:
    """Light after every pixel has become a pattern of dots, in a frame with none around it.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    dots : sequence of 3 Dots
        One per channel, in pixels; with every dot its opposite.
    mixes : sequence of 3 Mix
        One per channel.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
    """
    height, width, _ = light.shape
    kind = _precision_for(light)
    workers = available_cores()
    shape = tuple(fft.next_fast_len(2 * side, real=True) for side in (height, width))
    out = np.empty_like(light)
    for channel, (pattern, mix) in enumerate(zip(dots, mixes, strict=True)):
        corners = corners_of_dots(pattern)
        inside = (corners.rows < height) & (np.abs(corners.columns) < width)
        rows, columns, share = corners.at(inside)
        place = np.concatenate(
            [
                np.mod(sign * rows.astype(np.intp), shape[0]) * shape[1]
                + np.mod(sign * columns, shape[1])
                for sign in (1, -1)
            ]
        )
        kernel = np.bincount(place, np.tile(share, 2), minlength=shape[0] * shape[1])
        transfer = fft.rfft2(kernel.reshape(shape).astype(kind), workers=workers, overwrite_x=True)
        plane = light[..., channel]
        spectrum = fft.rfft2(plane.astype(kind), s=shape, workers=workers)
        spectrum *= transfer
        spread = fft.irfft2(spectrum, s=shape, workers=workers, overwrite_x=True)[:height, :width]
        spread *= mix.share
        spread += mix.direct * plane
        spread += mix.pedestal
        out[..., channel] = spread
    return out


def _precision_for(light: Float32) -> np.dtype[Any]:
    brightest = cv2.norm(np.ascontiguousarray(light), cv2.NORM_INF)
    small = light.shape[0] * light.shape[1] < FEWEST_IN_SINGLE_PX
    return np.dtype(np.float64 if small or brightest > BRIGHTEST_IN_SINGLE else np.float32)


class _Workspace:
    """Arrays kept from block to block: fresh memory costs as much time as transforms do."""

    def __init__(self, kind: np.dtype[Any]) -> None:
        self._kind = kind
        self._shared: dict[str, Plane] = {}
        self._threads = threading.local()

    def array(self, name: str, shape: tuple[int, int]) -> Plane:
        """Return an array for all threads; it holds anything."""
        return self._from(self._shared, name, shape)

    def own(self, name: str, shape: tuple[int, int]) -> Plane:
        """Return an array for the calling thread alone; it holds anything."""
        return self._from(self._threads.__dict__, name, shape)

    def _from(self, kept: dict[str, Plane], name: str, shape: tuple[int, int]) -> Plane:
        if name not in kept:
            kept[name] = np.empty(shape, dtype=self._kind)
        return kept[name]


def _in_blocks(
    pool: ThreadPoolExecutor, do: Callable[[int, int], None], length: int, step: int
) -> None:
    starts = range(0, length, step)
    for _ in pool.map(lambda start: do(start, min(start + step, length)), starts):
        pass


class _Rows(NamedTuple):
    """Rows of a kernel, transformed: the even part, and the odd part if there is one."""

    even: Plane
    odd: Plane | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Channel:
    """One channel among its mirror images.

    Parameters
    ----------
    pool : ThreadPoolExecutor
        Threads to share the work.
    space : _Workspace
        Arrays to work in.
    light, out : ndarray, shape (H, W)
        What there is and what becomes of it.
    """

    pool: ThreadPoolExecutor
    space: _Workspace
    light: Float32
    out: Float32

    def spread(self, kernel: MirrorKernel, mix: Mix) -> None:
        """Write `out`."""
        height, width = self.light.shape
        rows = self._rows_of(kernel)
        cosines = self.space.array("cosines", (height, width))
        sines = None if kernel.is_even else self.space.array("sines", (height, width))

        def there(a: int, b: int) -> None:
            cosines[a:b] = self.light[a:b]
            fft.dct(cosines[a:b], axis=1, overwrite_x=True)

        def across(a: int, b: int) -> None:
            self._along_columns(slice(a, b), rows, cosines, sines)

        def back(a: int, b: int) -> None:
            block = cosines[a:b]
            fft.idct(block, axis=1, overwrite_x=True)
            if sines is not None:
                block += fft.idst(sines[a:b], axis=1, overwrite_x=True)
            block *= block.dtype.type(mix.share)
            direct = self.space.own("direct", (ROWS_AT_ONCE, width))[: b - a]
            np.multiply(self.light[a:b], np.float32(mix.direct), out=direct)
            block += direct
            block += direct.dtype.type(mix.pedestal)
            self.out[a:b] = block

        _in_blocks(self.pool, there, height, ROWS_AT_ONCE)
        _in_blocks(self.pool, across, width, COLUMNS_AT_ONCE)
        _in_blocks(self.pool, back, height, ROWS_AT_ONCE)

    def _rows_of(self, kernel: MirrorKernel) -> _Rows:
        height, width = self.light.shape
        even = self.space.array("even", (height + 1, width + 1))
        odd = None if kernel.is_even else self.space.array("odd", (height + 1, width + 1))

        def along(a: int, b: int) -> None:
            block = self.space.own("kernel", (ROWS_AT_ONCE, 2 * width))[: b - a]
            kernel.lay(a, block)
            if odd is None:
                even[a:b] = block[:, : width + 1]
                fft.dct(even[a:b], type=1, axis=1, overwrite_x=True)
            else:
                transformed = fft.rfft(block, axis=1)
                even[a:b] = transformed.real
                np.negative(transformed.imag, out=odd[a:b])

        _in_blocks(self.pool, along, kernel.rows, ROWS_AT_ONCE)
        if not kernel.below.size:
            return _Rows(even[: kernel.rows], odd if odd is None else odd[: kernel.rows])
        even[kernel.rows : -len(kernel.below)] = 0
        turns = np.outer(np.arange(kernel.below.shape[1]), np.arange(width + 1)) % (2 * width)
        waves = np.cos(np.pi / width * np.arange(2 * width)).astype(even.dtype)[turns]
        np.matmul(kernel.below.astype(even.dtype), waves, out=even[-len(kernel.below) :])
        return _Rows(even, odd)

    def _along_columns(self, some: slice, rows: _Rows, cosines: Plane, sines: Plane | None) -> None:
        """Multiply columns of cosines by a kernel's transform, its odd part making sines."""
        height, width = cosines.shape
        light = self._columns("light", height, some)
        light[:] = cosines[:, some]
        fft.dct(light, axis=0, overwrite_x=True)
        if sines is not None and rows.odd is not None:
            odd = self._columns("odd", height, some)
            lit = min(len(rows.odd), height)
            odd[: lit - 1], odd[lit - 1 :] = rows.odd[1:lit, some], 0
            if height > 1:
                fft.dst(odd[:-1], type=1, axis=0, overwrite_x=True)
            odd[:-1] *= light[1:]
            fft.idst(odd, axis=0, overwrite_x=True)
            # The sine transform starts at the first frequency where the cosine one has the mean.
            first = 1 if some.start == 0 else 0
            sines[:, some.start - 1 + first : some.stop - 1] = odd[:, first:]
            if some.stop == width:
                sines[:, -1] = 0
        even = self._columns("even", height + 1, some)
        lit = len(rows.even)
        even[:lit], even[lit:] = rows.even[:, some], 0
        fft.dct(even, type=1, axis=0, overwrite_x=True)
        light *= even[:-1]
        fft.idct(light, axis=0, overwrite_x=True)
        cosines[:, some] = light

    def _columns(self, name: str, rows: int, some: slice) -> Plane:
        found = self.space.own(name, (len(self.light) + 1, COLUMNS_AT_ONCE))
        return found[:rows, : some.stop - some.start]
