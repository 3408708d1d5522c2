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
        From this row on there is no light but on the arm.
    is_even : bool
        Whether it looks the same in a mirror.
    arm : ndarray, shape (H + 1, 2)
        From `rows` on, light straight below the lamp and one column beside that.
    """

    near: Float64
    far: _Corners
    starts: NDArray[np.intp]
    rows: int
    is_even: bool
    arm: Float64


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
    is_even = _is_even(dots)
    arm = np.zeros((height + 1, 2))
    below = slice(np.searchsorted(far.rows, near_px, side="right"), None)
    beside = np.minimum(far.columns[below], 2 * width - far.columns[below])
    if is_even and beside.max(initial=0) <= 1:
        for column in (0, 1):
            here = far.light[below] * (beside == column)
            arm[:, column] = np.bincount(far.rows[below], here, minlength=height + 1)
        far = _Corners(*(values[: below.start] for values in far))
    starts = np.searchsorted(far.rows, np.arange(height + 2))
    lit = np.flatnonzero(near.any(axis=1))
    last = max(int(lit[-1]) if lit.size else 0, int(far.rows[-1]) if far.rows.size else 0)
    return _Kernel(near=near, far=far, starts=starts, rows=last + 1, is_even=is_even, arm=arm)


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

    def array(self, name: str, shape: tuple[int, ...], rows: int) -> Plane:
        """Return the first rows of an array for all threads."""
        return self._from(self._shared, name, shape)[:rows]

    def own(self, name: str, shape: tuple[int, ...], rows: int) -> Plane:
        """Return the first rows of an array for the calling thread alone."""
        return self._from(self._threads.__dict__, name, shape)[:rows]

    def _from(self, kept: dict[str, Plane], name: str, shape: tuple[int, ...]) -> Plane:
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
    height, width, _ = light.shape
    kernels = [_kernel(dots, (height, width)) for dots in halves]
    work = np.empty(light.shape, dtype=kind)  # cosines, and at last the light itself
    direct = np.tile(np.array([p.direct for p in patterns], dtype=np.float32), width)
    pedestal = np.tile(np.array([p.pedestal for p in patterns], dtype=np.float32), width)

    def there(a: int, b: int) -> None:
        work[a:b] = light[a:b]
        fft.dct(work[a:b], axis=1, overwrite_x=True)

    def add_direct(a: int, b: int) -> None:
        flat = work[a:b].reshape(b - a, 3 * width)
        flat += light[a:b].reshape(b - a, 3 * width) * direct
        flat += pedestal

    # Kernels that fill the frame are too large to hold all three.
    together = max(kernel.rows for kernel in kernels) <= NEAR_PX + 1
    space = _Workspace(kind)
    with ThreadPoolExecutor(available_cores()) as pool:
        _in_blocks(pool, there, height, ROWS_AT_ONCE)
        for some in [slice(0, 3)] if together else [slice(c, c + 1) for c in range(3)]:
            _Filter(pool=pool, space=space, kernels=kernels[some], work=work[..., some]).apply()
        _in_blocks(pool, add_direct, height, ROWS_AT_ONCE)
    return work.astype(np.float32, copy=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Filter:
    """Light of some channels, its rows transformed, multiplied by kernels and transformed back.

    Parameters
    ----------
    pool : ThreadPoolExecutor
        Threads to share the work.
    space : _Workspace
        Arrays to work in.
    kernels : sequence of G _Kernel
        One per channel.
    work : ndarray, shape (H, W, G)
        Cosine transforms of rows; at last the light.
    """

    pool: ThreadPoolExecutor
    space: _Workspace
    kernels: Sequence[_Kernel]
    work: Plane

    def apply(self) -> None:
        """Change `work`."""
        height, width, channels = self.work.shape
        rows = max(kernel.rows for kernel in self.kernels)
        is_even = all(kernel.is_even for kernel in self.kernels)
        even = self.space.array("even", (height + 1, width + 1, channels), rows)
        odd = sines = None
        if not is_even:
            odd = self.space.array("odd", (height + 1, width + 1, channels), rows)
            sines = self.space.array("sines", self.work.shape, height)

        def kernel_along_rows(a: int, b: int) -> None:
            block = self.space.own("kernel rows", (ROWS_AT_ONCE, 2 * width), b - a)
            for channel, kernel in enumerate(self.kernels):
                _lay(kernel, a, block)
                if odd is None:
                    half = block[:, : width + 1]
                    even[a:b, :, channel] = fft.dct(half, type=1, axis=1, overwrite_x=True)
                else:
                    transformed = fft.rfft(block, axis=1)
                    even[a:b, :, channel] = transformed.real
                    np.negative(transformed.imag, out=odd[a:b, :, channel])

        def columns(a: int, b: int) -> None:
            self._along_columns(slice(a, b), even, odd, sines)

        def back(a: int, b: int) -> None:
            block = self.work[a:b]
            fft.idct(block, axis=1, overwrite_x=True)
            if sines is not None:
                block += fft.idst(sines[a:b], axis=1, overwrite_x=True)

        _in_blocks(self.pool, kernel_along_rows, rows, ROWS_AT_ONCE)
        _in_blocks(self.pool, columns, width, COLUMNS_AT_ONCE // channels)
        _in_blocks(self.pool, back, height, ROWS_AT_ONCE)

    def _along_columns(
        self, some: slice, even: Plane, odd: Plane | None, sines: Plane | None
    ) -> None:
        height, width, channels = self.work.shape
        shape = (some.stop - some.start, channels)

        def block(name: str, length: int) -> Plane:
            found = self.space.own(name, (height + 1, COLUMNS_AT_ONCE), length)
            return found[:, : shape[0] * channels].reshape(length, *shape)

        light = block("light", height)
        light[:] = self.work[:, some]
        fft.dct(light, axis=0, overwrite_x=True)
        if odd is not None and sines is not None:
            transfer, filtered = block("odd part", height - 1), block("filtered", height)
            lit = min(len(odd), height) - 1
            transfer[:lit], transfer[lit:] = odd[1 : lit + 1, some], 0
            if height > 1:
                fft.dst(transfer, type=1, axis=0, overwrite_x=True)
            np.multiply(transfer, light[1:], out=filtered[:-1])
            filtered[-1] = 0
            fft.idst(filtered, axis=0, overwrite_x=True)
            # The sine transform starts at the first frequency where the cosine one has the mean.
            first = 1 if some.start == 0 else 0
            sines[:, some.start - 1 + first : some.stop - 1] = filtered[:, first:]
            if some.stop == width:
                sines[:, -1] = 0
        transfer = block("even part", height + 1)
        lit = len(even)
        transfer[:lit] = even[:, some]
        beside = 2 * np.cos(np.pi / width * np.arange(some.start, some.stop))
        for channel, kernel in enumerate(self.kernels):
            below, next_to = kernel.arm[lit:, :1], kernel.arm[lit:, 1:]
            transfer[lit:, :, channel] = below + next_to * beside
        fft.dct(transfer, type=1, axis=0, overwrite_x=True)
        light *= transfer[:-1]
        fft.idct(light, axis=0, overwrite_x=True)
        self.work[:, some] = light


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
