"""Light spread by patterns that reach anywhere, in a frame whose mirror images repeat for ever.

Light continued by mirrors is a sum of cosines, and a halo multiplies them. A lamp's dots look the
same turned by half a turn, so they are the sum of a pattern that is even both ways, like a halo,
and one that is odd both ways, which turns cosines into sines. Neither needs a margin round the
frame, and light costs the same however far it goes.

What cosines are multiplied by is a `MirrorTransfer`, made once for all stills of a scene.
Transforms run over blocks of rows and of columns small enough for a processor's cache.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.convolution.blocks import (
    COLUMNS_AT_ONCE,
    ROWS_AT_ONCE,
    Workspace,
    available_cores,
    columns_of,
    in_blocks,
    in_place,
    precision_for,
)
from frontglass.convolution.kernels import corners_of_dots
from frontglass.convolution.transfers import MirrorTransfer, Mix
from frontglass.optics.masks import Dots

Float32 = NDArray[np.float32]
Plane = NDArray[Any]

CHANNELS = 3


def spread_among_mirrors(
    light: Float32,
    transfers: Sequence[MirrorTransfer],
    pedestal: Sequence[float] = (0.0, 0.0, 0.0),
) -> Float32:
    """Light after every pixel has become a pattern, in a frame and its mirror images.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    transfers : sequence of 3 MirrorTransfer
        One per channel, for this shape, of one precision: light is transformed in it too.
    pedestal : sequence of 3 float
        Light added to every pixel of a channel.

    Returns
    -------
    ndarray, shape (H, W, 3), float32

    Notes
    -----
    An even field stays even. As much light as leaves the frame comes in, but for what a pattern
    askew to the frame exchanges across its corners.
    """
    light = np.ascontiguousarray(light)
    out = np.empty_like(light)
    space = Workspace(transfers[0].even[0].dtype)
    with ThreadPoolExecutor(available_cores()) as pool:
        _Passage(pool=pool, space=space, light=light, out=out).run(transfers, pedestal)
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
    kind = precision_for(light, max(mix.share for mix in mixes))
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
        spread += mix.veil * float(plane.mean(dtype=np.float64))
        out[..., channel] = spread
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class _Passage:
    """A still on its way through three transfers.

    Parameters
    ----------
    pool : ThreadPoolExecutor
        Threads to share the work.
    space : Workspace
        Arrays to work in.
    light, out : ndarray, shape (H, W, 3)
        What there is and what becomes of it.

    Notes
    -----
    Between the passes a row of `out` holds its three channels one after the other, unless they are
    in double precision.
    """

    pool: ThreadPoolExecutor
    space: Workspace
    light: Float32
    out: Float32

    def run(self, transfers: Sequence[MirrorTransfer], pedestal: Sequence[float]) -> None:
        """Write `out`."""
        height, width, _ = self.light.shape
        planes = self.out.reshape(height, CHANNELS, width)
        if planes.dtype != self.space.kind:
            planes = np.empty(planes.shape, dtype=self.space.kind)
        sines = None
        if any(transfer.odd is not None for transfer in transfers):
            sines = np.empty((height, width), dtype=self.space.kind)
        direct = np.tile([np.float32(transfer.direct) for transfer in transfers], width)

        def there(a: int, b: int) -> None:
            for channel, rows in enumerate(self._rows(b - a)):
                rows[:] = self.light[a:b, :, channel]
                in_place(fft.dct, rows, axis=-1)
                planes[a:b, channel] = rows

        def back(a: int, b: int) -> None:
            channels = self._rows(b - a)
            for channel, (rows, transfer) in enumerate(zip(channels, transfers, strict=True)):
                rows[:] = planes[a:b, channel]
                if transfer.odd is None:
                    in_place(fft.idct, rows, axis=-1)
                np.add(rows, rows.dtype.type(pedestal[channel]), out=rows)
            spread = cv2.merge([rows.astype(np.float32, copy=False) for rows in channels])
            flat = (b - a, CHANNELS * width)
            out = self.out[a:b].reshape(flat)
            np.multiply(self.light[a:b].reshape(flat), direct, out=out)
            out += spread.reshape(flat)

        in_blocks(self.pool, there, height, ROWS_AT_ONCE)
        for channel, transfer in enumerate(transfers):
            self._across(planes[:, channel], transfer, sines)
        in_blocks(self.pool, back, height, ROWS_AT_ONCE)

    def _across(self, plane: Plane, transfer: MirrorTransfer, sines: Plane | None) -> None:
        """Multiply a channel; if it has sines, take its rows back from frequencies as well."""
        blocks = columns_of(plane.shape[1])

        def down(block: int, _: int) -> None:
            columns = blocks[block]
            light = self._column("cosines", columns)
            light[:] = plane[:, columns]
            in_place(fft.dct, light, axis=0)
            if transfer.odd is not None and sines is not None:
                turned = self._column("sines", columns)
                np.multiply(transfer.odd[block], light[1:], out=turned[:-1])
                turned[-1] = 0
                in_place(fft.idst, turned, axis=0)
                # Sines start at the first frequency, where cosines have the mean.
                first = int(columns.start == 0)
                sines[:, columns.start - 1 + first : columns.stop - 1] = turned[:, first:]
            light *= transfer.even[block]
            in_place(fft.idct, light, axis=0)
            plane[:, columns] = light

        in_blocks(self.pool, down, len(blocks), 1)
        if transfer.odd is not None and sines is not None:
            sines[:, -1] = 0
            self._along(plane, sines)

    def _along(self, cosines: Plane, sines: Plane) -> None:
        """Take rows back from frequencies and add them up, where the cosines were."""
        height, width = cosines.shape

        def back(a: int, b: int) -> None:
            rows = self.space.own("rows of one channel", (ROWS_AT_ONCE, width))[: b - a]
            rows[:] = cosines[a:b]
            in_place(fft.idct, rows, axis=-1)
            in_place(fft.idst, sines[a:b], axis=-1)
            np.add(rows, sines[a:b], out=cosines[a:b])

        in_blocks(self.pool, back, height, ROWS_AT_ONCE)

    def _rows(self, count: int) -> list[Plane]:
        whole = self.space.own("rows", (CHANNELS, ROWS_AT_ONCE, self.light.shape[1]))
        return [rows[:count] for rows in whole]

    def _column(self, name: str, columns: slice) -> Plane:
        whole = self.space.own(name, (self.light.shape[0], COLUMNS_AT_ONCE))
        return whole[:, : columns.stop - columns.start]
