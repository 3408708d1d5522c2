"""A frame among its mirror images is a sum of cosines, and a filter multiplies them.

A kernel that looks the same turned by half a turn is the sum of one that is even both ways, which
keeps cosines cosines, and one that is odd both ways, which turns them into sines. Neither needs a
margin round the frame, and light costs the same however far it goes. For a frame in the dark the
same is done on a frame padded with zeros, so widely that no mirror image comes within the kernel.

Transforms run over pieces of rows and of columns small enough for a processor's cache.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from frontglass.convolution.blocks import ROWS_AT_ONCE, in_place, over_columns
from frontglass.convolution.filters import Planes
from frontglass.threads import in_pieces

Plane = NDArray[Any]


def filtered(light: Plane, planes: Planes, *, are_lost: bool = False) -> Plane:
    """Deviated light of one channel, which is lost: it is written over where that can be done.

    Parameters
    ----------
    light : ndarray, shape (H, W)
        Linear light.
    planes : Planes
        Of the frame or of a larger one, with the light in its middle and nothing round it.
        Transforms are done in their precision or that of the light, whichever is higher.
    are_lost : bool
        Whether nobody needs the planes afterwards: one may be written over, if it can be.

    Returns
    -------
    ndarray, shape (H, W)

    Notes
    -----
    In a frame of its own size an even field stays even, and as much light as leaves it comes in,
    but for what a kernel askew to the frame exchanges across its corners.
    """
    if not (light[::61, ::59].any() or light.any()):
        return np.zeros(light.shape, light.dtype)
    dtype = np.result_type(light, planes.even)
    (height, width), (tall, wide) = light.shape, (n - 1 for n in planes.even.shape)
    rows_inside = slice((tall - height) // 2, (tall + height) // 2)
    columns_inside = slice((wide - width) // 2, (wide + width) // 2)
    cosines = light
    if wide > width or light.dtype != dtype:
        cosines = np.zeros((height, wide), dtype)
        cosines[:, columns_inside] = light
    del light
    sines = _room_for_sines(planes, (height, wide), dtype, are_lost=are_lost)

    def down(columns: slice) -> None:
        waves = np.zeros((tall, columns.stop - columns.start), dtype)
        waves[rows_inside] = cosines[:, columns]
        in_place(scipy.fft.dct, waves, axis=0)
        even, odd = planes.at(columns).as_precise_as(dtype)
        if odd is not None and sines is not None:
            turned = _turned(waves, odd)
            # Sines start at the first frequency, where cosines have the mean.
            first = int(columns.start == 0)
            of_sines = slice(columns.start - 1 + first, columns.stop - 1)
            sines[:, of_sines] = turned[rows_inside, first:]
        waves *= even[:-1]
        in_place(scipy.fft.idct, waves, axis=0)
        cosines[:, columns] = waves[rows_inside]

    def inverse(rows: slice) -> None:
        in_place(scipy.fft.idct, cosines[rows], axis=1)
        if sines is not None:
            in_place(scipy.fft.idst, sines[rows], axis=1)
            cosines[rows] += sines[rows]

    in_pieces(lambda rows: in_place(scipy.fft.dct, cosines[rows], axis=1), height, ROWS_AT_ONCE)
    over_columns(down, (tall, wide))
    in_pieces(inverse, height, ROWS_AT_ONCE)
    return cosines[:, columns_inside]


def _room_for_sines(
    planes: Planes, shape: tuple[int, int], dtype: np.dtype[Any], *, are_lost: bool
) -> Plane | None:
    """Return memory for sines, which an odd plane makes.

    That is its own where it is lost: each piece of columns lays them where it has read it.
    """
    if planes.odd is None:
        return None
    if not (are_lost and holds(planes.odd, dtype)):
        return np.zeros(shape, dtype)
    room = planes.odd[: shape[0], 1:]
    room[:, -1] = 0  # of which there are no sines, and which no piece reads
    return room


def holds(plane: Plane, dtype: np.dtype[Any]) -> bool:
    """Whether a plane's memory may be taken for numbers of a precision."""
    return plane.flags.writeable and plane.dtype == dtype


def _turned(waves: Plane, odd: Plane) -> Plane:
    turned = np.zeros_like(waves)
    np.multiply(waves[1:], odd[1:-1], out=turned[:-1])
    in_place(scipy.fft.idst, turned, axis=0)
    return turned


def cut(planes: Planes, reach: tuple[int, int]) -> None:
    """Take from a kernel, in place, what lies so many rows or columns away, or farther.

    Only what mirrors fold onto the rest stays: a frame padded to twice its size has it three
    frames away.
    """
    _cut(planes.even, reach, scipy.fft.dct)
    if planes.odd is not None:
        rows, columns = reach
        _cut(planes.odd[1:-1, 1:-1], (rows - 1, columns - 1), scipy.fft.dst)


def _cut(plane: Plane, reach: tuple[int, int], transform: Callable[..., Plane]) -> None:
    rows_kept, columns_kept = reach
    # These transforms undo themselves but for a factor, twice the period along each axis.
    scale = 1 / (plane.shape[0] + (1 if transform is scipy.fft.dst else -1)) / 2
    scale *= 1 / (plane.shape[1] + (1 if transform is scipy.fft.dst else -1)) / 2

    def into_space(columns: slice) -> None:
        waves = plane[:, columns].copy()
        in_place(transform, waves, type=1, axis=0)
        plane[:rows_kept, columns] = waves[:rows_kept]

    def across(rows: slice) -> None:
        in_place(transform, plane[rows], type=1, axis=1)
        plane[rows, columns_kept:] = 0
        plane[rows] *= plane.dtype.type(scale)
        in_place(transform, plane[rows], type=1, axis=1)

    def from_space(columns: slice) -> None:
        waves = np.zeros((plane.shape[0], columns.stop - columns.start), plane.dtype)
        waves[:rows_kept] = plane[:rows_kept, columns]
        in_place(transform, waves, type=1, axis=0)
        plane[:, columns] = waves

    over_columns(into_space, plane.shape)
    in_pieces(across, min(rows_kept, plane.shape[0]), ROWS_AT_ONCE)
    over_columns(from_space, plane.shape)
