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
from frontglass.render.spread import Surround, available_cores
from frontglass.render.tiles import BRIGHTEST_IN_SINGLE

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Plane = NDArray[Any]

FEWEST_IN_SINGLE_PX = 1_000_000
"""Smaller frames cost little in double precision, which keeps their light to a millionth."""
NEAR_PX = 1024
ODD_LIGHT = 1e-9
"""Patterns less askew to the frame than this are even."""
ON_AXIS_PX = 1e-3
ROWS_AT_ONCE, COLUMNS_AT_ONCE = 16, 48


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """What one channel's light becomes: ``direct * light + dots * light + pedestal``.

    Parameters
    ----------
    direct : float
        Share that stays where it is. [1]
    dots : Dots
        With every dot its opposite.
    pedestal : float
        Light added everywhere.
    """

    direct: float
    dots: Dots
    pedestal: float = 0.0


def spread_by_dots(
    light: Float32, patterns: Sequence[Pattern], *, px_per_rad: float, surround: Surround
) -> Float32:
    """Light after every pixel has become a pattern of dots.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    patterns : sequence of 3 Pattern
        One per channel.
    px_per_rad : float
        Scale of the picture.
    surround : Surround
        What lies outside the frame.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
    """
    light = np.ascontiguousarray(light)
    brightest = cv2.norm(light, cv2.NORM_INF) if light.size else 0.0
    pixels = light.shape[0] * light.shape[1]
    is_single = brightest <= BRIGHTEST_IN_SINGLE and pixels >= FEWEST_IN_SINGLE_PX
    kind: np.dtype[Any] = np.dtype(np.float32 if is_single else np.float64)
    halves = [_one_of_each_pair(pattern.dots, px_per_rad) for pattern in patterns]
    if surround is Surround.MIRROR:
        return _among_mirrors(light, patterns, halves, kind)
    return _in_the_dark(light, patterns, halves, kind)


def _one_of_each_pair(dots: Dots, px_per_rad: float) -> Dots:
    """Half the dots, on pixels; what lies at the lamp itself counts half."""
    x, y, shares = dots
    middle = (x == 0) & (y == 0)
    chosen = (y > 0) | ((y == 0) & (x > 0)) | middle
    light = np.where(middle, shares / 2, shares)
    return Dots(x[chosen] * px_per_rad, y[chosen] * px_per_rad, light[chosen])


class _Corners(NamedTuple):
    """What bilinear weights drop on pixels: rows, columns and light, the lamp at (0, 0)."""

    rows: NDArray[np.int32]
    columns: NDArray[np.int32]
    light: Float64


