"""Light spread by dots that may lie anywhere, in a frame whose mirror images repeat for ever.

A lamp's dots look the same turned by half a turn, so they are the sum of a pattern that is even
both ways and one that is odd both ways. Light continued by mirrors is a sum of cosines; the even
pattern multiplies them, the odd one turns them into sines. Neither needs a margin round the frame,
and a dot costs the same however far it lies.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.optics.masks import Dots
from frontglass.render.spread import Surround, available_cores
from frontglass.render.tiles import BRIGHTEST_IN_SINGLE

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

FEWEST_IN_SINGLE_PX = 1_000_000
"""Smaller frames cost little in double precision, which keeps their light to a millionth."""
NO_LIGHT = 1e-13
NEAR_PX = 1024


class Corners(NamedTuple):
    """What bilinear weights drop on pixels: rows, columns and light, the lamp at (0, 0)."""

    rows: NDArray[np.int32]
    columns: NDArray[np.int32]
    light: Float64


def spread_by_dots(
    plane: Float32, dots: Dots, *, px_per_rad: float, surround: Surround, brightest: float
) -> Float32:
    """One channel's light after every pixel has become a pattern of dots.

    Parameters
    ----------
    plane : ndarray, shape (H, W), float32
        Linear light.
    dots : Dots
        The pattern; with every dot its opposite.
    px_per_rad : float
        Scale of the picture.
    surround : Surround
        What lies outside the frame.
    brightest : float
        Brightest light in any channel, which decides the precision.

    Returns
    -------
    ndarray, shape (H, W), float32
    """
    is_single = brightest <= BRIGHTEST_IN_SINGLE and plane.size >= FEWEST_IN_SINGLE_PX
    kind = np.dtype(np.float32 if is_single else np.float64)
    on_pixels = Dots(dots.x_rad * px_per_rad, dots.y_rad * px_per_rad, dots.shares)
    if surround is Surround.MIRROR:
        return _among_mirrors(plane, _one_of_each_pair(on_pixels), kind)
    return _in_the_dark(plane, on_pixels, kind)


def _one_of_each_pair(dots: Dots) -> Dots:
    """Half the dots, with their opposites' light: in even and odd patterns they fall together."""
    x, y, shares = dots
    middle = (x == 0) & (y == 0)
    chosen = (x > 0) | ((x == 0) & (y > 0)) | middle
    light = np.where(middle, shares, 2 * shares)
    return Dots(x[chosen], y[chosen], light[chosen])


def corners_of_dots(x_px: Float64, y_px: Float64, shares: Float64) -> Iterator[Corners]:
    """Each dot divided among the four pixels round it.

    That is what averaging over the sending and the receiving pixel makes of a point.
    """
    columns, rows = np.floor(x_px), np.floor(y_px)
    right, down = x_px - columns, y_px - rows
    left_column, top_row = columns.astype(np.int32), rows.astype(np.int32)
    for below, of_row in ((0, shares * (1 - down)), (1, shares * down)):
        yield Corners(top_row + below, left_column, of_row * (1 - right))
        yield Corners(top_row + below, left_column + 1, of_row * right)


def _among_mirrors(plane: Float32, dots: Dots, kind: np.dtype[Any]) -> Float32:
    """Light of the frame and of all its mirror images.

    Notes
    -----
    An even field stays even. As much light as leaves the frame comes in, but for what a pattern
    askew to the frame exchanges across its corners.
    """
    height, width = plane.shape
    workers = available_cores()
    even, odd = _quadrants(dots, (height, width), kind)
    spectrum = fft.dctn(plane.astype(kind), norm="ortho", workers=workers, overwrite_x=True)
    # Of a quadrant, whose insides its transform counts twice.
    transfer = fft.dctn(even, type=1, workers=workers, overwrite_x=True)[:-1, :-1]
    out = fft.idctn(spectrum * transfer, norm="ortho", workers=workers, overwrite_x=True)
    inner = odd[1:-1, 1:-1]
    if inner.size and np.abs(inner[:NEAR_PX, :NEAR_PX]).max() > NO_LIGHT:
        transfer = fft.dstn(inner, type=1, workers=workers, overwrite_x=True)
        # The sine transform starts at the first frequency where the cosine one has the mean.
        sines = np.zeros_like(spectrum)
        np.multiply(transfer, spectrum[1:, 1:], out=sines[:-1, :-1])
        out += fft.idstn(sines, norm="ortho", workers=workers, overwrite_x=True)
    return np.asarray(out, dtype=np.float32)


def _quadrants(
    dots: Dots, shape: tuple[int, int], kind: np.dtype[Any]
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Even and odd pattern, folded into a quadrant of offsets 0 ... H and 0 ... W.

    Near the lamp, where thousands of dots may fall on one pixel, they are summed in double
    precision; a whole quadrant of that would cost more than a transform.
    """
    even, odd = (np.zeros((shape[0] + 1, shape[1] + 1), dtype=kind) for _ in range(2))
    near = (min(shape[0] + 1, NEAR_PX), min(shape[1] + 1, NEAR_PX))
    near_even, near_odd = (np.zeros(near) for _ in range(2))
    for corners in corners_of_dots(*dots):
        rows, row_sign, row_share = _folded(corners.rows, shape[0])
        columns, column_sign, column_share = _folded(corners.columns, shape[1])
        even_light = corners.light * row_share * column_share
        odd_light = corners.light * row_sign * column_sign / 4
        inside = (rows < near[0]) & (columns < near[1])
        for pattern, near_pattern, light in (
            (even, near_even, even_light),
            (odd, near_odd, odd_light),
        ):
            place = rows[inside].astype(np.intp) * near[1] + columns[inside]
            np.add.at(near_pattern.reshape(-1), place, light[inside])
            place = rows[~inside].astype(np.intp) * (shape[1] + 1) + columns[~inside]
            np.add.at(pattern.reshape(-1), place, light[~inside].astype(kind))
    even[: near[0], : near[1]] += near_even
    odd[: near[0], : near[1]] += near_odd
    return even, odd


def _folded(index: NDArray[np.int32], length: int) -> tuple[NDArray[np.int32], Float64, Float64]:
    """Distance after mirroring, 0 to `length`, the sign of an odd pattern, the share of an even."""
    away = np.mod(index, 2 * length)
    beyond = away > length
    folded = np.where(beyond, 2 * length - away, away)
    share = np.where((folded == 0) | (folded == length), 1.0, 0.5)
    return folded, np.where(beyond, -1.0, 1.0), share


def _in_the_dark(plane: Float32, dots: Dots, kind: np.dtype[Any]) -> Float32:
    height, width = plane.shape
    workers = available_cores()
    shape = tuple(fft.next_fast_len(2 * side, real=True) for side in (height, width))
    kernel = np.zeros(shape[0] * shape[1])
    for rows, columns, light in corners_of_dots(*dots):
        inside = (np.abs(rows) < height) & (np.abs(columns) < width)
        place = np.mod(rows[inside].astype(np.intp), shape[0]) * shape[1]
        place += np.mod(columns[inside], shape[1])
        np.add.at(kernel, place, light[inside])
    transfer = fft.rfft2(kernel.reshape(shape).astype(kind), workers=workers, overwrite_x=True)
    spectrum = fft.rfft2(plane.astype(kind), s=shape, workers=workers)
    spectrum *= transfer
    out = fft.irfft2(spectrum, s=shape, workers=workers, overwrite_x=True)
    return np.ascontiguousarray(out[:height, :width], dtype=np.float32)
