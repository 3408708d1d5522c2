"""What a halo or a pattern of dots makes of the cosine waves of a frame among its mirror images."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.convolution.blocks import (
    ROWS_AT_ONCE,
    Blocks,
    Workspace,
    available_cores,
    columns_of,
    in_blocks,
    in_place,
)
from frontglass.convolution.halo import Halo
from frontglass.convolution.kernels import MirrorKernel

Float64 = NDArray[np.float64]
Plane = NDArray[Any]

BLOCKS_OF_A_HALO = 4


class Mix(NamedTuple):
    """What a channel's light becomes: ``direct * light + share * dots * light + veil * mean``."""

    direct: float
    share: float
    veil: float


class Besides(NamedTuple):
    """What light passes besides: glows, as a halo per channel, and veils, which leave a share."""

    halos: tuple[Halo, ...]
    kept: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MirrorTransfer:
    """What becomes of the cosine waves of a frame, in blocks of columns, frequencies across.

    Parameters
    ----------
    direct : float
        What each keeps besides, in its own place. Lamps are a thousand times as bright as what
        lies round them, and no transform should round them off.
    even : sequence of ndarray, shape (H, N)
        What each cosine is multiplied by.
    odd : sequence of ndarray, shape (H - 1, N), or None
        What each is multiplied by to be a sine instead, from the first frequency down on; None
        for patterns that look the same in a mirror.
    """

    direct: float
    even: Sequence[Plane]
    odd: Sequence[Plane] | None

    @classmethod
    def of_halo(
        cls, halo: Halo, shape: tuple[int, int], kind: np.dtype[Any], gain: float
    ) -> MirrorTransfer:
        """Transfer of a halo and its direct light, times a gain, for a frame of `shape`."""
        columns = columns_of(shape[1])
        even = Blocks(kind, shape)

        def fill(a: int, b: int) -> None:
            start = columns[a].start
            scattered = _on_grid(halo, shape, slice(start, columns[b - 1].stop))
            for block in range(a, b):
                here = slice(columns[block].start - start, columns[block].stop - start)
                np.multiply(scattered[:, here], gain, out=even[block], casting="same_kind")

        with ThreadPoolExecutor(available_cores()) as pool:
            in_blocks(pool, fill, len(columns), BLOCKS_OF_A_HALO)
        blocks = [even[block] for block in range(len(even))]
        return cls(direct=gain * halo.direct, even=blocks, odd=None)

    @classmethod
    def of(
        cls, kernel: MirrorKernel, shape: tuple[int, int], kind: np.dtype[Any], mix: Mix
    ) -> MirrorTransfer:
        """Transfer of a pattern of dots and what goes with it, for a frame of `shape`."""
        with ThreadPoolExecutor(available_cores()) as pool:
            making = _Making(pool=pool, kind=kind, shape=shape)
            even, odd = making.transform_rows(kernel)
            making.transform_columns(even, odd, mix.share)
        even[0][0, 0] += mix.veil
        return cls(
            direct=mix.direct,
            even=[even[block][:-1] for block in range(len(even))],
            odd=None if odd is None else [odd[block][1:-1] for block in range(len(odd))],
        )


def with_glow(
    transfers: Sequence[MirrorTransfer], shape: tuple[int, int], besides: Besides
) -> list[MirrorTransfer]:
    """Transfers of light that passes glows and veils as well, before or after.

    Parameters
    ----------
    transfers : sequence of MirrorTransfer
        One per channel; used up.
    shape : (int, int)
        Of the frame.
    besides : Besides
        The glows and veils.
    """
    halos, kept = besides
    columns = columns_of(shape[1])
    channels = list(zip(transfers, halos, strict=True))

    def multiply(a: int, b: int) -> None:
        start = columns[a].start
        for halo in set(halos):
            scattered = kept * _on_grid(halo, shape, slice(start, columns[b - 1].stop))
            for block in range(a, b):
                here = scattered[:, columns[block].start - start : columns[block].stop - start]
                passed = here + kept * halo.direct
                for transfer, own in channels:
                    if own == halo:
                        transfer.even[block][:] *= passed
                        transfer.even[block][:] += transfer.direct * here
                        if transfer.odd is not None:
                            transfer.odd[block][:] *= passed[1:]

    with ThreadPoolExecutor(available_cores()) as pool:
        in_blocks(pool, multiply, len(columns), BLOCKS_OF_A_HALO)
    for transfer in transfers:
        transfer.even[0][0, 0] += 1 - kept
    return [
        replace(transfer, direct=kept * halo.direct * transfer.direct)
        for transfer, halo in channels
    ]


def _on_grid(halo: Halo, shape: tuple[int, int], columns: slice) -> Float64:
    """Transfer function of a halo at some columns of a frame's frequencies."""
    height, width = shape
    fx = np.arange(columns.start, columns.stop) / (2 * width)
    return halo.on_grid(fx, np.arange(height) / (2 * height))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Making:
    """A transfer in the making.

    Parameters
    ----------
    pool : ThreadPoolExecutor
        Threads to share the work.
    kind : dtype
        Of the transfer.
    shape : (int, int)
        Of the frame.
    """

    pool: ThreadPoolExecutor
    kind: np.dtype[Any]
    shape: tuple[int, int]

    def transform_rows(self, kernel: MirrorKernel) -> tuple[Blocks, Blocks | None]:
        """Rows of a kernel, transformed: the even part, and the odd part if there is one."""
        height, width = self.shape
        even = Blocks(self.kind, (height + 1, width))
        odd = None if kernel.is_even else Blocks(self.kind, (height + 1, width))
        space = Workspace(self.kind)

        def along(a: int, b: int) -> None:
            block = space.own("kernel", (ROWS_AT_ONCE, 2 * width))[: b - a]
            kernel.lay(a, block)
            if odd is None:
                half = block[:, : width + 1]
                in_place(fft.dct, half, type=1, axis=1)
                even.write(a, half[:, :width])
            else:
                transformed = fft.rfft(block, axis=1)[:, :width]
                even.write(a, transformed.real)
                odd.write(a, -transformed.imag)

        in_blocks(self.pool, along, kernel.rows, ROWS_AT_ONCE)
        if kernel.below.size:
            below = kernel.below.astype(self.kind)
            turns = np.outer(np.arange(below.shape[1]), np.arange(width)) % (2 * width)
            waves = np.cos(np.pi / width * np.arange(2 * width)).astype(self.kind)[turns]
            for block, columns in enumerate(even.columns):
                even[block][-len(below) :] = below @ waves[:, columns]
        return even, odd

    def transform_columns(self, even: Blocks, odd: Blocks | None, share: float) -> None:
        """Transform columns and take a share."""

        def down(block: int, _: int) -> None:
            in_place(fft.dct, even[block], type=1, axis=0)
            even[block][:] *= self.kind.type(share)
            if odd is not None and self.shape[0] > 1:
                in_place(fft.dst, odd[block][1:-1], type=1, axis=0)
                odd[block][:] *= self.kind.type(share)

        in_blocks(self.pool, down, len(even), 1)