def _corners_of_dots(dots: Dots) -> _Corners:
    """Each dot divided among the four pixels round it.

    That is what averaging over the sending and the receiving pixel makes of a point.
    """
    left, top = np.floor(dots.x_rad), np.floor(dots.y_rad)
    right_share, low_share = dots.x_rad - left, dots.y_rad - top
    column, row = left.astype(np.int32), top.astype(np.int32)
    low = dots.shares * low_share
    high = dots.shares - low
    high_right, low_right = high * right_share, low * right_share
    return _Corners(
        np.concatenate([row, row, row + 1, row + 1]),
        np.concatenate([column, column + 1, column, column + 1]),
        np.concatenate([high - high_right, high_right, low - low_right, low_right]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kernel:
    """One channel's pattern on pixels, for a frame of some shape and its mirror images.

    Parameters
    ----------
    near : ndarray, shape (N + 1, 2 N + 1)
        Light in rows 0 ... N below the lamp, summed in double precision: thousands of dots
        may fall on one pixel.
    far : _Corners
        All other light, rows folded into 0 ... H, columns into 0 ... 2 W - 1, sorted by row.
    starts : ndarray, shape (H + 2,)
        Where in `far` each row begins.
    rows : int
        From this row on there is no light.
    is_even : bool
        Whether it looks the same in a mirror.
    """

    near: Float64
    far: _Corners
    starts: NDArray[np.intp]
    rows: int
    is_even: bool


def _kernel(dots: Dots, shape: tuple[int, int]) -> _Kernel:
    height, width = shape
    rows, columns, light = _corners_of_dots(dots)
    near_px = min(NEAR_PX, height - 1, width - 1)
    side = 2 * near_px + 1
    inside = (rows <= near_px) & (np.abs(columns) <= near_px)
    place = rows[inside].astype(np.intp) * side + (columns[inside] + near_px)
    near = np.bincount(place, light[inside], minlength=(near_px + 1) * side)
    near = near.reshape(near_px + 1, side)
    near[0] += near[0, ::-1].copy()
    far = _folded(_Corners(*(values[~inside] for values in (rows, columns, light))), shape)
    starts = np.searchsorted(far.rows, np.arange(height + 2))
    lit = np.flatnonzero(near.any(axis=1))
    last = max(int(lit[-1]) if lit.size else 0, int(far.rows[-1]) if far.rows.size else 0)
    return _Kernel(near=near, far=far, starts=starts, rows=last + 1, is_even=_is_even(dots))


def _is_even(dots: Dots) -> bool:
    """Whether a pattern looks the same in a mirror: as much light either way at every turn."""
    x, y, shares = dots
    way = shares * np.clip(x / ON_AXIS_PX, -1, 1) * np.clip(y / ON_AXIS_PX, -1, 1)
    reach = np.abs(x) + np.abs(y)
    turn = np.abs(x) / np.where(reach > 0, reach, 1.0)
    askew = max(abs(float(np.sum(way * turn**power))) for power in range(3))
    return askew <= ODD_LIGHT * float(np.sum(np.abs(way)))


def _folded(corners: _Corners, shape: tuple[int, int]) -> _Corners:
    """Of all light and its opposite, what mirrors send to rows 0 ... H, sorted by row."""
    height, width = shape
    rows, columns, light = corners
    rows = np.mod(rows, 2 * height)
    own = rows == 0, rows == height  # on these rows the opposite lies too
    both = own[0] | own[1]
    columns = np.where(rows > height, -columns, columns)
    rows = np.where(rows > height, 2 * height - rows, rows)
    columns = np.mod(np.concatenate([columns, -columns[both]]), 2 * width)
    rows = np.concatenate([rows, rows[both]])
    light = np.concatenate([light, light[both]])
    order = np.argsort(rows.astype(np.uint16 if height < 2**16 else np.int32), kind="stable")
    return _Corners(rows[order], columns[order], light[order])


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


def _among_mirrors(
    light: Float32, patterns: Sequence[Pattern], halves: Sequence[Dots], kind: np.dtype[Any]
) -> Float32:
    """Light of the frame and of all its mirror images.

    Notes
    -----
    An even field stays even. As much light as leaves the frame comes in, but for what a pattern
    askew to the frame exchanges across its corners.
    """
    out = np.empty_like(light)
    with ThreadPoolExecutor(available_cores()) as pool:
        space = _Workspace(kind)
        for channel, (pattern, dots) in enumerate(zip(patterns, halves, strict=True)):
            kernel = _kernel(dots, light.shape[:2])
            one = _Channel(pool=pool, space=space, light=light[..., channel], out=out[..., channel])
            one.spread(kernel, pattern)
    return out


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

    def spread(self, kernel: _Kernel, pattern: Pattern) -> None:
        """Write `out`: light times a kernel, the direct light and the pedestal of a pattern."""
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
            direct = self.space.own("direct", (ROWS_AT_ONCE, width))[: b - a]
            np.multiply(self.light[a:b], np.float32(pattern.direct), out=direct)
            block += direct
            block += direct.dtype.type(pattern.pedestal)
            self.out[a:b] = block

        _in_blocks(self.pool, there, height, ROWS_AT_ONCE)
        _in_blocks(self.pool, across, width, COLUMNS_AT_ONCE)
        _in_blocks(self.pool, back, height, ROWS_AT_ONCE)

    def _rows_of(self, kernel: _Kernel) -> _Rows:
        height, width = self.light.shape
        even = self.space.array("even", (height + 1, width + 1))[: kernel.rows]
        odd = None
        if not kernel.is_even:
            odd = self.space.array("odd", (height + 1, width + 1))[: kernel.rows]

        def along(a: int, b: int) -> None:
            block = self.space.own("kernel", (ROWS_AT_ONCE, 2 * width))[: b - a]
            _lay(kernel, a, block)
            if odd is None:
                even[a:b] = block[:, : width + 1]
                fft.dct(even[a:b], type=1, axis=1, overwrite_x=True)
            else:
                transformed = fft.rfft(block, axis=1)
                even[a:b] = transformed.real
                np.negative(transformed.imag, out=odd[a:b])

        _in_blocks(self.pool, along, kernel.rows, ROWS_AT_ONCE)
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


def _lay(kernel: _Kernel, first: int, block: Plane) -> None:
    """Lay rows of a kernel from `first` on, columns 0 ... 2 W - 1, the lamp at column 0."""
    count, circle = block.shape
    a, b = kernel.starts[first], kernel.starts[first + count]
    block[:] = 0
    if a < b:
        place = (kernel.far.rows[a:b] - first).astype(np.intp) * circle + kernel.far.columns[a:b]
        light = np.bincount(place, kernel.far.light[a:b], minlength=block.size)
        block += light.reshape(block.shape)
    near = kernel.near[first : first + count]
    reach = near.shape[1] // 2
    block[: len(near), : reach + 1] += near[:, reach:]
    if reach:
        block[: len(near), -reach:] += near[:, :reach]


def _in_the_dark(
    light: Float32, patterns: Sequence[Pattern], halves: Sequence[Dots], kind: np.dtype[Any]
) -> Float32:
    height, width, _ = light.shape
    workers = available_cores()
    shape = tuple(fft.next_fast_len(2 * side, real=True) for side in (height, width))
    out = np.empty_like(light)
    for channel, (pattern, dots) in enumerate(zip(patterns, halves, strict=True)):
        rows, columns, share = _corners_of_dots(dots)
        inside = (rows < height) & (np.abs(columns) < width)
        rows, columns, share = rows[inside], columns[inside], share[inside]
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
        spread += plane * np.float32(pattern.direct)
        spread += pattern.pedestal
        out[..., channel] = spread
    return out
