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
        self.kind = kind
        self._shared: dict[str, Plane] = {}
        self._threads = threading.local()

    def array(self, name: str, shape: tuple[int, ...]) -> Plane:
        """Return an array for all threads; it holds anything."""
        return self._from(self._shared, name, shape)

    def own(self, name: str, shape: tuple[int, int]) -> Plane:
        """Return an array for the calling thread alone; it holds anything."""
        return self._from(self._threads.__dict__, name, shape)

    def _from(self, kept: dict[str, Plane], name: str, shape: tuple[int, ...]) -> Plane:
        if name not in kept:
            kept[name] = np.empty(shape, dtype=self.kind)
        return kept[name]


def _in_blocks(
    pool: ThreadPoolExecutor, do: Callable[[int, int], None], length: int, step: int
) -> None:
    starts = range(0, length, step)
    for _ in pool.map(lambda start: do(start, min(start + step, length)), starts):
        pass


def _in_place(transform: Callable[..., Plane], plane: Plane, **how: int) -> None:
    """Put the transform where its input was; scipy does so when it may, but does not promise it."""
    out = transform(plane, overwrite_x=True, **how)
    if not np.may_share_memory(out, plane):
        plane[:] = out


class _Blocks:
    """A plane cut into blocks of columns, each of which lies in one piece of memory.

    Rows are written and read through all blocks; a column is transformed within one.
    """

    def __init__(self, space: _Workspace, name: str, shape: tuple[int, int]) -> None:
        rows, self._width = shape
        count = -(-self._width // COLUMNS_AT_ONCE)
        self._memory = space.array(name, (count, rows, COLUMNS_AT_ONCE))

    def __len__(self) -> int:
        return len(self._memory)

    def __getitem__(self, block: int) -> Plane:
        some = self.columns(block)
        return self._memory[block, :, : some.stop - some.start]

    def columns(self, block: int) -> slice:
        """Columns of the plane that a block holds."""
        start = block * COLUMNS_AT_ONCE
        return slice(start, min(start + COLUMNS_AT_ONCE, self._width))

    def write(self, first: int, rows: Plane) -> None:
        """Store rows of the plane, from `first` on."""
        for block in range(len(self)):
            self[block][first : first + len(rows)] = rows[:, self.columns(block)]

    def read(self, first: int, rows: Plane) -> None:
        """Fetch rows of the plane, from `first` on."""
        for block in range(len(self)):
            rows[:, self.columns(block)] = self[block][first : first + len(rows)]


class _Rows(NamedTuple):
    """Rows of a kernel, transformed: the even part, and the odd part if there is one."""

    lit: int
    even: _Blocks
    odd: _Blocks | None


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
        cosines = _Blocks(self.space, "cosines", (height, width))
        sines = None if kernel.is_even else _Blocks(self.space, "sines", (height, width))
        rows = self._rows_of(kernel)

        def there(a: int, b: int) -> None:
            block = self._own_rows("rows", b - a)
            block[:] = self.light[a:b]
            _in_place(fft.dct, block, axis=1)
            cosines.write(a, block)

        def across(block: int, _: int) -> None:
            even = rows.even[block]
            even[rows.lit :] = 0
            odd = None if rows.odd is None else rows.odd[block]
            if odd is not None:
                odd[rows.lit :] = 0
            _multiply(cosines[block], even, odd, None if sines is None else sines[block])

        def back(a: int, b: int) -> None:
            block = self._own_rows("rows", b - a)
            cosines.read(a, block)
            _in_place(fft.idct, block, axis=1)
            other = self._own_rows("other rows", b - a)
            if sines is not None:
                shifted = self._own_rows("shifted rows", b - a)
                sines.read(a, other)
                # Sines start at the first frequency, where cosines have the mean.
                shifted[:, :-1], shifted[:, -1] = other[:, 1:], 0
                _in_place(fft.idst, shifted, axis=1)
                block += shifted
            np.multiply(self.light[a:b], np.float32(mix.direct), out=other)
            block *= block.dtype.type(mix.share)
            block += other
            block += block.dtype.type(mix.pedestal)
            self.out[a:b] = block

        _in_blocks(self.pool, there, height, ROWS_AT_ONCE)
        _in_blocks(self.pool, across, len(cosines), 1)
        _in_blocks(self.pool, back, height, ROWS_AT_ONCE)

    def _rows_of(self, kernel: MirrorKernel) -> _Rows:
        height, width = self.light.shape
        even = _Blocks(self.space, "even", (height + 1, width))
        odd = None if kernel.is_even else _Blocks(self.space, "odd", (height + 1, width))

        def along(a: int, b: int) -> None:
            block = self.space.own("kernel", (ROWS_AT_ONCE, 2 * width))[: b - a]
            kernel.lay(a, block)
            if odd is None:
                half = block[:, : width + 1]
                _in_place(fft.dct, half, type=1, axis=1)
                even.write(a, half[:, :width])
            else:
                transformed = fft.rfft(block, axis=1)[:, :width]
                even.write(a, transformed.real)
                odd.write(a, -transformed.imag)

        _in_blocks(self.pool, along, kernel.rows, ROWS_AT_ONCE)
        if not kernel.below.size:
            return _Rows(kernel.rows, even, odd)
        below, kind = kernel.below, self.space.kind
        turns = np.outer(np.arange(below.shape[1]), np.arange(width)) % (2 * width)
        waves = np.cos(np.pi / width * np.arange(2 * width)).astype(kind)[turns]
        for block in range(len(even)):
            even[block][kernel.rows : -len(below)] = 0
            even[block][-len(below) :] = below.astype(kind) @ waves[:, even.columns(block)]
        return _Rows(height + 1, even, odd)

    def _own_rows(self, name: str, count: int) -> Plane:
        return self.space.own(name, (ROWS_AT_ONCE, self.light.shape[1]))[:count]


def _multiply(light: Plane, even: Plane, odd: Plane | None, sines: Plane | None) -> None:
    """Multiply columns of cosines by a kernel's transform; its odd part turns them into sines.

    Parameters
    ----------
    light : ndarray, shape (H, N)
        Changed in place.
    even : ndarray, shape (H + 1, N)
        Rows of the kernel's even part, transformed; used up.
    odd, sines : ndarray, shapes (H + 1, N) and (H, N), or None
        Those of its odd part; where the sines go.
    """
    _in_place(fft.dct, light, axis=0)
    if odd is not None and sines is not None:
        transfer = odd[1:-1]
        if len(transfer):
            _in_place(fft.dst, transfer, type=1, axis=0)
        np.multiply(transfer, light[1:], out=sines[:-1])
        sines[-1] = 0
        _in_place(fft.idst, sines, axis=0)
    _in_place(fft.dct, even, type=1, axis=0)
    light *= even[:-1]
    _in_place(fft.idct, light, axis=0)
